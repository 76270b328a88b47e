"""A voice far above a low horn: the horn's own sound shifted, and a filtered synth; measured against an ideal.

The ideal is the same horn synthesised at the upper pitch: same player, same bore, same breath. What is printed here
(`pytest -n0 -s`) is told on the page of sketches, and asserted as far as it is told.

Tone colour is judged of a horn without breath. Breath is chance: by another breath alone two ideal voices are about
4.7 dB apart, and a voice that passes on the very same breath would seem to have the better tone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
import pytest

from chainsim import parse_sketch, render
from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import Phrase
from chainsim.horn.play import HornTake, PlayedNote, play
from chainsim.measure.fundamental import fundamental_hz
from chainsim.measure.spectral_distance import log_spectral_distance_db
from chainsim.units import Array, gain_to_db
from tests.presets.test_harmonies import risen_ms
from tests.tables import thorough

HEAD = 'instrument = "tenor sax"\nchain = ["far"]\n[blocks.far]\n'
SHIFTED = HEAD + 'type = "pitch_shifter"\nvoices = [{{ interval = "{interval}" }}]\n'
SHIFTED_TONE = SHIFTED + 'unpitched_db = "off"\n'
MOVED_TONE = SHIFTED_TONE + "formant = 0\n"
SYNTH = (
    HEAD
    + """type = "following_synth"
voices = [{{ interval = "{interval}", waveform = "saw" }}]
when_unsure = "fade"
cutoff_hz = 900
q = 1
cutoff_follows_pitch = 0.8
horn_octaves = 3
filter_attack_ms = 20
"""
)
"""The filter is that of masthead_light."""

SOFT, MIDDLE, LOUD = 0.3, 0.6, 0.9
TONGUED = [f"{pitch} 1 {dynamic}" for pitch in ("C3", "G3", "D4") for dynamic in (SOFT, MIDDLE, LOUD)]
PHRASE = Phrase(
    "Far above", 100.0, notes_of(", - 1, ".join([*TONGUED, "G3 1 0.6, ~Bb3 1, ~F3 1, ~A3 1, - 1"])), "tenor sax"
)
STEADY_S = (0.12, 0.42)
"""From the onset of a note: behind its attack, before its vibrato has grown."""


@dataclass(frozen=True)
class Following:
    """How a voice follows the horn, over tongued notes."""

    cents: float
    """Mean error against the horn's true pitch, interval included."""
    spread_cents: float
    answers_ms: float
    """From when the horn has risen to half its level, to when the voice has."""
    level_slope: float
    """dB of the voice for each dB of the horn, over soft and loud notes."""
    noise_db: float
    """What lies between the harmonics against the harmonics: breath."""


@dataclass(frozen=True)
class Tone:
    """What a voice is like."""

    soft_hz: float
    """Centroid of the harmonics of soft notes."""
    loud_hz: float
    distance_db: float
    """Log-spectral distance to the ideal, over all of the phrase, both equally loud."""


def steady(sound: Array, note: PlayedNote, rate_hz: float) -> Array:
    """The judged stretch of a note."""
    begin, end = (round((note.onset_s + t) * rate_hz) for t in STEADY_S)
    return sound[begin:end]


def level_db(sound: Array) -> float:
    """Root mean square in dBFS."""
    return gain_to_db(math.sqrt(float(np.mean(sound**2))))


def harmonics_and_noise(sound: Array, f0_hz: float, rate_hz: float) -> tuple[float, float]:
    """Centroid of the harmonics in Hz, and what lies between them in dB against them, 150 Hz to 8 kHz."""
    freq_hz = np.fft.rfftfreq(sound.size, 1.0 / rate_hz)
    power = np.abs(np.fft.rfft(sound * np.blackman(sound.size))) ** 2
    away_hz = np.abs(freq_hz - f0_hz * np.maximum(np.round(freq_hz / f0_hz), 1.0))
    # half the main lobe, and as much of the frequency as pitch wanders
    tone = away_hz < 3.0 / (STEADY_S[1] - STEADY_S[0]) + 0.012 * freq_hz
    judged = (freq_hz > 150.0) & (freq_hz < 8_000.0)
    amplitude, at_hz = np.sqrt(power[tone & judged]), freq_hz[tone & judged]
    noise = float(np.sum(power[judged & ~tone]) / np.sum(power[judged & tone]))
    return float(np.sum(amplitude * at_hz) / np.sum(amplitude)), 10.0 * math.log10(noise)


def answer_ms(voice: Array, take: HornTake) -> float:
    """Mean over tongued notes."""
    rate_hz = take.sample_rate_hz
    rises = [[risen_ms(x, rate_hz, n.onset_s) for x in (take.audio, voice)] for n in take.notes[: len(TONGUED)]]
    return float(np.mean(np.diff(rises)))


