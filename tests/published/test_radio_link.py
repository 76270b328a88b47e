"""The radio link's band against scipy's Butterworth designs, its delay against the clock."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfreqz

from tests.blocks.harness import prepared, run


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_its_band_is_butterworths(rate_hz: int) -> None:
    """Second order below 80 Hz, fourth above 12 kHz: 3 dB down there, as scipy designs them."""
    x = np.zeros((1, rate_hz))
    x[0, 0] = 1.0
    settings = {"low_cut_hz": 80.0, "high_cut_hz": 12_000.0, "transmission_ms": 5.0, "dropouts_per_minute": 0.0}
    y = run(prepared("radio_link", sample_rate_hz=rate_hz, **settings), x)[0]
    freq_hz = np.geomspace(20.0, 0.45 * rate_hz, 60).round()
    found = np.abs(np.fft.rfft(y))[freq_hz.astype(int)]  # bins of 1 Hz
    below, above = butter(2, 80.0, "highpass", fs=rate_hz, output="sos"), butter(4, 12_000.0, fs=rate_hz, output="sos")
    right = np.abs(sosfreqz(np.vstack([below, above]), freq_hz, fs=rate_hz)[1])
    assert np.max(np.abs(20.0 * np.log10(found / right))) < 0.001
    edges = np.abs(np.fft.rfft(y))[[80, 12_000]]
    assert 20.0 * np.log10(edges) == pytest.approx(-3.01, abs=0.01)


@pytest.mark.parametrize(("transmission_ms", "samples"), [(0.0, 0), (2.667, 128), (3.0, 144), (1.333, 64)])
def test_its_delay_is_its_latency(transmission_ms: float, samples: int) -> None:
    """64 and 128 samples at 48 kHz are 1.333 and 2.667 ms."""
    x = np.zeros((1, 4_000))
    x[0, 100] = 1.0
    settings = {"low_cut_hz": 10.0, "high_cut_hz": 20_000.0, "dropouts_per_minute": 0.0}
    block = prepared("radio_link", transmission_ms=transmission_ms, **settings)
    assert block.latency_samples == samples
    assert np.flatnonzero(run(block, x)[0]).tolist() == [100 + samples]
