"""Presets with a pitch shifter: their chords are those of the theory books, breath stays single, lanes go together."""

from __future__ import annotations

import re

import numpy as np
import pytest

from chainsim import parse_sketch, render
from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import Phrase
from chainsim.horn.play import HornTake, play
from chainsim.music.pitch import midi_to_hz, parse_pitch
from chainsim.resources import preset_paths
from chainsim.units import Array
from tests.presets.test_voices import silenced

PRESETS = {
    name: text
    for name, path in preset_paths().items()
    if "pitch_shifter" in (text := path.read_text()) and "[[banks]]" not in text
}

CHORDS = {
    # every note carries its fifth, and that one its own
    "three_masts": {"Bb4": "F5 C6", "F4": "C5 G5"},
    # the tune is the third: C major, E minor, and the dominant B major with the raised seventh degree
    "tow_rope": {"E4": "C3 G3", "G4": "E3 B3", "D#4": "B2 F#3"},
    # close position, the tune on top: A minor seventh, C major seventh, B dominant seventh
    "four_on_a_bench": {"E4": "C4 A3 G3", "B4": "G4 E4 D#4", "G4": "E4 C4 B3", "F#4": "D#4 B3 A3"},
    "slack_water": {"C4": "F3 F2", "G4": "F3 F2"},
    "under_the_keel": {"C4": "C3", "Bb3": "Bb2"},
    "paired_oars": {"Bb4": "Bb4", "F5": "F5"},
}
"""What is played, and what the voices play to it."""


def held(name: str, notes: str, beats: float = 2.0) -> HornTake:
    """The preset's horn plays notes of so many seconds, a second of rest before each."""
    line = ", ".join(f"- 1, {note} {beats} 0.6" for note in notes.split())
    return play(Phrase(name, 60.0, notes_of(line), parse_sketch(PRESETS[name]).header.instrument or ""), seed=4)


def dry(text: str) -> str:
    """The sketch without its reverb."""
    return re.sub(r'^type = "reverb"$', "\\g<0>\nengaged = false", text, flags=re.M)


def sounding(text: str, audio: Array, rate_hz: float) -> Array:
    """What comes out, left and right together, shape (frames,)."""
    mixed: Array = np.mean(render(parse_sketch(text), audio, rate_hz).audio[: len(audio)], axis=1)
    return mixed


def test_every_preset_with_a_shifter_is_judged() -> None:
    assert set(CHORDS) == set(PRESETS)


@pytest.mark.parametrize("name", CHORDS)
def test_the_chords(name: str) -> None:
    take, text = held(name, " ".join(CHORDS[name])), dry(PRESETS[name])
    rate_hz = take.sample_rate_hz
    heard = sounding(text, take.audio, rate_hz) - sounding(silenced(text), take.audio, rate_hz)
    for note, wanted in zip(take.notes, CHORDS[name].values(), strict=True):
        middle = heard[round((note.onset_s + 0.4) * rate_hz) : round((note.onset_s + 1.6) * rate_hz)]
        power = np.abs(np.fft.rfft(middle * np.hanning(middle.size))) ** 2
        freq_hz = np.fft.rfftfreq(middle.size, 1.0 / rate_hz)
        explained = np.zeros(freq_hz.size, np.bool_)
        for pitch in wanted.split():
            hz = midi_to_hz(parse_pitch(pitch))
            # a voice that keeps its pitch is in tune whatever the horn does; the others are as far off as the horn
            off = 1.0 if name == "slack_water" else note.f0_hz / midi_to_hz(note.pitch)
            near = np.abs(1200.0 * np.log2(np.maximum(freq_hz, 1.0) / (hz * off))) < 60.0
            centre_hz = float(np.sum(power[near] * freq_hz[near]) / np.sum(power[near]))
            assert abs(1200.0 * np.log2(centre_hz / (hz * off))) < 10.0, (pitch, centre_hz)
            # where the timbre stays, a fundamental below the horn's own range is weak
            assert np.sum(power[near]) > 0.001 * np.sum(power), pitch
            to_harmonic = np.abs(freq_hz - hz * np.maximum(np.round(freq_hz / hz), 1.0))
            # vibrato and mistuning grow with the number of the harmonic
            explained |= to_harmonic < 4.0 + 0.012 * freq_hz
        audible = freq_hz < 1_000.0
        assert np.mean(explained[audible]) < 0.5
        assert np.sum(power[explained & audible]) > 0.97 * np.sum(power[audible]), (note.pitch, wanted)


@pytest.mark.parametrize("name", CHORDS)
def test_breath_is_not_heard_twice(name: str) -> None:
    rate_hz = 48_000.0
    breath = 0.02 * np.random.default_rng(7).standard_normal(round(2.0 * rate_hz))
    text = dry(PRESETS[name])
    horn = sounding(silenced(text), breath, rate_hz)
    assert np.sum(horn**2) > 0.1 * np.sum(breath**2)
    # a copy 25 dB down would make a comb of 1 dB from crest to notch
    assert np.sum((sounding(text, breath, rate_hz) - horn) ** 2) < 10.0**-2.5 * np.sum(horn**2)


def test_the_synth_is_in_time_with_the_shifted_voice() -> None:
    """To know a pitch takes the synth about as long as to shift it takes the shifter."""
    take = held("tow_rope", "E4 B4 G4 D#4 A4 F#4", 0.5)
    text, rate_hz = dry(PRESETS["tow_rope"]), take.sample_rate_hz
    horn = sounding(silenced(text), take.audio, rate_hz)
    shifted = sounding(silenced(text, "following_synth"), take.audio, rate_hz) - horn
    synth = sounding(silenced(text, "pitch_shifter"), take.audio, rate_hz) - horn
    rises_ms = np.array([[risen_ms(x, rate_hz, n.onset_s) for x in (horn, shifted, synth)] for n in take.notes])
    assert np.abs(rises_ms[:, 1] - rises_ms[:, 0]).max() < 3.0
    # aligned with the horn it would be 15 ms later still
    assert abs(np.mean(rises_ms[:, 2] - rises_ms[:, 1])) < 8.0


def risen_ms(sound: Array, rate_hz: float, onset_s: float) -> float:
    """When a note has risen to half of its level, from its onset: causal root mean square over 8 ms."""
    cells = round(0.008 * rate_hz)
    power = np.convolve(sound**2, np.ones(cells))[: sound.size]
    rise = power[round((onset_s - 0.05) * rate_hz) : round((onset_s + 0.15) * rate_hz)]
    half = 0.25 * float(np.median(power[round((onset_s + 0.15) * rate_hz) : round((onset_s + 0.3) * rate_hz)]))
    return 1000.0 * int(np.argmax(rise >= half)) / rate_hz - 50.0
