"""The pitch tracker against figures that follow from definitions or were published for other trackers.

Truth is the frequency that the tone was made with. Where the tracker falls short of a figure, the test states what it
reaches and says so, or expects to fail.
"""

from __future__ import annotations

import functools

import mir_eval
import numpy as np
import pytest

from chainsim.dsp.pitch_tracker import PitchTracker
from chainsim.horn.phrase import Phrase
from chainsim.horn.phrases import PHRASES
from chainsim.horn.play import play
from chainsim.music.horns import HORNS
from tests.dsp.tracked import FULL_RANGE_HZ, SAW, Estimates, harmonics, mellow, tracked, with_noise

FS = 48_000.0
NOTE_S, SETTLED_S = 0.2, 0.08
TUBA_HZ = HORNS["tuba"].search_hz()

CLARINET = {1: 1.0, 2: 0.03, 3: 0.7, 4: 0.04, 5: 0.4, 6: 0.05, 7: 0.25, 9: 0.1, 11: 0.05}
"""Odd harmonics, traces of even ones."""

TIMBRES: dict[str, dict[int, float] | int] = {
    "saw": SAW,
    "sine": {1: 1.0},
    "square": {k: 1.0 / k for k in range(1, SAW, 2)},
    "clarinet": CLARINET,
}

# Sounding ranges of reference pages, lowest and highest MIDI note (keys beyond the usual included).
SOUNDING = {
    "soprano sax": (56, 88),
    "alto sax": (49, 81),
    "tenor sax": (44, 76),
    "baritone sax": (36, 68),
    "trumpet": (52, 82),
    "clarinet": (50, 94),
    "french horn": (35, 77),
    "flute": (60, 96),
    "trombone": (40, 72),
}


def midi_hz(note: int) -> float:
    return float(440.0 * 2.0 ** ((note - 69) / 12.0))


def gross_share(found: Estimates, true_hz: float, begin_s: float = 0.2) -> float:
    """Share of estimates a quarter-tone away or more, from `begin_s` on."""
    return float(np.mean(np.abs(found.cents(true_hz)[found.time_s >= begin_s]) >= 50.0))


@functools.cache
def steady_note(timbre: str, note: int) -> np.ndarray:
    return harmonics(midi_hz(note), TIMBRES[timbre], NOTE_S)


@pytest.mark.parametrize("timbre", TIMBRES)
@pytest.mark.parametrize("horn", SOUNDING)
def test_every_semitone_of_every_horn(horn: str, timbre: str) -> None:
    low, high = SOUNDING[horn]
    played = range(low, high + 1)
    clean = np.concatenate([steady_note(timbre, note) for note in played])
    # The project's bar: median under 1 cent clean and 5 at 20 dB, no octave error. It holds of all estimates together;
    # of single notes not quite: B4 is 24 samples of the low rate, few for a parabola, and reads up to 1.9 cents off.
    # A sine under 80 Hz is 9 dB down where the tracker listens, and its median at 20 dB reaches 6.
    for x, bar_cents, note_bar_cents in ((clean, 1.0, 2.0), (with_noise(clean, 20.0), 5.0, 7.0)):
        found = tracked(x, range_hz=HORNS[horn].search_hz())
        of_note = [
            np.abs(found.cents(midi_hz(note))[found.between(i * NOTE_S + SETTLED_S, (i + 1) * NOTE_S)])
            for i, note in enumerate(played)
        ]
        together = np.concatenate(of_note)
        assert np.median(together) < bar_cents
        assert max(np.median(cents) for cents in of_note) < note_bar_cents
        octaves_off = np.abs(together - 1200.0 * np.round(together / 1200.0)) < 50.0
        assert not np.any(octaves_off & (together >= 1150.0))
        # Of a low saw, the quiet between two of its edges is at times taken for a pitch, some three octaves up.
        assert np.mean(together >= 50.0) <= (0.005 if timbre == "saw" else 0.0)


