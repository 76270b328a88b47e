"""The curve that is drawn of a measured chain."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.listen.chain_plot import smoothed
from chainsim.measure.filter_response import FilterResponse
from chainsim.measure.third_octaves import third_octaves


def test_the_curve_is_the_mean_power_of_24ths_of_octaves() -> None:
    freq_hz = np.arange(20.0, 20_000.0, 0.5)
    # Every other bin 6.02 dB up in amplitude: the mean of 1 and 4 in power.
    fine_db = np.where(np.arange(freq_hz.size) % 2 == 0, 0.0, 20.0 * np.log10(2.0))
    fine_db[freq_hz > 10_000.0] = np.nan
    bands = third_octaves(48_000.0)
    nothing = np.zeros(len(bands))
    middles_hz, gain_db = smoothed(FilterResponse(-30.0, bands, nothing, nothing, freq_hz, fine_db))
    assert np.diff(np.log2(middles_hz)) == pytest.approx(1.0 / 24.0)
    assert gain_db[(middles_hz > 2_000.0) & (middles_hz < 9_500.0)] == pytest.approx(10.0 * np.log10(2.5), abs=0.1)
    assert np.isnan(gain_db[middles_hz > 10_500.0]).all()
