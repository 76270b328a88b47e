"""The vibrato against closed forms: Doppler, Jacobi-Anger, and the loss of a moving read."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import hilbert
from scipy.special import jv

from tests.blocks.harness import prepared, run

FS = 48_000


def tone(freq_hz: float, seconds: float) -> np.ndarray:
    """One channel of a sine of size 1/2."""
    return 0.5 * np.sin(2.0 * np.pi * freq_hz / FS * np.arange(round(seconds * FS)))[None]


def cents_of(y: np.ndarray, freq_hz: float) -> np.ndarray:
    """Pitch relative to `freq_hz`, sample by sample, without a fifth of a second at either end."""
    phase = np.unwrap(np.angle(hilbert(y)))
    return 1200.0 * np.log2(np.diff(phase)[9_600:-9_600] * FS / (2.0 * np.pi * freq_hz))


def cents_for(delay_ms: float, rate_hz: float) -> float:
    """Depth at which a sine's delay sways by `delay_ms` to either side: the top of 1 - dD/dt is 1 + 2 pi r A."""
    return 1200.0 * math.log2(1.0 + 2.0 * math.pi * rate_hz * delay_ms / 1000.0)


@pytest.mark.parametrize(
    ("rate_hz", "up_cents", "down_cents"),
    [(5.0, 53.55, -55.26), (0.5, 10.84, -10.91), (6.0, 32.33, -32.94)],  # Doppler, A = 1, 2 and 0.5 ms
)
def test_depth_is_that_of_the_pitch(rate_hz: float, up_cents: float, down_cents: float) -> None:
    block = prepared("vibrato", rate_hz=rate_hz, depth_cents=up_cents)
    cents = cents_of(run(block, tone(1_000.0, 4.0))[0], 1_000.0)
    assert cents.max() == pytest.approx(up_cents, abs=0.3)
    assert cents.min() == pytest.approx(down_cents, abs=0.3)


def test_fifty_cents_at_5_hz_need_0_9327_ms() -> None:
    ramp = np.arange(2.0 * FS)[None] / FS
    block = prepared("vibrato", rate_hz=5.0, depth_cents=50.0)
    delay_ms = 1000.0 * (ramp - run(block, ramp))[0, FS:]
    assert 0.5 * (delay_ms.max() - delay_ms.min()) == pytest.approx(0.9327, abs=1e-4)  # (2^(50/1200) - 1) / (10 pi)
    assert np.mean(delay_ms) == pytest.approx(1000.0 * block.latency_samples / FS, abs=1e-4)
    assert delay_ms.min() < 3.1 * 1000.0 / FS  # two samples for the interpolation, and up to one to a whole middle


def test_lines_are_bessel_functions() -> None:
    index_1_ms = 1000.0 / (2.0 * math.pi * 320.0)
    block = prepared("vibrato", rate_hz=5.0, depth_cents=cents_for(index_1_ms, 5.0))
    line = np.abs(np.fft.rfft(run(block, tone(320.0, 1.2))[0, -FS:])) * 4.0 / FS
    for order, size in enumerate([0.76520, 0.44005, 0.11490, 0.01956]):  # J0 ... J3 of 1: Abramowitz and Stegun 9.1
        assert line[320 + 5 * order] == pytest.approx(size, abs=1e-4)
        assert line[320 - 5 * order] == pytest.approx(abs(jv(order, 1.0)), abs=1e-4)


def test_carrier_vanishes_at_the_first_zero_of_j0() -> None:
    block = prepared("vibrato", rate_hz=5.0, depth_cents=cents_for(0.5, 5.0))
    t = np.arange(round(1.6 * FS)) / FS
    y = run(block, 0.5 * np.sin(2.0 * np.pi * 765.48 * t)[None])[0, -FS:]  # 2.404826 / (2 pi 0.5 ms) = 765.48 Hz
    size = 4.0 * abs(np.mean(y * np.exp(-2j * np.pi * 765.48 * t[-FS:]) * np.hanning(FS) * 2.0))
    assert 20.0 * math.log10(size) < -60.0


@pytest.mark.parametrize("freq_hz", [5_000.0, 10_000.0, 15_000.0])
def test_loss_of_a_moving_read_is_the_mean_over_all_places_between_samples(freq_hz: float) -> None:
    w = 2.0 * np.pi * freq_hz / FS
    between = (np.arange(4_000) + 0.5) / 4_000
    steps = np.arange(-2, 4)
    taps = np.array([np.prod([(between - j) / (k - j) for j in steps if j != k], axis=0) for k in steps])
    expected_db = 10.0 * math.log10(np.mean(np.abs(taps.T @ np.exp(-1j * w * steps)) ** 2))
    # A pitch that goes like a square has a delay that is everywhere equally long.
    y = run(prepared("vibrato", shape="square", rate_hz=2.0, depth_cents=60.0), tone(freq_hz, 1.5))[0, FS // 2 :]
    assert 10.0 * math.log10(8.0 * np.mean(y**2)) == pytest.approx(expected_db, abs=0.005)


def test_triangle_and_square_are_those_of_the_pitch() -> None:
    x = tone(1_000.0, 3.0)
    at = (np.arange(9_600, x.shape[1] - 9_601) / FS * 2.0) % 1.0
    straight = 1.0 - 4.0 * np.abs(((at + 0.25) % 1.0) - 0.5)
    for shape, wave in (("triangle", straight), ("square", np.where(at < 0.5, 1.0, -1.0))):
        cents = cents_of(run(prepared("vibrato", shape=shape, rate_hz=2.0, depth_cents=40.0), x)[0], 1_000.0)
        expected = 1200.0 * np.log2(1.0 + (2.0 ** (40.0 / 1200.0) - 1.0) * wave)
        assert np.median(np.abs(cents - expected)) < 0.4  # the sound is late by some ms, in which the pitch moves on