def followed(voice: Array, take: HornTake, ratio: float) -> Following:
    """How a voice follows a take at a ratio of frequencies."""
    rate_hz, notes = take.sample_rate_hz, take.notes[: len(TONGUED)]
    late_ms = answer_ms(voice, take)
    aligned = voice[round(late_ms * rate_hz / 1000.0) :]
    times_s = np.concatenate([n.onset_s + np.arange(*STEADY_S, 0.01) for n in notes])
    truth_hz = ratio * take.f0_at(times_s)
    cents = 1200.0 * np.log2(fundamental_hz(aligned, rate_hz, times_s, truth_hz) / truth_hz)
    levels = [[level_db(steady(x, n, rate_hz)) for x in (take.audio, aligned)] for n in notes]
    noise = [harmonics_and_noise(steady(aligned, n, rate_hz), ratio * n.f0_hz, rate_hz)[1] for n in notes]
    slope = float(np.polyfit(*np.transpose(levels), 1)[0])
    return Following(float(np.mean(cents)), float(np.std(cents)), late_ms, slope, float(np.mean(noise)))


def toned(voice: Array, take: HornTake, ideal: HornTake) -> Tone:
    """What a voice made from a take is like."""
    rate_hz = take.sample_rate_hz
    aligned = voice[round(answer_ms(voice, take) * rate_hz / 1000.0) :]

    def centroid_hz(dynamic: float) -> float:
        notes = [n for n in ideal.notes[: len(TONGUED)] if n.dynamic == dynamic]
        return float(np.mean([harmonics_and_noise(steady(aligned, n, rate_hz), n.f0_hz, rate_hz)[0] for n in notes]))

    size = min(aligned.size, ideal.audio.size)
    louder = math.sqrt(float(np.mean(ideal.audio[:size] ** 2) / np.mean(aligned[:size] ** 2)))
    distance_db = log_spectral_distance_db(ideal.audio[:size], louder * aligned[:size], rate_hz)
    return Tone(centroid_hz(SOFT), centroid_hz(LOUD), distance_db)


def print_table(title: str, found: dict[str, Following] | dict[str, Tone]) -> None:
    """One line a voice."""
    names = [field.name for field in fields(next(iter(found.values())))]
    print(f"\n{title:24}" + "".join(f"{name:>14}" for name in names))
    for what, facts in found.items():
        print(f"{what:24}" + "".join(f"{getattr(facts, name):14.2f}" for name in names))


@pytest.mark.parametrize(("interval", "semitones"), [("P12 above", 19), *thorough(("P15 above", 24))])
def test_a_horn_shifted_far_up_and_a_filtered_synth(interval: str, semitones: int) -> None:
    def voice(sketch: str, take: HornTake) -> Array:
        heard: Array = render(parse_sketch(sketch.format(interval=interval)), take.audio, take.sample_rate_hz).audio[
            :, 0
        ]
        return heard

    take, ideal = (play(PHRASE, seed=3, transpose_semitones=up) for up in (0, semitones))
    follows = {"ideal": ideal.audio, "shifted": voice(SHIFTED, take), "synth": voice(SYNTH, take)}
    following = {what: followed(x, take, 2.0 ** (semitones / 12.0)) for what, x in follows.items()}
    print_table(interval, following)
    true, shifted, synth = following.values()
    for by in (shifted, synth):
        assert abs(by.cents) < 1.0
        assert by.spread_cents < 2.0
        assert by.level_slope == pytest.approx(1.0, abs=0.05)
    # two periods of the tenor's lowest note (Ab2, 103.8 Hz) and half a semitone; the synth waits for the tracker alone
    assert shifted.answers_ms == pytest.approx(20.0, abs=1.5)
    assert 5.0 < synth.answers_ms < 15.0
    # the shifter passes the breath on, a synth has none
    assert shifted.noise_db == pytest.approx(true.noise_db, abs=2.0)
    assert synth.noise_db < true.noise_db - 5.0

    take, ideal = (
        play(PHRASE, seed=3, transpose_semitones=up, breath=0.0, floor_dbfs=-math.inf) for up in (0, semitones)
    )
    tones = {"ideal": ideal.audio, "shifted": voice(SHIFTED_TONE, take), "formants moved": voice(MOVED_TONE, take)}
    tone = {what: toned(x, take, ideal) for what, x in {**tones, "synth": voice(SYNTH, take)}.items()}
    print_table(f"{interval}, without breath", tone)
    ideally, unmoved, moved, synthetic = tone.values()
    assert ideally.distance_db < 0.2
    assert unmoved.distance_db < 2.0 < 4.0 < synthetic.distance_db < 6.0 < moved.distance_db
    assert unmoved.soft_hz == pytest.approx(ideally.soft_hz, rel=0.1)
    assert unmoved.loud_hz == pytest.approx(ideally.loud_hz, rel=0.1)
    assert synthetic.soft_hz > 1.3 * ideally.soft_hz
    assert moved.loud_hz > 1.5 * ideally.loud_hz
