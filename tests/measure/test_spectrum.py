"""Amplitude spectrum on sounds whose spectrum is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.errors import AudioError
from chainsim.measure.spectrum import amplitude_spectrum
from chainsim.units import Array

RATE_HZ = 48_000


def sine(freq_hz: float, amplitude: float = 1.0, frames: int = RATE_HZ) -> Array:
    return amplitude * np.sin(2.0 * np.pi * freq_hz * np.arange(frames) / RATE_HZ)


@pytest.mark.parametrize("window", ["rectangular", "hann", "blackmanharris"])
@pytest.mark.parametrize(("amplitude", "level_db"), [(1.0, 0.0), (0.5, -6.0206), (1e-4, -80.0)])
def test_full_scale_sine_is_0_dbfs(window: str, amplitude: float, level_db: float) -> None:
    freq_hz, found = amplitude_spectrum(sine(997.0, amplitude), RATE_HZ, window)
    assert freq_hz[np.argmax(found)] == 997.0
    assert 20.0 * np.log10(np.max(found)) == pytest.approx(level_db, abs=1e-4)


def test_zero_and_half_the_rate_count_once() -> None:
    n = np.arange(480)
    freq_hz, amplitude = amplitude_spectrum(0.25 + 0.5 * (-1.0) ** n, RATE_HZ)
    assert (freq_hz[0], freq_hz[-1]) == (0.0, 24_000.0)
    assert amplitude[[0, -1]] == pytest.approx([0.25, 0.5])
    # An odd number of frames has no bin at half the rate: its last bin is an ordinary one.
    odd = np.cos(2.0 * np.pi * 240.0 * np.arange(481) / 481.0)
    assert amplitude_spectrum(odd, RATE_HZ)[1][-1] == pytest.approx(1.0)


def test_refuses_more_than_one_channel() -> None:
    with pytest.raises(AudioError, match=r"spectrum: shape \(10, 2\)"):
        amplitude_spectrum(np.zeros((10, 2)), RATE_HZ)
