"""Figures of the house sheet, the cables and the failures, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.audio.reading import TakeArray
from chainsim.batch.failure_levels import louder_without
from chainsim.batch.house_figures import house_figures, lowest_frequency_hz, mono_loss_db
from chainsim.batch.wire_levels import wire_levels_dbu
from chainsim.listen.sheets.failure_sheet.sheet import failure_sheet
from chainsim.sketch.loading import parse_sketch
from chainsim.units import Array

RATE_HZ = 8_000.0
TWO_LANES = """
chain = ["first", { lanes = ["dry", "second"] }]
[blocks.first]
type = "gain"
gain_db = -6
[blocks.second]
type = "gain"
[patches.one]
[patches.softer.blocks.first]
gain_db = -16
"""


def sine(freq_hz: float, amplitude: float = 0.25, seconds: float = 2.0) -> Array:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return amplitude * np.sin(2.0 * np.pi * freq_hz * t)


def test_the_lowest_frequency_is_where_a_thousandth_of_the_energy_is_passed() -> None:
    # Lines of a Hann window of 2^11 / 8 kHz = 256 ms are 4 bins of 3.9 Hz wide.
    low = sine(110.0, 0.1)
    assert lowest_frequency_hz((low + sine(440.0, 0.5))[None], RATE_HZ) == pytest.approx(110.0, abs=8.0)  # 4 %
    assert lowest_frequency_hz((0.1 * low + sine(440.0, 0.5))[None], RATE_HZ) == pytest.approx(440.0, abs=8.0)  # 0.04 %
    assert math.isnan(lowest_frequency_hz(np.zeros((1, 8000)), RATE_HZ))


def test_what_a_fold_loses() -> None:
    left, right = sine(200.0), sine(300.0)
    assert mono_loss_db(np.stack([left, left])) == pytest.approx(0.0, abs=1e-9)
    assert mono_loss_db(np.stack([left, right])) == pytest.approx(10.0 * math.log10(2.0), abs=1e-3)  # unrelated
    assert mono_loss_db(np.stack([left, -left])) == math.inf
    assert mono_loss_db(left[None]) == pytest.approx(0.0, abs=1e-12)
    assert math.isnan(mono_loss_db(np.zeros((2, 8))))


def test_every_patch_is_played() -> None:
    found = house_figures(parse_sketch(TWO_LANES), TakeArray(sine(440.0), RATE_HZ))
    one, softer = found.patches
    assert one.integrated_lufs - softer.integrated_lufs == pytest.approx(10.0, abs=1e-3)  # -6 dB against -16 dB
    # -6 dB and two equal lanes: an amplitude of 0.25 x 10^-0.3 x 2 = 0.2506.
    assert one.true_peak_dbtp == pytest.approx(20.0 * math.log10(0.5) - 6.0, abs=0.1)
    assert (found.seconds, found.levels) == (2.0, None)
    assert found.howls is not None
    assert (found.howls.patch, found.howls.gain_db) == ("one", pytest.approx(20.0 * math.log10(2.0) - 6.0, abs=0.2))


def test_loudness_is_what_measuring_a_file_of_the_feed_gives() -> None:
    told: list[tuple[int, int]] = []
    mono = parse_sketch('chain = ["trim"]\n[blocks.trim]\ntype = "gain"')
    found = house_figures(mono, TakeArray(sine(997.0), RATE_HZ), lambda *step: told.append(step)).patches[0]
    # Of one channel BS.1770-5 gives a 997 Hz sine its level, -3.01 LUFS at full scale; an amplitude of 0.25 is 12.04 dB
    # lower. On two loudspeakers it would be 3.01 LU more.
    assert found.integrated_lufs == pytest.approx(-15.05, abs=0.02)
    assert told == [(1, 2), (2, 2)]
    wide = parse_sketch(TWO_LANES + '[patches.wide]\nchain = [{ lanes = [{ chain = [], pan = 0 }, "second"] }]')
    in_stereo, alone = (
        house_figures(s, TakeArray(sine(997.0), RATE_HZ)).patches for s in (wide, parse_sketch(TWO_LANES))
    )
    # The feed is stereo by another patch: this one is on both lines, and counts twice.
    assert in_stereo[0].integrated_lufs - alone[0].integrated_lufs == pytest.approx(3.01, abs=0.01)


def test_a_dead_lane_of_two_equal_ones_is_half_as_loud() -> None:
    sketch = parse_sketch(TWO_LANES)
    found = louder_without(sketch, failure_sheet(sketch), TakeArray(sine(440.0), RATE_HZ))
    half_db = pytest.approx(20.0 * math.log10(0.5), abs=1e-3)
    assert found == {("second", "one"): half_db, ("second", "softer"): half_db}


def test_levels_behind_boxes_are_the_loudest_of_any_patch() -> None:
    # 0 dBFS is +10 dBu, a sine of amplitude 0.25 lies 12.04 dB under it; then -6 dB in the louder patch.
    sketch = parse_sketch(TWO_LANES + "[levels]\ninput_dbu = 10")
    found = wire_levels_dbu(sketch, TakeArray(sine(440.0), RATE_HZ))
    going_in = 10.0 + 20.0 * math.log10(0.25)
    expected = {"input": going_in, "first": going_in - 6.0, "second": going_in - 6.0}
    assert found == {name: pytest.approx(level, abs=0.05) for name, level in expected.items()}
    assert wire_levels_dbu(parse_sketch(TWO_LANES), TakeArray(sine(440.0), RATE_HZ)) == {}