@pytest.mark.parametrize("f0_hz", [110.0, 220.0, 440.0, 880.0, 1318.5])
def test_periods_between_whole_samples(f0_hz: float) -> None:
    # A tracker that takes the nearest whole lag is off by 1200 log2((N + 1/2) / N), N = fs / f0: 1.98, 3.96, 7.92,
    # 15.80 and 23.62 cents at these notes; and where low ones are looked for, at 12 kHz, by four times that.
    samples = round(FS / f0_hz)
    between_hz = FS / (samples + 0.5)
    signature_cents = 1200.0 * np.log2((samples + 0.5) / samples)
    for amplitudes in ({1: 1.0}, 8):
        found = tracked(harmonics(between_hz, amplitudes, 0.6))
        cents = np.abs(found.cents(between_hz)[found.time_s > 0.2])
        assert np.median(cents) < signature_cents / 8.0
        assert cents.max() < signature_cents / 2.0


@pytest.mark.parametrize(
    "amplitudes",
    [dict.fromkeys(range(2, 9), 1.0), {1: 10.0**-1.5} | {k: 1.0 / k for k in range(2, 9)}],
    ids=["missing", "30 dB down"],
)
@pytest.mark.parametrize("range_hz", [FULL_RANGE_HZ, HORNS["tenor sax"].search_hz()], ids=["full", "tenor sax"])
def test_fundamental_that_is_missing_or_weak(amplitudes: dict[int, float], range_hz: tuple[float, float]) -> None:
    tone = harmonics(110.0, amplitudes, 1.0)
    for x in (tone, with_noise(tone, 20.0)):
        found = tracked(x, range_hz=range_hz)
        settled = found.time_s > 0.1
        assert np.abs(found.cents(110.0)[settled]).max() < 5.0
        assert found.voiced[settled].all()


@pytest.mark.parametrize("f0_hz", [82.4, 110.0, 146.8, 220.0, 440.0, 880.0, 1174.7, 1500.0])
@pytest.mark.parametrize("trap", ["subharmonic", "even harmonics"])
def test_octave_traps(f0_hz: float, trap: str) -> None:
    """A quarter-tone in 99 % of frames: subharmonics 20 dB under the note; even harmonics 12 dB up."""
    assert gross_share(tracked(trapped(f0_hz, trap)), f0_hz) <= 0.01


@pytest.mark.parametrize("f0_hz", [61.7, 65.4, 73.4])
@pytest.mark.parametrize("trap", ["subharmonic", "even harmonics"])
def test_octave_traps_of_low_notes_in_a_low_horns_range(f0_hz: float, trap: str) -> None:
    assert gross_share(tracked(trapped(f0_hz, trap), range_hz=TUBA_HZ), f0_hz) <= 0.01


def trapped(f0_hz: float, trap: str) -> np.ndarray:
    if trap == "even harmonics":
        return harmonics(f0_hz, mellow(f0_hz, even=10.0 ** (12.0 / 20.0)), 1.0)
    odd_halves = {k: amplitude for k, amplitude in mellow(f0_hz / 2.0).items() if k % 2}
    return harmonics(f0_hz, mellow(f0_hz), 1.0) + 0.1 * harmonics(f0_hz / 2.0, odd_halves, 1.0)


@pytest.mark.parametrize("snr_db", [np.inf, 20.0])
@pytest.mark.parametrize("f0_hz", [65.4, 82.4, 103.8])
def test_spiky_low_notes_in_a_low_horns_range(f0_hz: float, snr_db: float) -> None:
    for amplitudes in (mellow(f0_hz), SAW):
        x = with_noise(harmonics(f0_hz, amplitudes, 1.0), snr_db)
        assert gross_share(tracked(x, range_hz=TUBA_HZ), f0_hz) <= 0.03


@pytest.mark.parametrize(
    ("f0_hz", "range_hz"),
    [(49.0, TUBA_HZ), (58.27, FULL_RANGE_HZ), (82.4, FULL_RANGE_HZ)],
    ids=["49 Hz, tuba's range", "58 Hz, full range", "82 Hz, full range"],
)
@pytest.mark.xfail(strict=True, reason="the quiet between two spikes of a low note is taken for a pitch")
def test_spiky_low_notes(f0_hz: float, range_hz: tuple[float, float]) -> None:
    x = with_noise(harmonics(f0_hz, mellow(f0_hz), 1.0), 20.0)
    assert gross_share(tracked(x, range_hz=range_hz), f0_hz) <= 0.01


@pytest.mark.parametrize(("low_hz", "two_periods_ms"), [(65.41, 30.6), (138.59, 14.4)])
def test_response_is_stated_and_at_least_two_periods(low_hz: float, two_periods_ms: float) -> None:
    response_ms = 1000.0 * PitchTracker(low_hz, 1000.0, FS).response_s
    assert two_periods_ms < response_ms < two_periods_ms + 16.0  # an attack of 10 ms, a least window, a hop


