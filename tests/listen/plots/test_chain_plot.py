"""The curve that is drawn of a measured chain."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.listen.plots.chain_plot import coarse, smoothed
from chainsim.measure.filter_response import FilterResponse
from chainsim.measure.third_octaves import third_octaves


def test_the_curve_is_the_mean_power_of_24ths_of_octaves() -> None:
    freq_hz = np.arange(20.0, 20_000.0, 0.5)
    # Every other bin 6.02 dB up in amplitude: the mean of 1 and 4 in power.
    fine_db = np.where(np.arange(freq_hz.size) % 2 == 0, 0.0, 20.0 * np.log10(2.0))
    fine_db[freq_hz > 10_000.0] = np.nan
    bands = third_octaves(48_000.0)
    nothing = np.zeros(len(bands))
    middles_hz, gain_db = smoothed(FilterResponse(-30.0, bands, nothing, nothing - 100.0, freq_hz, fine_db, 0.0))
    assert np.diff(np.log2(middles_hz)) == pytest.approx(1.0 / 24.0)
    assert gain_db[(middles_hz > 2_000.0) & (middles_hz < 9_500.0)] == pytest.approx(10.0 * np.log10(2.5), abs=0.1)
    assert np.isnan(gain_db[middles_hz > 10_500.0]).all()


def test_a_band_without_bins_of_its_own_is_one_point() -> None:
    freq_hz = np.arange(20.0, 20_000.0, 0.5)
    bands = third_octaves(48_000.0)
    gain_db, stray_db = np.linspace(0.0, 3.0, len(bands)), np.full(len(bands), -80.0)
    middle = next(i for i, band in enumerate(bands) if band.nominal_hz == 400.0)
    stray_db[middle] = -10.0
    response = FilterResponse(-30.0, bands, gain_db, stray_db, freq_hz, np.zeros(freq_hz.size), 0.0)
    at_hz, at_db = coarse(response)
    assert (at_hz.tolist(), at_db.tolist()) == ([bands[middle].centre_hz], [gain_db[middle]])
    drawn_hz, drawn_db = smoothed(response)
    low, high = bands[middle].edges_hz
    assert np.isnan(drawn_db[(drawn_hz > 1.03 * low) & (drawn_hz < high / 1.03)]).all()
    assert not np.isnan(drawn_db[(drawn_hz < low / 1.03) | (drawn_hz > 1.03 * high)]).any()
