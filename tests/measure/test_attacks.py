"""Notes found from level, on takes whose notes are known."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.measure.attacks import find_notes
from chainsim.units import Array
from tests.sampled_horns import SampledHorn

NOTES_S = ((0.5, 1.5), (2.0, 3.0), (3.2, 5.0), (6.0, 7.5))
RAMP_S = 0.02


def take(
    rate_hz: float, noise: float = 0.0, amplitudes: tuple[float, ...] = (0.5, 0.5, 0.5, 0.5), dip: float = 0.0
) -> Array:
    """Notes of 110 Hz with straight ramps of 20 ms inside their times; between them the tone goes on at `dip`."""
    t = np.arange(round(8 * rate_hz)) / rate_hz
    gain = np.full(t.size, dip)
    for (a, b), amplitude in zip(NOTES_S, amplitudes, strict=True):
        gain = np.maximum(gain, amplitude * np.clip(np.minimum(t - a, b - t) / RAMP_S, 0.0, 1.0))
    return gain * np.sin(2.0 * np.pi * 110.0 * t) + noise * np.random.default_rng(4).standard_normal(t.size)


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 192_000])
@pytest.mark.parametrize("noise", [0.0, 0.001])
def test_notes_between_rests(rate_hz: float, noise: float) -> None:
    notes = find_notes(take(rate_hz, noise), rate_hz)
    assert len(notes) == 4
    for note, (a, b) in zip(notes, NOTES_S, strict=True):
        # The ramp is within 20 dB of the peak after a tenth of its 20 ms; the next crest of 110 Hz is at most
        # 1 / 220 s away.
        assert a + 0.002 - 0.001 <= note.begin_s <= a + 0.002 + 1 / 220 + 0.001
        # 15 ms of holding behind the end of the ramp, and a little less for the last 1 % of it.
        assert b - 0.005 <= note.end_s <= b + 0.017
        assert note.peak_dbfs == pytest.approx(-6.02, abs=0.1)  # 20 log10 0.5; noise adds up to 4 sigma: 0.07 dB


def test_a_dip_of_12_db_parts_notes_and_one_of_6_db_does_not() -> None:
    # 0.5 over 0.125: 12.04 dB; 0.5 over 0.25: 6.02 dB. The 15 ms of holding fit into each rest.
    assert len(find_notes(take(48_000, dip=0.125), 48_000)) == 4
    assert len(find_notes(take(48_000, dip=0.25), 48_000)) <= 1


def test_soft_notes_count_down_to_30_db_under_loud_ones() -> None:
    # 0.5 x 10^(-28/20) = 0.0199: 12 dB over the flat 40 dB under the loud notes; 0.003 is 44 dB under them.
    for soft, count in ((0.0199, 4), (0.003, 2)):
        assert len(find_notes(take(48_000, 1e-4, (0.5, soft, 0.5, soft)), 48_000)) == count


def test_a_take_may_begin_and_end_within_a_note() -> None:
    x = take(48_000)[round(1.0 * 48_000) : round(6.5 * 48_000)]
    notes = find_notes(x, 48_000)
    assert len(notes) == 4
    assert notes[0].begin_s <= 0.003
    assert notes[-1].end_s == pytest.approx(5.5, abs=0.002)


@pytest.mark.parametrize("x", [np.zeros(48_000), np.zeros((0, 1)), 0.001 * np.ones((48_000, 2))])
def test_no_notes_where_nothing_moves(x: Array) -> None:
    assert len(find_notes(x, 48_000)) <= 1
    assert not x.any() or find_notes(x, 48_000)[0].begin_s == 0.0


def test_sampled_saxophone(sampled_sax: SampledHorn) -> None:
    notes = find_notes(sampled_sax.audio, sampled_sax.sample_rate_hz)
    onsets = np.array([n.onset_s for n in sampled_sax.notes])
    # What is found is a note; what begins after a rest is found. Slurs may hide others: they have no dip.
    assert all(np.min(np.abs(onsets - n.begin_s)) < 0.04 for n in notes)
    assert min(abs(n.begin_s - onsets[0]) for n in notes) < 0.02
    assert len(notes) >= 3
