"""Frequency response by interleaved bands: filters against scipy, and what is no filter is told."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, freqz, sosfilt

from chainsim.measure.filter_response import BandSounds, FilterResponse, band_sounds, filter_response
from chainsim.measure.third_octaves import third_octaves
from chainsim.units import Array

RATE_HZ = 48_000.0
SETTLING = 9_600


@pytest.fixture(scope="module")
def sounds() -> BandSounds:
    return band_sounds(RATE_HZ, -30.0)


def through(sounds: BandSounds, chain: Callable[[Array], Array]) -> FilterResponse:
    heard = []
    for period in sounds.periods:
        x = np.take(period, np.arange(-SETTLING, sounds.frames), mode="wrap")
        heard.append(np.atleast_2d(chain(x))[:, SETTLING:])
    return filter_response(sounds, heard, -30.0)


def band(response: FilterResponse, nominal_hz: float) -> int:
    return next(i for i, b in enumerate(response.bands) if b.nominal_hz == nominal_hz)


def test_bands_are_those_of_the_standard() -> None:
    # IEC 61260-1:2014: nominal middles, and edges of the 1 kHz band at 891.25 and 1122.02 Hz.
    nominal = [20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000]
    nominal += [2500, 3150, 4000, 5000, 6300, 8000, 10_000, 12_500, 16_000, 20_000]
    assert [b.nominal_hz for b in third_octaves(RATE_HZ)] == pytest.approx(nominal)
    assert third_octaves(RATE_HZ)[17].edges_hz == pytest.approx((891.25, 1122.02), abs=0.01)
    assert third_octaves(8_000.0)[-1].nominal_hz == 3150.0


def test_the_sounds_are_as_loud_as_said_and_share_no_bin(sounds: BandSounds) -> None:
    rms_db = 20.0 * np.log10(np.sqrt(np.mean(sounds.periods**2, axis=1)))
    assert rms_db == pytest.approx([-30.0, -30.0], abs=1e-9)
    odd, even = np.abs(np.fft.rfft(sounds.periods))
    assert np.max(np.minimum(odd, even)) < 1e-9 * np.max(odd)


def test_a_filter_is_measured_as_scipy_computes_it(sounds: BandSounds) -> None:
    sos = butter(2, (200.0, 3_000.0), "bandpass", output="sos", fs=RATE_HZ)
    response = through(sounds, lambda x: sosfilt(sos, x))
    wanted = np.ones(response.freq_hz.size, dtype=np.complex128)
    for section in sos:
        wanted *= freqz(section[:3], section[3:], response.freq_hz, fs=RATE_HZ)[1]
    wanted_db = 20.0 * np.log10(np.abs(wanted))
    heard = wanted_db > -60.0
    assert np.max(np.abs(response.fine_db - wanted_db)[heard]) < 0.01
    # In a band the mean power, with as much energy in each octave.
    for number in (band(response, 100.0), band(response, 1000.0), band(response, 8000.0)):
        low, high = response.bands[number].edges_hz
        inside = (response.freq_hz >= low) & (response.freq_hz < high)
        weights = 1.0 / response.freq_hz[inside]
        mean = np.sum(weights * np.abs(wanted[inside]) ** 2) / np.sum(weights)
        assert response.gain_db[number] == pytest.approx(10.0 * math.log10(mean), abs=0.01)
    assert np.max(response.stray_db) < -60.0


def test_the_largest_gain_of_a_comb(sounds: BandSounds) -> None:
    # 1 + g z^-D peaks at 1 + g: 3.522 dB for g = 0.5, at multiples of fs / D = 480 Hz.
    def comb(x: Array) -> Array:
        y = x.copy()
        y[100:] += 0.5 * x[:-100]
        return y

    gain_db, freq_hz = through(sounds, comb).largest_gain()
    assert gain_db == pytest.approx(20.0 * math.log10(1.5), abs=0.01)
    assert freq_hz % 480.0 == pytest.approx(0.0, abs=2.0) or freq_hz % 480.0 == pytest.approx(480.0, abs=2.0)
    low, _ = through(sounds, comb).largest_gain(230.0, 250.0)
    assert low < -5.0


def test_the_largest_gain_is_not_under_that_of_a_whole_band(sounds: BandSounds) -> None:
    response = through(sounds, lambda x: x)
    one_khz = band(response, 1000.0)
    gain_db, stray_db = response.gain_db.copy(), response.stray_db.copy()
    gain_db[one_khz], stray_db[one_khz] = 6.0, -10.0
    voices = replace(response, gain_db=gain_db, stray_db=stray_db)
    assert voices.largest_gain(most_stray_db=-20.0) == (6.0, pytest.approx(1_000.0))
    assert voices.largest_gain()[0] == pytest.approx(0.0, abs=1e-6)


def test_all_energy_counts_in_the_whole_gain(sounds: BandSounds) -> None:
    tone = np.sqrt(2.0 * np.mean(sounds.periods**2)) * np.sin(
        2.0 * np.pi * 1_000.0 / RATE_HZ * np.arange(sounds.frames)
    )
    assert through(sounds, lambda x: 0.5 * x).whole_gain_db == pytest.approx(20.0 * math.log10(0.5))
    # As much energy again, in one tone.
    assert through(sounds, lambda x: x + np.resize(tone, x.size)).whole_gain_db == pytest.approx(
        10.0 * math.log10(2.0), abs=0.1
    )


def test_slow_modulation_counts_as_an_average(sounds: BandSounds) -> None:
    # The mean power of 1 + m sin is 1 + m^2 / 2: 0.512 dB for m = 0.5.
    response = through(sounds, lambda x: x * (1.0 + 0.5 * np.sin(2 * np.pi * 5.0 / RATE_HZ * np.arange(x.size))))
    upper = slice(band(response, 500.0), None)
    assert np.mean(response.gain_db[upper]) == pytest.approx(10.0 * math.log10(1.125), abs=0.05)
    assert response.gain_db[upper] == pytest.approx(10.0 * math.log10(1.125), abs=0.5)
    assert np.max(response.stray_db[upper]) < -20.0


@pytest.mark.parametrize(
    "chain",
    [
        lambda x: x**2 * 30.0,
        lambda x: x * np.sin(2.0 * np.pi * 2_000.0 / RATE_HZ * np.arange(x.size)),
        lambda x: np.random.default_rng(3).standard_normal(x.size),
    ],
    ids=["a square law", "a ring modulator", "noise"],
)
def test_what_is_no_filter_has_no_response(sounds: BandSounds, chain: Callable[[Array], Array]) -> None:
    response = through(sounds, chain)
    assert np.isnan(response.gain_db).all()
    assert math.isnan(response.largest_gain()[0])


def test_silence(sounds: BandSounds) -> None:
    response = through(sounds, np.zeros_like)
    assert (response.gain_db == -np.inf).all()
    assert response.largest_gain()[0] < -200.0


def test_channels_count_by_mean_power_and_peaks_by_the_louder_one(sounds: BandSounds) -> None:
    response = through(sounds, lambda x: np.array([x, 0.5 * x]))
    assert response.gain_db == pytest.approx(10.0 * math.log10(0.625))
    assert response.largest_gain()[0] == pytest.approx(0.0, abs=1e-9)
