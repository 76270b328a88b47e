"""The delay on its own: sides, moving times, the loop at its limit, tails."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError
from scipy.signal import hilbert

from tests.blocks.harness import prepared, run

FS = 48_000
CLEAN = {"low_cut_hz": 10.0, "high_cut_hz": 18_000.0}
ECHOES = {**CLEAN, "dry_db": "off", "wet_db": 0.0}


def impulse(frames: int, channels: int = 1, size: float = 0.5) -> np.ndarray:
    """A single sample at 0 in every channel."""
    x = np.zeros((channels, frames))
    x[:, 0] = size
    return x


def tone(frames: int, freq_hz: float = 440.0, size: float = 0.25) -> np.ndarray:
    """One channel of a sine."""
    return size * np.sin(2.0 * np.pi * freq_hz / FS * np.arange(frames))[None]


@pytest.mark.parametrize("stereo", ["straight", "crossed"])
@pytest.mark.parametrize("on_time_change", ["glide", "crossfade"])
@pytest.mark.parametrize("channels", [1, 2])
def test_cuts_and_reset_leave_the_bits_alone(channels: int, on_time_change: str, stereo: str) -> None:
    rng = np.random.default_rng(2)
    frames = 6_000
    x = 0.7 * rng.standard_normal((channels, frames))
    moving = {
        "time_ms": np.repeat([20.0, 31.7, 5.1], frames // 3),
        "feedback_percent": np.linspace(20.0, 100.0, frames),
        "low_cut_hz": np.geomspace(10.0, 900.0, frames),
        "high_cut_hz": np.geomspace(18_000.0, 900.0, frames),
        "modulation_depth_ms": np.linspace(0.0, 3.0, frames),
    }
    block = prepared(
        "delay", channels=channels, moving=moving, stereo=stereo, on_time_change=on_time_change, glide_ms=20.0
    )
    whole = run(block, x, moving=moving)
    for size in (1, 7, 64, 509):
        block.reset()
        assert run(block, x, moving=moving, cuts=range(size, frames, size)).tobytes() == whole.tobytes()


def test_wet_off_passes_bit_by_bit() -> None:
    x = np.random.default_rng(1).standard_normal((2, 3_000))
    assert run(prepared("delay", channels=2, time_ms=10.0, wet_db="off"), x).tobytes() == x.tobytes()


@pytest.mark.parametrize("channels", [1, 2])
def test_crossed_echoes_alternate_sides(channels: int) -> None:
    spacing = 480
    block = prepared(
        "delay", channels=channels, time_ms=10.0, stereo="crossed", feedback_percent=50.0, **CLEAN, wet_db=0.0
    )
    y = run(block, impulse(5 * spacing, channels))
    assert np.array_equal(y[:, 0], [0.5, 0.5])
    # Definition: echo k at k D and half of the one before; 1st, 3rd, ... left, 2nd, 4th, ... right.
    assert np.array_equal(y[0, ::spacing], [0.5, 0.5, 0.0, 0.125, 0.0])
    assert np.array_equal(y[1, ::spacing], [0.5, 0.0, 0.25, 0.0, 0.0625])
    assert np.count_nonzero(y) == 6


def test_straight_keeps_the_sides_apart() -> None:
    x = impulse(2_000, 2)
    x[1] = 0.0
    y = run(prepared("delay", channels=2, time_ms=10.0), x)
    assert y[0, 480:].any()
    assert not y[1].any()


@pytest.mark.parametrize("stereo", ["straight", "crossed"])
def test_full_feedback_stays_bounded_and_does_not_fade(stereo: str) -> None:
    rng = np.random.default_rng(4)
    x = np.concatenate([3.0 * rng.standard_normal((2, 30_000)), np.zeros((2, 30_000))], axis=1)
    block = prepared("delay", channels=2, time_ms=10.0, feedback_percent=100.0, stereo=stereo, **ECHOES)
    y = run(block, x)
    assert math.isinf(block.tail_s)
    assert np.max(np.abs(y[:, 480:30_480])) <= np.max(np.abs(x)) + 1.0  # input plus a loop that never passes 1
    assert 0.3 < np.sqrt(np.mean(y[:, -4_800:] ** 2)) < 1.0


def test_full_feedback_keeps_a_soft_sound_as_it_is() -> None:
    x = np.zeros((1, 24_000))
    x[0, :480] = np.random.default_rng(6).uniform(-0.5, 0.5, 480)
    y = run(prepared("delay", time_ms=10.0, feedback_percent=100.0, **ECHOES), x)
    assert np.array_equal(y[0, -480:], x[0, :480])


@pytest.mark.parametrize(("before_ms", "after_ms"), [(100.0, 400.0), (400.0, 100.0), (200.0, 201.3)])
def test_glide_bends_by_an_octave_at_the_most_and_arrives(before_ms: float, after_ms: float) -> None:
    frames = 3 * FS
    moving = {"time_ms": np.where(np.arange(frames) < FS, before_ms, after_ms)}
    settings = {**ECHOES, "feedback_percent": 0.0, "glide_ms": 100.0}
    y = run(prepared("delay", moving=moving, **settings), tone(frames), moving=moving)
    hz = np.diff(np.unwrap(np.angle(hilbert(y[0]))))[24_000:-9_600] * FS / (2.0 * np.pi)
    assert hz.min() > 0.499 * 440.0
    assert hz.max() < 2.004 * 440.0
    assert (hz.max() > 442.0) == (after_ms < before_ms)
    slew = 0.25 * 2.0 * np.pi * 440.0 / FS
    assert np.max(np.abs(np.diff(y[0, 24_000:]))) < 2.0 * slew
    there = run(prepared("delay", **{**settings, "time_ms": after_ms}), tone(frames))
    assert np.array_equal(y[0, -9_600:], there[0, -9_600:])


def test_short_glide_takes_its_time() -> None:
    frames = 2 * FS
    moving = {"time_ms": np.where(np.arange(frames) < FS, 50.0, 52.0)}
    ramp = np.linspace(0.0, 1.0, frames)[None]
    settings = {**ECHOES, "feedback_percent": 0.0, "glide_ms": 200.0}
    y = run(prepared("delay", moving=moving, **settings), ramp, moving=moving)
    delay = (ramp[0] - y[0]) * (frames - 1)
    after = delay[FS + round(0.2 * FS)]
    assert (after - 2_400.0) / 96.0 == pytest.approx(1.0 - math.exp(-1.0), abs=0.01)
    assert np.max(delay) <= 52.0 * 48.0 + 1e-6


@pytest.mark.parametrize("freq_hz", [110.0, 440.0, 1_760.0])
def test_crossfade_steps_no_further_than_the_sound_itself(freq_hz: float) -> None:
    frames = 2 * FS
    n = np.arange(frames)
    moving = {"time_ms": np.select([n < FS, n < FS + 1_000, n < FS + 20_000], [100.0, 250.0, 333.3], 80.0)}
    settings = {**ECHOES, "feedback_percent": 0.0, "on_time_change": "crossfade"}
    y = run(prepared("delay", moving=moving, **settings), tone(frames, freq_hz), moving=moving)
    slew = 0.25 * 2.0 * np.pi * freq_hz / FS
    assert np.max(np.abs(np.diff(y[0, 24_000:]))) < 2.0 * slew
    there = run(prepared("delay", **{**settings, "time_ms": 80.0}), tone(frames, freq_hz))
    assert np.array_equal(y[0, -9_600:], there[0, -9_600:])


def test_note_follows_the_tempo() -> None:
    frames = 2 * FS
    bpm = np.where(np.arange(frames) < 24_000, 120.0, 150.0)
    x = np.zeros((1, frames))
    x[0, [0, FS]] = 0.5
    block = prepared("delay", note="1/8 dotted", tempo_bpm=bpm, feedback_percent=0.0, glide_ms=50.0, **ECHOES)
    y = run(block, x, tempo_bpm=bpm)
    assert np.flatnonzero(y).tolist() == [18_000, FS + 14_400]  # 0.75 * 60 / bpm seconds


@pytest.mark.parametrize(("swing_percent", "beats"), [(50.0, 0.5), (60.0, 0.6), (75.0, 0.75)])
def test_swung_eighth_is_the_long_one_of_its_pair(swing_percent: float, beats: float) -> None:
    block = prepared("delay", note="1/8 swung", swing_percent=swing_percent, feedback_percent=0.0, **ECHOES)
    assert np.flatnonzero(run(block, impulse(24_000))).tolist() == [round(beats * 24_000)]


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"note": "1/7"}, 'no note value "1/7"'),
        ({"note": "1/8", "time_ms": 100.0}, "both time_ms and note"),
        ({"time_ms": 0.5}, "allowed 1 ... 4000 ms"),
        ({"stereo": "wide"}, "straight"),
    ],
)
def test_wrong_settings_are_refused(settings: dict[str, object], message: str) -> None:
    with pytest.raises(ValidationError, match=message.replace("...", r"\.\.\.")):
        prepared("delay", **settings)


def test_each_cut_is_three_decibels_down_at_its_frequency() -> None:
    for low_hz, high_hz, at_hz in ((500.0, 18_000.0, 500), (10.0, 3_000.0, 3_000)):
        block = prepared(
            "delay",
            time_ms=10.0,
            feedback_percent=0.0,
            low_cut_hz=low_hz,
            high_cut_hz=high_hz,
            dry_db="off",
            wet_db=0.0,
        )
        response = np.fft.rfft(run(block, impulse(FS, size=1.0))[0])
        assert 20.0 * math.log10(abs(response[at_hz])) == pytest.approx(10.0 * math.log10(0.5), abs=1e-3)


@pytest.mark.parametrize("feedback_percent", [0.0, 20.0, 35.0, 80.0, 95.0])
@pytest.mark.parametrize("wet_db", [-40.0, -6.0, 12.0])
def test_tail_is_within_what_is_reported(feedback_percent: float, wet_db: float) -> None:
    settings = {"time_ms": 15.0, "feedback_percent": feedback_percent, "wet_db": wet_db}
    block = prepared("delay", **settings)
    end, rest = FS // 4, round(1.2 * block.tail_s * FS) + 480
    noise = 0.1 * np.random.default_rng(8).standard_normal((1, end))
    measured_s = 0.0
    for sound in (noise, tone(end, 40.0), tone(end, 800.0)):
        block.reset()
        y = np.abs(run(block, np.hstack([sound, np.zeros((1, rest))]))[0])
        over = np.flatnonzero(y > y.max() * 10.0 ** (-90.0 / 20.0))
        measured_s = max(measured_s, (over[-1] + 1 - end) / FS)
    assert measured_s <= block.tail_s <= 1.5 * measured_s


def test_line_falls_silent_in_the_end() -> None:
    block = prepared("delay", time_ms=2.0, feedback_percent=50.0)
    x = np.zeros((1, 3 * FS))
    x[0, :2_000] = 1.0
    assert not run(block, x)[0, -2_000:].any()