@pytest.mark.parametrize("f0_hz", [110.0, 220.0, 440.0, 880.0])
def test_vibrato_keeps_its_depth(f0_hz: float) -> None:
    rate_hz, depth_cents = 5.5, 50.0
    t = np.arange(round(3.0 * FS)) / FS
    found = tracked(harmonics(f0_hz * 2.0 ** (depth_cents / 1200.0 * np.sin(2.0 * np.pi * rate_hz * t)), 8, 3.0))
    settled = found.time_s > 0.5
    turn = 2.0 * np.pi * rate_hz * found.time_s[settled]
    waves = np.column_stack([np.sin(turn), np.cos(turn), np.ones_like(turn)])
    (a, b, _), *_ = np.linalg.lstsq(waves, found.cents(f0_hz)[settled], rcond=None)
    kept, lag_s = np.hypot(a, b) / depth_cents, np.arctan2(-b, a) / (2.0 * np.pi * rate_hz)
    # An estimate that averages over W keeps sinc(5.5 W): 0.978 of a window of 21.3 ms. It lags by half of what it
    # spans: a window of about a period, not less than 9 or 6 ms, and the period before; and half a hop on the average.
    assert kept > 0.98
    period_s = 1.0 / f0_hz
    spanned_s = max(0.009 if f0_hz < 550.0 else 0.006, period_s) + period_s
    assert lag_s == pytest.approx(0.5 * spanned_s, abs=0.002)
    assert np.array_equal(found.voiced[settled], np.ones(int(settled.sum()), bool))


def test_clarity_is_one_for_a_periodic_sound_and_none_for_noise() -> None:
    # McLeod and Wyvill, ICMC 2005: the normalised square difference is 1 where a sound repeats itself (1e-3), about 0
    # for noise. The confidence is that, times the probability that no other pitch is meant.
    tone = tracked(harmonics(220.0, 8, 1.0))
    assert np.median(tone.confidence[tone.time_s > 0.2]) == pytest.approx(1.0, abs=1e-3)
    noise = tracked(0.1 * np.random.default_rng(1).standard_normal(round(2.0 * FS)))
    assert np.mean(noise.confidence) < 0.25
    assert not noise.voiced.any()


@pytest.mark.parametrize("phrase", PHRASES.values(), ids=PHRASES)
def test_accuracy_beside_published_trackers(phrase: Phrase) -> None:
    """Raw pitch accuracy within 50, 25 and 10 cents."""
    # Kim, Salamon, Li, Bello, ICASSP 2018 (arXiv 1802.06182), tables 1 and 2: pYIN on synthesised single lines.
    published = {50.0: 0.990, 25.0: 0.972, 10.0: 0.908}
    take = play(phrase, seed=3)
    found = tracked(take.audio, take.sample_rate_hz, HORNS[take.horn].search_hz())
    # Those trackers look at frames centred on the moment they speak of. Ours hears nothing of the future, so what it
    # says is of some 6 ms ago, and of a new note it knows nothing for 30 ms; the latter is scored elsewhere.
    true_hz = take.f0_at(found.time_s - 0.006)
    due = np.any([found.between(note.onset_s + 0.03, note.end_s) for note in take.notes], axis=0)
    scored = mir_eval.melody.to_cent_voicing(found.time_s, np.where(due, true_hz, 0.0), found.time_s, found.f0_hz)
    for cents, bar in published.items():
        assert mir_eval.melody.raw_pitch_accuracy(*scored, cent_tolerance=cents) > bar
    octave_errors = mir_eval.melody.raw_chroma_accuracy(*scored) - mir_eval.melody.raw_pitch_accuracy(*scored)
    assert octave_errors < 0.001


@pytest.mark.parametrize("f0_hz", [110.0, 220.0, 440.0, 880.0, 1500.0])
def test_steady_note_is_steady(f0_hz: float) -> None:
    # Difference limens of 2-3 Hz under 1 kHz and of 0.2 %, 3.5 cents, at 1 kHz: a jitter under 2 cents is not heard.
    found = tracked(with_noise(harmonics(f0_hz, mellow(f0_hz), 1.0), 40.0))
    assert np.std(found.cents(f0_hz)[found.time_s > 0.2]) < 2.0
