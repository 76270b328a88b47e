"""The synth's drive against Fourier integrals of its curve, its filters against what half-band filters must do."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from chainsim.dsp.synth_drive import DELAY_SAMPLES, FAR, NEAR, STATES, drive_up_and_down

FS = 48_000


def driven(x: np.ndarray, drive: float) -> np.ndarray:
    """A channel through the drive."""
    y = np.array(x, dtype=np.float64)[None]
    drive_up_and_down(np.full(y.shape[1], drive), NEAR, FAR, np.zeros((1, STATES)), y)
    return y[0]


def harmonic(n: int, drive: float) -> float:
    """Amplitude of harmonic n of sqrt(1 + A^2) sin / sqrt(1 + A^2 sin^2), by integration over a period."""

    def wave(t: float) -> float:
        s = math.sin(t)
        return math.sqrt(1.0 + drive**2) * s / math.sqrt(1.0 + (drive * s) ** 2) * math.sin(n * t)

    return abs(quad(wave, 0.0, math.pi, limit=400)[0] * 2.0 / math.pi)


@pytest.mark.parametrize("drive", [0.5, 1.0, 3.0, 10.0])
def test_harmonics_are_those_of_the_curve(drive: float) -> None:
    t = np.arange(2 * FS) / FS
    amplitude = np.abs(np.fft.rfft(driven(np.sin(2.0 * np.pi * 97.0 * t), drive)[FS:])) * 2.0 / FS
    for n in (1, 3, 5, 7):
        assert amplitude[97 * n] == pytest.approx(harmonic(n, drive), abs=1e-4)
    # An odd curve: no even harmonics, no offset.
    assert amplitude[[0, 194, 388, 582]].max() < 1e-10


@pytest.mark.parametrize(
    ("freq_hz", "drive", "limit_db"),
    [(1_249, 10.0, 100.0), (1_249, 31.6, 85.0), (4_999, 3.16, 100.0), (4_999, 10.0, 65.0)],
)
def test_aliases_stay_low(freq_hz: int, drive: float, limit_db: float) -> None:
    """Ten-fold overdriven; for comparison tanh, the same recipe at 1x without care: 36.0 and 12.6 dB of all aliases."""
    t = np.arange(2 * FS) / FS
    amplitude = np.abs(np.fft.rfft(driven(np.sin(2.0 * np.pi * freq_hz * t + 0.3), drive)[FS:]))
    others = np.delete(amplitude[:20_000], [0, *range(freq_hz, 20_000, 2 * freq_hz)])
    assert 20.0 * math.log10(amplitude[freq_hz] / others.max()) > limit_db


def test_quiet_sound_passes_unchanged_but_for_its_delay() -> None:
    x = np.zeros(FS)
    x[100] = 1e-4
    response = np.fft.rfft(driven(x, 0.0)) / 1e-4
    for hz, db in ((100, 0.0), (1_000, -0.0012), (10_000, -0.117)):
        # The mean of neighbours at four times the rate: 20 log10 cos(pi f / (4 fs)).
        expected = 20.0 * math.log10(math.cos(math.pi * hz / (4.0 * FS)))
        assert expected == pytest.approx(db, abs=1e-3)
        assert 20.0 * math.log10(abs(response[hz])) == pytest.approx(expected, abs=1e-3)
    phase = np.unwrap(np.angle(response))
    assert -phase[100] / (2.0 * np.pi * 100.0) * FS - 100.0 == pytest.approx(DELAY_SAMPLES, abs=0.01)


@pytest.mark.parametrize(("a", "edge", "stop_db"), [(NEAR, 0.2154, 100.0), (FAR, 0.1134, 100.0)])
def test_half_band_is_flat_deep_and_power_complementary(a: np.ndarray, edge: float, stop_db: float) -> None:
    f = np.linspace(0.0, 0.5, 5_001)
    z2 = np.exp(-4j * np.pi * f)
    even, odd = (np.prod([(c + z2) / (1.0 + c * z2) for c in a[k::2]], axis=0) for k in range(2))
    low, high = 0.5 * (even + np.exp(-2j * np.pi * f) * odd), 0.5 * (even - np.exp(-2j * np.pi * f) * odd)
    assert np.abs(np.abs(low) ** 2 + np.abs(high) ** 2 - 1.0).max() < 1e-12
    assert 20.0 * np.log10(np.abs(low[f >= 0.5 - edge]).max()) < -stop_db
    assert np.abs(20.0 * np.log10(np.abs(low[f <= edge]))).max() < 1e-8


def test_drive_keeps_a_full_level_where_it_is() -> None:
    for drive in (0.1, 1.0, 10.0, 250.0):
        assert driven(np.ones(2_000), drive)[-1] == pytest.approx(1.0, abs=1e-9)
