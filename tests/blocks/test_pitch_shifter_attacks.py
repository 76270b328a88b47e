"""The pitch shifter where notes begin, end and break: tongue and breath once, attacks apart, no pre-echo, no clicks."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.measure.attacks import find_notes
from tests.blocks.shifted_takes import FS, TONE_ONLY, TWO_VOICES, between, level_db, line, shifted, shifter


def test_breath_and_tongue_pass_or_are_off() -> None:
    """A second of microphone noise before the note: as it was, or not at all."""
    take = line("- 0.5, Bb3 1 accent")
    before = slice(0, round((take.onsets_s[0] - 0.1) * FS))
    passed = shifted(shifter(TWO_VOICES), take.audio)[:, 0]
    assert np.abs(passed[before] - take.audio[before]).max() < 1e-12
    assert level_db(take.audio[before]) > -75.0
    silent = shifted(shifter(TWO_VOICES, TONE_ONLY), take.audio)[:, 0]
    assert not silent[before].any()
    assert np.abs(silent).max() > 0.05


def test_the_tongue_is_heard_once() -> None:
    """From its first sound to the note's first, in which there is no pitch yet: as the take has it, not twice."""
    take = line("Bb3 1 accent, - 1, D4 1 accent, - 1, F4 1 accent")
    y = shifted(shifter(TWO_VOICES), take.audio)[:, 0]
    for onset_s in take.onsets_s:
        tongue = between(take.audio, onset_s - 0.006, onset_s)
        assert level_db(tongue) > level_db(between(take.audio, onset_s - 0.1, onset_s - 0.05)) + 6.0
        assert level_db(between(y, onset_s - 0.006, onset_s)) == pytest.approx(level_db(tongue), abs=0.3)


def test_a_click_on_a_tone_is_heard_once() -> None:
    """Two milliseconds of noise, 10 dB over a held note: what it adds has its own energy, where two would have twice.

    What is around it, a voice whose phase it may have moved, is not counted.
    """
    x = line("Bb3 3 tenuto").audio
    for begin in (48_000, 60_000, 72_000):
        click = np.zeros(x.size)
        click[begin : begin + 96] = 0.3 * np.random.default_rng(5).standard_normal(96)
        around = slice(begin - 48, begin + 144)
        added = shifted(shifter(TWO_VOICES), x + click)[around, 0] - shifted(shifter(TWO_VOICES), x)[around, 0]
        assert 10.0 * math.log10(np.sum(added**2) / np.sum(click**2)) == pytest.approx(0.0, abs=1.0)


def test_tongued_sixteenths_stay_apart() -> None:
    """140 bpm: 107 ms a note. As many attacks as notes, each within 10 ms of its own, and as deep a dip before it."""
    take = line(", ".join(["Bb3 1/4 0.7"] * 12 + ["D4 1/4 0.7"] * 4), bpm=140.0)
    for semitones in (7, -12):
        sketch = shifter(f'{{ interval = "{semitones:+d} semitones" }}')
        y = shifted(sketch, take.audio)[:, 0]
        played, heard = find_notes(take.audio, FS), find_notes(y, FS)
        assert len(played) == len(take.notes)
        assert len(heard) == len(played)
        for a, b in zip(played, heard, strict=True):
            assert abs(b.begin_s - a.begin_s) < 0.01
            assert b.peak_dbfs == pytest.approx(a.peak_dbfs, abs=4.0)
        for onset_s in take.onsets_s[1:]:
            dips = [
                min(level_db(between(x, t, t + 0.005)) for t in np.arange(onset_s - 0.02, onset_s + 0.015, 0.001))
                for x in (take.audio, y)
            ]
            assert dips[1] < dips[0] + 6.0


def test_nothing_is_heard_before_a_note_after_a_rest() -> None:
    """At least 40 dB under the note, in the 35 ms before it, and no more than the take itself has there."""
    take = line("- 0.3, Bb3 0.5 accent, - 0.7, D4 0.5 accent, - 0.7, F3 0.5 accent")
    y = shifted(shifter(TWO_VOICES, TONE_ONLY), take.audio)[:, 0]
    for note in take.notes:
        early = level_db(between(y, note.onset_s - 0.04, note.onset_s - 0.005))
        assert early < level_db(between(y, note.onset_s, note.end_s)) - 40.0


def test_going_over_between_tone_and_noise_makes_no_step() -> None:
    """Second differences bring out clicks: those of voice and rest are no larger than the take's own."""
    for notes in (
        "Bb3 0.4 staccato, D4 0.4 ghost, F4 1 flutter, Bb3 1 subtone, D4 1 fall",
        "Bb3 2 growl, - 1, C4 1 doit",
    ):
        take = line(notes)
        own = np.abs(np.diff(take.audio, 2)).max()
        for semitones in (-12, -5):
            y = shifted(shifter(f'{{ interval = "{semitones:+d} semitones" }}'), take.audio)[:, 0]
            assert np.abs(np.diff(y, 2)).max() < 1.5 * own
