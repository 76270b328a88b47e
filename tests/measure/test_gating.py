"""What a gate does to notes, read from gains drawn by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chainsim.errors import AudioError
from chainsim.measure.attacks import Note
from chainsim.measure.gating import Gating, OpeningCounter, measure_gating
from chainsim.units import Array

RATE_HZ = 8_000
NOTES = tuple(Note(a, a + 0.5, -6.0) for a in (0.5, 1.5, 2.5))
RESTS_S = ((0.0, 0.5), (1.0, 1.5), (2.0, 2.5), (3.0, 4.0))
T = np.arange(4 * RATE_HZ) / RATE_HZ
TAKE = np.where((np.modf(T)[0] >= 0.5) & (T < 3.0), 0.5, 0.0)


def gating(*spans: tuple[float, float], channels: int = 1) -> Gating:
    """A gate of floor 0 that is fully open in these spans of seconds."""
    gain = np.zeros(T.size)
    for a, b in spans:
        gain[round(a * RATE_HZ) : round(b * RATE_HZ)] = 1.0
    take: Array = np.stack([TAKE] * channels, axis=1) if channels > 1 else TAKE
    return measure_gating(take, gain, RATE_HZ, NOTES, RESTS_S)


def test_a_gate_that_does_its_work() -> None:
    read = gating((0.5, 1.1), (1.5, 2.1), (2.5, 3.1))
    assert (read.notes, read.openings, read.swallowed_s, read.cut_notes) == (3, 3, (), 0)
    assert math.isnan(read.median_cut_ms)
    assert (read.closes_per_note, read.most_closes) == (1.0, 1)
    assert read.rests_open == pytest.approx(0.3 / 2.5)  # 0.1 s after each note, of 2.5 s


@pytest.mark.parametrize("channels", [1, 2])
def test_attacks_cut(channels: int) -> None:
    read = gating((0.510, 1.0), (1.530, 2.0), (2.520, 3.0), channels=channels)
    assert read.cut_notes == 3
    assert read.median_cut_ms == pytest.approx(20.0)
    assert (read.worst_cut_ms, read.worst_cut_s) == (pytest.approx(30.0), 1.5)


def test_a_note_is_swallowed_when_a_tenth_of_its_energy_gets_through() -> None:
    # of an even note of 0.5 s: 0.06 s are 12 %, -9.2 dB; 0.04 s are 8 %, -11 dB
    assert gating((0.5, 1.0), (1.94, 2.0), (2.5, 3.0)).swallowed_s == ()
    read = gating((0.5, 1.0), (1.96, 2.0), (2.5, 3.0))
    assert read.swallowed_s == (1.5,)
    assert gating().swallowed_s == (0.5, 1.5, 2.5)
    assert gating().openings == 0


def test_chatter_is_counted_to_its_note() -> None:
    read = gating((0.5, 0.6), (0.65, 0.7), (0.75, 1.0), (1.5, 2.0), (2.5, 4.0))
    assert read.openings == 5
    assert (read.most_closes, read.most_closes_s) == (3, 0.5)
    assert read.closes_per_note == pytest.approx((3 + 1 + 0) / 3)


def test_levels_between_open_and_shut_change_nothing() -> None:
    gain = np.ones(T.size)
    gain[8_000:8_100] = 10 ** (-2 / 20)
    assert measure_gating(TAKE, gain, RATE_HZ, NOTES).openings == 1
    gain[8_000:8_100] = 10 ** (-4 / 20)
    read = measure_gating(TAKE, gain, RATE_HZ, NOTES)
    assert read.openings == 2
    assert math.isnan(read.rests_open)


def test_without_notes_or_with_another_length() -> None:
    read = measure_gating(TAKE, np.ones(T.size), RATE_HZ, ())
    assert (read.notes, read.openings, read.most_closes) == (0, 1, 0)
    assert math.isnan(read.closes_per_note)
    with pytest.raises(AudioError, match="one value a frame"):
        measure_gating(TAKE, np.ones(7), RATE_HZ, NOTES)


@given(st.lists(st.sampled_from([0.0, 0.6, 0.8, 1.0]), max_size=40), st.lists(st.integers(0, 40), max_size=4))
def test_openings_are_counted_alike_from_any_cuts(gains: list[float], cuts: list[int]) -> None:
    # 0.6 is under -3 dB (shut), 0.8 between -3 and -1 dB (as before), by the definitions of `Gating`.
    gain = np.array(gains)
    counter = OpeningCounter()
    for part in np.split(gain, sorted(cuts)):
        counter.add(part)
    assert counter.openings == measure_gating(np.ones(gain.size), gain, RATE_HZ, ()).openings
