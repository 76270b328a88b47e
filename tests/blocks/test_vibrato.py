"""The vibrato on its own: bits, latency, a depth and a tempo that change, both sides alike."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError
from scipy.signal import hilbert

from tests.blocks.harness import prepared, run

FS = 48_000


def tone(frames: int, freq_hz: float = 440.0) -> np.ndarray:
    """One channel of a sine of size 1/4."""
    return 0.25 * np.sin(2.0 * np.pi * freq_hz / FS * np.arange(frames))[None]


def cents_of(y: np.ndarray) -> np.ndarray:
    """Pitch relative to 440 Hz, sample by sample, without a tenth of a second at either end."""
    return 1200.0 * np.log2(np.diff(np.unwrap(np.angle(hilbert(y))))[4_800:-4_800] * FS / (2.0 * np.pi * 440.0))


@pytest.mark.parametrize("shape", ["sine", "triangle", "square"])
def test_cuts_and_reset_leave_the_bits_alone(shape: str) -> None:
    frames = 6_000
    x = np.random.default_rng(2).standard_normal((2, frames))
    moving = {"depth_cents": np.repeat([0.0, 80.0, 20.0], frames // 3)}
    bpm = np.repeat([120.0, 90.0], frames // 2)
    block = prepared("vibrato", channels=2, moving=moving, shape=shape, note="1/16", tempo_bpm=bpm)
    whole = run(block, x, moving=moving, tempo_bpm=bpm)
    for size in (1, 7, 64, 509):
        block.reset()
        cut = run(block, x, moving=moving, tempo_bpm=bpm, cuts=range(size, frames, size))
        assert cut.tobytes() == whole.tobytes()


def test_without_depth_it_is_two_samples_and_nothing_else() -> None:
    x = np.random.default_rng(1).standard_normal((2, 3_000))
    block = prepared("vibrato", channels=2, depth_cents=0.0)
    assert block.latency_samples == 2
    assert np.array_equal(run(block, x)[:, 2:], x[:, :-2])


@pytest.mark.parametrize(("depth_cents", "rate_hz", "most_ms"), [(25.0, 5.5, 0.5), (10.0, 5.0, 0.25), (50.0, 6.0, 0.9)])
def test_what_a_player_would_use_is_late_by_less_than_a_third_of_a_metre(
    depth_cents: float, rate_hz: float, most_ms: float
) -> None:
    # A / (343 m/s): the sway of +-0.42 ms, 0.18 ms and 0.78 ms, two samples and up to one more
    block = prepared("vibrato", depth_cents=depth_cents, rate_hz=rate_hz)
    assert 1000.0 * block.latency_samples / FS < most_ms


@pytest.mark.parametrize("change", ["depth", "tempo"])
def test_a_change_bends_the_pitch_no_further_than_the_vibrato_itself(change: str) -> None:
    frames = 3 * FS
    later = np.arange(frames) >= 1.05 * FS
    moving = {"depth_cents": np.where(later, 40.0, 0.0) if change == "depth" else np.full(frames, 40.0)}
    bpm = np.where(later, 90.0, 150.0) if change == "tempo" else np.full(frames, 120.0)
    block = prepared("vibrato", moving=moving, note="1/8", tempo_bpm=bpm)
    x = tone(frames)
    y = run(block, x, moving=moving, tempo_bpm=bpm)
    assert np.max(np.abs(cents_of(y[0]))) < 80.0
    slew = 0.25 * 2.0 * np.pi * 440.0 / FS
    assert np.max(np.abs(np.diff(y[0, 100:]))) < 2.0 * slew


def test_the_rate_is_that_of_the_note_value() -> None:
    bpm = 100.0
    y = run(prepared("vibrato", note="1/8 triplet", tempo_bpm=[bpm], depth_cents=50.0), tone(4 * FS), tempo_bpm=bpm)
    swing = cents_of(y[0])[: round(3.6 * FS)]
    turns = np.abs(np.fft.rfft(swing - swing.mean()))
    assert np.argmax(turns) == 18  # 5 a second: three to a beat of 0.6 s


def test_both_sides_sway_together() -> None:
    x = np.random.default_rng(4).standard_normal((1, 9_000))
    y = run(prepared("vibrato", channels=2), np.vstack([x, -2.0 * x]))
    assert np.array_equal(y[1], -2.0 * y[0])


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"shape": "saw"}, "square"),
        ({"depth_cents": 300.0}, "0 ... 200 cents"),
        ({"note": "1/8", "rate_hz": 4.0}, "both rate_hz and note"),
    ],
)
def test_wrong_settings_are_refused(settings: dict[str, object], message: str) -> None:
    with pytest.raises(ValidationError, match=message.replace("...", r"\.\.\.")):
        prepared("vibrato", **settings)
