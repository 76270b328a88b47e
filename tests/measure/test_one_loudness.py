"""Trims by hand: one loudness, a ceiling for all, what cannot be brought there."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.measure.loudness import LoudnessMeter, measure_loudness
from chainsim.measure.one_loudness import Aim, Level, one_loudness


def test_trims_that_fit() -> None:
    found = one_loudness([Level("a", -20.0, -6.0), Level("b", -30.0, -12.0)], Aim(-23.0))
    assert found.trims_db == (-3.0, 7.0)
    assert found.of_all == ()


def test_the_sharpest_sound_holds_all_back() -> None:
    """The second peaks 25 dB over its loudness: under -1 dBTP it can have -26 LUFS, so all have."""
    found = one_loudness([Level("a", -20.0, -6.0), Level("b", -30.0, -5.0)], Aim(-23.0, -1.0))
    assert found.reached_lufs == -26.0
    assert found.trims_db == (-6.0, 4.0)
    assert 'at -23 LUFS "b" would peak at +2.0 dBTP, over the ceiling of -1' in found.of_all[0]


def test_the_trim_counts_what_the_gate_then_lets_pass() -> None:
    """A long part at -60 LUFS falls under the absolute gate of -70 when all is lowered: the rest alone is measured."""
    rate_hz = 8_000
    t = np.arange(40 * rate_hz) / rate_hz
    gains = np.where(t < 36.0, 10 ** (-60 / 20), 10 ** (-45 / 20)) * 10 ** (0.691 / 20)
    sound = (gains * np.sin(2.0 * np.pi * 997.0 * t) * math.sqrt(2.0))[None]
    meter = LoudnessMeter(rate_hz, 1)
    meter.add(sound)
    level = Level("quiet", meter.result().integrated_lufs, -40.0, meter.raised_lufs)
    (trim_db,) = one_loudness([level], Aim(-66.0)).trims_db
    lowered = measure_loudness(sound.T * 10 ** (trim_db / 20), rate_hz).integrated_lufs
    assert lowered == pytest.approx(-66.0, abs=0.02)
    assert abs(level.integrated_lufs + trim_db + 66.0) > 5.0  # a plain sum would be off by so much


def test_silence_and_what_is_too_far_off_hold_nobody_back() -> None:
    silent, faint = Level("s", -math.inf, -math.inf), Level("f", -62.0, -20.0)
    found = one_loudness([silent, faint, Level("a", -25.0, -10.0)], Aim(-23.0))
    assert found.trims_db == pytest.approx((0.0, 19.0, 2.0))  # faint: 30 dB at most, and 19 dB under the ceiling
    assert found.warnings[0] == ("silence has no loudness to change",)
    assert "would need a trim of +39 dB" in found.warnings[1][0]
