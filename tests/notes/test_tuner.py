"""Tuning of tracks whose offsets are known, because they are made of them."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.notes.model import Note
from chainsim.notes.tuner import Tuning, measure_tuning

HOP_S = 0.002


def tuning_of(*parts: tuple[float, float, float], a4_hz: float = 440.0, sure: float = 1.0) -> Tuning:
    """Notes of (MIDI pitch, seconds, vibrato in semitones), one after the other, read against a tuning."""
    pitch, notes, now = [np.zeros(0)], [], 0.0
    for height, seconds, vibrato in parts:
        t = np.arange(round(seconds / HOP_S)) * HOP_S
        pitch.append(height + vibrato * np.sin(2.0 * np.pi * 5.0 * t))
        notes.append(Note(now, now + seconds, round(height), 80))
        now += seconds
    f0_hz = 440.0 * 2.0 ** ((np.concatenate(pitch) - 69.0) / 12.0)
    time_s = np.arange(1, f0_hz.size + 1) * HOP_S
    return measure_tuning(notes, time_s, f0_hz, np.full(f0_hz.size, sure > 0.5), a4_hz)


def test_mean_offset_spread_and_time_of_each_note() -> None:
    found = tuning_of((60.12, 0.58, 0.0), (64.93, 1.08, 0.0), (60.04, 0.58, 0.0))
    assert [(n.midi, n.times) for n in found.notes] == [(60, 2), (65, 1)]
    low, high = found.notes
    # Two equally long notes, 12 and 4 cents sharp: mean 8, standard deviation 4.
    assert (low.mean_cents, low.spread_cents) == pytest.approx((8.0, 4.0), abs=0.05)
    assert high.mean_cents == pytest.approx(-7.0, abs=1e-6)
    # All but 60 ms after the attack and 20 ms before the end.
    assert (low.total_s, high.total_s) == pytest.approx((1.0, 1.0), abs=0.011)


def test_readings_stand_a_fifth_of_a_second_apart() -> None:
    found = tuning_of((69.1, 1.08, 0.0))
    assert [r.midi for r in found.readings] == [69] * 5
    assert [r.cents for r in found.readings] == pytest.approx([10.0] * 5)
    assert np.diff([r.time_s for r in found.readings]) == pytest.approx([0.2] * 4, abs=0.0021)
    assert found.median_cents == pytest.approx(10.0)


def test_vibrato_is_spread_and_not_mistuning() -> None:
    found = tuning_of((72.05, 2.08, 0.4))
    (note,) = found.notes
    assert note.midi == 72
    assert note.mean_cents == pytest.approx(5.0, abs=1.0)
    assert note.spread_cents == pytest.approx(40.0 / np.sqrt(2.0), abs=0.5)  # rms of a sine


@pytest.mark.parametrize(
    ("a4_hz", "midi", "cents"),
    [(440.0, 69, 0.0), (442.0, 69, -7.85), (415.0, 70, 1.27), (432.0, 69, 31.77)],
)  # 1200 log2(440 / a4), less 100 for each semitone
def test_any_a4(a4_hz: float, midi: int, cents: float) -> None:
    (note,) = tuning_of((69.0, 0.5, 0.0), a4_hz=a4_hz).notes
    assert note.midi == midi
    assert note.mean_cents == pytest.approx(cents, abs=0.01)


def test_short_and_unsure_notes_do_not_count() -> None:
    for found in (tuning_of((60.0, 0.12, 0.0)), tuning_of((60.0, 1.0, 0.0), sure=0.0), tuning_of()):
        assert found.notes == ()
        assert found.readings == ()
        assert np.isnan(found.median_cents)
