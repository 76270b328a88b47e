"""The ring modulator on its own: bits, both sides, a carrier that moves or follows, rests and doubt."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.block import block_type
from tests.blocks.harness import prepared, run
from tests.blocks.scripted_pitch import Script, play, ready

FS = 48_000
WET = {"dry_db": "off", "wet_db": 0.0}


def test_cuts_and_reset_leave_the_bits_alone() -> None:
    frames = 6_000
    x = np.random.default_rng(2).standard_normal((2, frames))
    moving = {"freq_hz": np.geomspace(0.1, 5_000.0, frames), "wet_db": np.linspace(-20.0, 0.0, frames)}
    block = prepared("ring_modulator", channels=2, moving=moving)
    whole = run(block, x, moving=moving)
    for size in (1, 7, 64, 509):
        block.reset()
        assert run(block, x, moving=moving, cuts=range(size, frames, size)).tobytes() == whole.tobytes()


def test_cuts_and_reset_leave_the_bits_alone_where_it_follows() -> None:
    script = Script().rest(0.02).note(220.0, 0.1).note(311.1, 0.1).rest(0.05)
    moving = {"ratio": np.linspace(0.5, 2.0, script.track.shape[1])}
    block = ready("ring_modulator", follows="pitch", moving=moving)
    whole = play(block, script.track, script.horn, moving=moving)
    for size in (1, 7, 64, 509):
        block.reset()
        cuts = range(size, script.track.shape[1], size)
        assert play(block, script.track, script.horn, moving=moving, cuts=cuts).tobytes() == whole.tobytes()


def test_wet_off_passes_bit_by_bit() -> None:
    x = np.random.default_rng(1).standard_normal((2, 3_000))
    assert run(prepared("ring_modulator", channels=2, wet_db="off", dry_db=0.0), x).tobytes() == x.tobytes()


def test_both_sides_hear_the_same_carrier() -> None:
    x = np.random.default_rng(4).standard_normal((1, 9_000))
    y = run(prepared("ring_modulator", channels=2), np.vstack([x, -2.0 * x]))
    assert np.array_equal(y[1], -2.0 * y[0])


def test_a_carrier_that_leaps_keeps_its_phase() -> None:
    moving = {"freq_hz": np.where(np.arange(FS) < FS // 2, 100.0, 900.0)}
    carrier = run(prepared("ring_modulator", moving=moving, **WET), np.ones((1, FS)), moving=moving)[0]
    assert np.max(np.abs(np.diff(carrier[: FS // 2 - 1]))) <= np.sqrt(2.0) * 2.0 * np.pi * 100.0 / FS * 1.0001
    assert np.max(np.abs(np.diff(carrier))) <= np.sqrt(2.0) * 2.0 * np.pi * 900.0 / FS * 1.0001


def carrier_hz(carrier: np.ndarray) -> float:
    """Frequency from the times at which it rises through zero."""
    i = np.flatnonzero((carrier[:-1] < 0.0) & (carrier[1:] >= 0.0))
    at = i - carrier[i] / (carrier[i + 1] - carrier[i])
    return float(FS * (len(at) - 1) / (at[-1] - at[0]))


def test_it_waits_for_the_first_note_and_holds_through_doubt_and_rests() -> None:
    script = Script().rest(0.2).note(220.0, 0.5).note(500.0, 0.3, voiced=False).rest(0.3).note(330.0, 0.5)
    track = script.track
    block = ready("ring_modulator", follows="pitch", ratio=0.5, **WET)
    carrier = play(block, track, np.ones((1, track.shape[1])))[0]
    assert not carrier[: round(0.2 * FS)].any()
    assert carrier_hz(carrier[round(0.3 * FS) : round(1.29 * FS)]) == pytest.approx(110.0, abs=0.01)
    assert carrier_hz(carrier[round(1.4 * FS) :]) == pytest.approx(165.0, abs=0.01)


def test_settings_of_the_other_carrier_are_told_to_be_idle() -> None:
    assert "freq_hz" in prepared("ring_modulator", follows="pitch").settings.idle()
    assert {"ratio", "source", "listens_to"} <= set(prepared("ring_modulator").settings.idle())
    cls = block_type("ring_modulator")
    assert cls.controls_for(prepared("ring_modulator").settings) == ()
    assert cls.controls_for(prepared("ring_modulator", follows="pitch").settings) == ("pitch",)
