"""The chorus against closed forms: a comb where a voice stands still, Doppler where it moves, the power of several."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import hilbert

from tests.blocks.harness import prepared, run

FS = 48_000
ONE = {"voices": 1, "width": 0.0, "drift": 0.0}


@pytest.mark.parametrize("delay_ms", [5.0, 20.0])
def test_one_voice_at_rest_makes_a_comb(delay_ms: float) -> None:
    x = np.zeros((1, FS))
    x[0, 0] = 1.0
    y = run(prepared("chorus", delay_ms=delay_ms, depth_ms=0.0, dry_db=0.0, wet_db=0.0, **ONE), x)
    response = np.abs(np.fft.rfft(y[0]))
    for k in range(3):
        assert response[round((2 * k + 1) * 500.0 / delay_ms)] < 1e-9  # notches at (2 k + 1) / (2 t)
        assert 20.0 * math.log10(response[round(k * 1000.0 / delay_ms)]) == pytest.approx(6.02, abs=0.001)


@pytest.mark.parametrize(
    ("depth_ms", "rate_hz", "up_cents", "down_cents"),
    [(1.0, 5.0, 53.55, -55.26), (2.0, 0.5, 10.84, -10.91), (0.5, 6.0, 32.33, -32.94)],  # Doppler: 1 +- 2 pi r A
)
def test_a_voice_goes_out_of_tune_as_its_time_sways(
    depth_ms: float, rate_hz: float, up_cents: float, down_cents: float
) -> None:
    x = 0.5 * np.sin(2.0 * np.pi * 1_000.0 / FS * np.arange(4 * FS))[None]
    y = run(prepared("chorus", depth_ms=depth_ms, rate_hz=rate_hz, dry_db="off", wet_db=0.0, **ONE), x)
    phase = np.unwrap(np.angle(hilbert(y[0])))
    cents = 1200.0 * np.log2(np.diff(phase)[9_600:-9_600] * FS / (2.0 * np.pi * 1_000.0))
    assert cents.max() == pytest.approx(up_cents, abs=0.3)
    assert cents.min() == pytest.approx(down_cents, abs=0.3)


@pytest.mark.parametrize("voices", [1, 2, 3, 6])
@pytest.mark.parametrize("width", [0.0, 1.0])
def test_all_voices_together_have_the_power_of_the_horn(voices: int, width: float) -> None:
    # Sounds that do not agree add up in power; cos^2 + sin^2 = 1, and 0 dB a side is 3.01 dB for both.
    x = np.random.default_rng(voices).standard_normal((1, 4 * FS))
    x = np.fft.irfft(np.fft.rfft(x) * (np.arange(2 * FS + 1) < 32_000), 4 * FS)  # below 8 kHz: as good as no loss
    y = run(prepared("chorus", voices=voices, width=width, dry_db="off", wet_db=0.0), x)[:, FS:]
    power = np.sum(y**2) / (y.shape[0] * np.sum(x[:, FS:] ** 2))
    assert 10.0 * math.log10(power) == pytest.approx(0.0, abs=0.15)
