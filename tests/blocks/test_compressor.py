"""The compressor on its own: what it leaves alone, how dry and wet meet, and what its detector hears."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.block import block_type
from tests.blocks.harness import prepared, run

FS = 48_000


def tone(peak_db: float | np.ndarray, frames: int, freq_hz: float = 440.0) -> np.ndarray:
    """One channel of a sine whose peak level is `peak_db`."""
    return (10.0 ** (np.asarray(peak_db) / 20.0) * np.sin(2.0 * np.pi * freq_hz * np.arange(frames) / FS))[None]


@pytest.mark.parametrize("detector", ["peak", "rms"])
def test_below_the_knee_no_bit_is_changed_also_after_a_loud_note(detector: str) -> None:
    frames = 5 * FS // 2
    x = tone(np.where((np.arange(frames) > FS // 2) & (np.arange(frames) < FS), -3.0, -40.0), frames)
    block = prepared("compressor", detector=detector, threshold_db=-30.0, knee_db=6.0, release_ms=60.0)
    y, told = run(block, x, readings=True)
    assert y[:, : FS // 2].tobytes() == x[:, : FS // 2].tobytes()
    assert told.min() < 0.2
    # from 18 dB of reduction to where it counts as none takes 17 times the release: 1 s
    assert y[:, -FS // 4 :].tobytes() == x[:, -FS // 4 :].tobytes()


def test_a_ratio_of_one_changes_no_bit() -> None:
    x = np.random.default_rng(1).standard_normal((2, 4000))
    assert run(prepared("compressor", channels=2, ratio=1.0), x).tobytes() == x.tobytes()


def test_rms_forgets_a_loud_sound_entirely() -> None:
    x = np.zeros((1, FS))  # the low cut takes a third of this to fall from 120 dB to the threshold
    x[0, :2000] = 1e6 * np.random.default_rng(2).standard_normal(2000)
    _, told = run(prepared("compressor", detector="rms", threshold_db=-96.0, release_ms=5.0), x, readings=True)
    assert told.min() < 0.01
    assert (told[0, -FS // 4 :] == 1.0).all()


def test_dry_beside_wet_and_make_up() -> None:
    x = tone(-6.0, FS // 2)
    levels = {"dry_db": -3.0, "wet_db": -9.0, "make_up_db": 5.0}
    y, told = run(prepared("compressor", threshold_db=-30.0, **levels), x, readings=True)
    factor = 10.0 ** (-3.0 / 20.0) + 10.0 ** ((5.0 - 9.0) / 20.0) * told
    assert y == pytest.approx(factor * x, rel=1e-12, abs=1e-15)
    assert told[0, -1] < 0.2


def test_beside_the_dry_sound_soft_notes_are_lifted_and_loud_ones_left() -> None:
    levels = {"threshold_db": -40.0, "ratio": 20.0, "knee_db": 0.0, "dry_db": 0.0, "wet_db": 0.0}
    lift_db = {}
    for peak_db in (-50.0, -3.0):
        y = run(prepared("compressor", **levels), tone(peak_db, FS))
        lift_db[peak_db] = 20.0 * np.log10(np.abs(y[:, -4800:]).max()) - peak_db
    assert lift_db[-50.0] == pytest.approx(6.02, abs=0.01)
    # 37 dB over the threshold less 37 / 20: the copy is 35.15 dB down
    assert lift_db[-3.0] == pytest.approx(20.0 * np.log10(1.0 + 10.0 ** (-35.15 / 20.0)), abs=0.01)


def test_one_gain_for_both_channels() -> None:
    x = np.vstack([tone(-3.0, 9600)[0], tone(-60.0, 9600)[0]])
    y, told = run(prepared("compressor", channels=2, threshold_db=-20.0), x, readings=True)
    assert told[0, -1] < 0.4
    assert np.array_equal(y, told * x)


def test_rms_goes_by_the_louder_channel() -> None:
    loud = tone(-6.0, 9600)
    _, alone = run(prepared("compressor", detector="rms"), loud, readings=True)
    # in quadrature: the louder one at each moment would read higher than either
    other = 10.0 ** (-6.0 / 20.0) * np.cos(2.0 * np.pi * 440.0 * np.arange(9600) / FS)
    _, both = run(prepared("compressor", channels=2, detector="rms"), np.vstack([loud[0], other]), readings=True)
    assert both[0, -1] == pytest.approx(alone[0, -1], rel=1e-3)


def test_it_hears_the_detector_not_the_sound() -> None:
    x, other = tone(-3.0, 9600), tone(-60.0, 9600)
    block = prepared("compressor", threshold_db=-20.0)
    assert run(block, x, detector=other).tobytes() == x.tobytes()
    block.reset()
    y = run(block, other, detector=x)
    assert np.abs(y[:, -1000:]).max() < 0.5 * np.abs(other).max()


@pytest.mark.parametrize(("low_cut_hz", "turned_down"), [(10.0, True), (300.0, False)])
def test_low_cut_keeps_thumps_from_turning_it_down(low_cut_hz: float, turned_down: bool) -> None:
    block = prepared("compressor", threshold_db=-20.0, detector_low_cut_hz=low_cut_hz)
    _, told = run(block, tone(-3.0, FS, 40.0), readings=True)
    assert (told[0, -1] < 0.5) == turned_down


def test_threshold_and_ratio_may_move() -> None:
    half = np.arange(FS) < FS // 2
    moving = {"threshold_db": np.where(half, 0.0, -40.0), "ratio": np.where(half, 10.0, 2.0)}
    _, told = run(prepared("compressor", moving=moving, knee_db=0.0), tone(-10.0, FS), moving=moving, readings=True)
    assert told[0, FS // 2 - 1] == 1.0
    assert 20.0 * np.log10(told[0, -1]) == pytest.approx(-15.0, abs=0.7)  # 30 dB over, 2:1; 3.3 releases have passed


@pytest.mark.parametrize(("detector", "unused"), [("peak", "rms_window_ms"), ("rms", "hold_ms")])
def test_it_tells_what_the_detector_does_not_use(detector: str, unused: str) -> None:
    assert list(block_type("compressor").settings_type(detector=detector).idle()) == [unused]
