"""Trims by hand: one loudness, a ceiling for all, what cannot be brought there."""

from __future__ import annotations

import math

import pytest

from chainsim.batch.one_loudness import Aim, Level, one_loudness


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


def test_silence_and_what_is_too_far_off_hold_nobody_back() -> None:
    silent, faint = Level("s", -math.inf, -math.inf), Level("f", -62.0, -20.0)
    found = one_loudness([silent, faint, Level("a", -25.0, -10.0)], Aim(-23.0))
    assert found.trims_db == pytest.approx((0.0, 19.0, 2.0))  # faint: 30 dB at most, and 19 dB under the ceiling
    assert found.warnings[0] == ("silence has no loudness to change",)
    assert "would need a trim of +39 dB" in found.warnings[1][0]
