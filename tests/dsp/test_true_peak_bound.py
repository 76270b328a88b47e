"""The bound on peaks between samples, against crests that are known, and against scipy's oversampling of noise."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import firwin, resample_poly

from chainsim.dsp.peak_interpolation import SPAN
from chainsim.dsp.true_peak_bound import BEHIND, EDGE_HOLD, bound_state, bound_taps, true_peak_bound


def bounded(x: np.ndarray) -> np.ndarray:
    """The bound, moved back to the sample that it speaks of."""
    joined = np.concatenate([np.zeros(SPAN - 1), x, np.zeros(BEHIND)])[None]
    bound = np.empty(x.size + BEHIND)
    true_peak_bound(joined, SPAN - 1, bound_taps(), EDGE_HOLD, *bound_state(1), bound)
    return bound[BEHIND:]


@pytest.mark.parametrize("freq", [0.01, 0.1, 0.25, 1.0 / 3.0, 0.4, 0.42])
def test_a_sine_is_read_as_its_amplitude(freq: float) -> None:
    for phase in np.linspace(0.0, np.pi, 7):
        found = bounded(0.5 * np.sin(2.0 * np.pi * freq * np.arange(2000) + phase))[200:1800]
        # 0.05 dB; four-fold oversampling without the parabola misses up to 0.48 dB at 0.42
        assert 20.0 * np.log10(found.max() / 0.5) == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("freq", [0.45, 0.47, 0.49])
def test_close_to_half_the_rate_it_errs_upwards(freq: float) -> None:
    found = bounded(0.5 * np.sin(2.0 * np.pi * freq * np.arange(2000)))[200:1800]
    assert 0.5 <= found.max() < 0.5 * 3.6  # 1 + A, and a little


@pytest.mark.parametrize("seed", range(3))
def test_the_highest_peak_of_unfiltered_noise_is_not_missed(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for x in (rng.standard_normal(6000), rng.uniform(-1.0, 1.0, 6000), rng.choice([-1.0, 1.0], 6000)):
        between = np.abs(resample_poly(x, 16, 1, window=firwin(6401, 1.0 / 16.0, window=("kaiser", 10.0))))
        at = int(between.argmax()) // 16
        around = bounded(x)[max(at - SPAN, 0) : at + SPAN].max()
        assert between.max() <= around < 1.6 * between.max()  # 4 dB
