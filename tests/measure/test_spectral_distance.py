"""Log-spectral distance against closed forms and against the transforms of scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.signal

from chainsim.errors import AudioError
from chainsim.horn.phrases import LOW_WATER
from chainsim.horn.play import play
from chainsim.measure.spectral_distance import log_spectral_distance_db
from tests.dsp.tracked import SAW, harmonics

RATE_HZ = 48_000.0
NOISE = 0.1 * np.random.default_rng(5).standard_normal(96_000)


def test_identical_is_zero_and_a_gain_is_its_db() -> None:
    # OD-1; white noise lies over the floor in every bin but those few that happen to be 80 dB down
    assert log_spectral_distance_db(NOISE, NOISE, RATE_HZ) == 0.0
    for gain_db in (1.0, -1.0, 6.0):
        distance = log_spectral_distance_db(NOISE, 10.0 ** (gain_db / 20.0) * NOISE, RATE_HZ)
        assert distance == pytest.approx(abs(gain_db), abs=1e-3)


def test_polarity_does_not_show() -> None:
    assert log_spectral_distance_db(NOISE, -NOISE, RATE_HZ) == pytest.approx(0.0, abs=1e-9)


def test_a_filter_is_as_far_as_its_response() -> None:
    # A filter whose response does not change within a bin: the rms of its dB over the bins of 50 Hz ... 12 kHz.
    b, a = scipy.signal.butter(1, 2_000.0, fs=RATE_HZ)
    bins_hz = np.fft.rfftfreq(2048, 1.0 / RATE_HZ)
    bins_hz = bins_hz[(bins_hz >= 50.0) & (bins_hz <= 12_000.0)]
    response_db = 20.0 * np.log10(np.abs(scipy.signal.freqz(b, a, bins_hz, fs=RATE_HZ)[1]))
    distance = log_spectral_distance_db(NOISE, scipy.signal.lfilter(b, a, NOISE), RATE_HZ)
    # noise falls to near zero in some bins, where the filter's tail from before the window shows
    assert distance == pytest.approx(math.sqrt(np.mean(response_db**2)), rel=0.02)


def test_against_another_transform() -> None:
    # The same equation from scipy's own short-time transform, on horns, with floor and frames by hand.
    x, y = (play(LOW_WATER, seed=5, transpose_semitones=s, tail_s=0.1).audio for s in (0.0, 0.5))
    spectra = []
    for v in (x, y):
        transform = scipy.signal.ShortTimeFFT(scipy.signal.windows.hann(2048, sym=False), 512, RATE_HZ)
        first = transform.lower_border_end[1]
        whole = transform.stft(v, p0=first, p1=first + (v.size - 2048) // 512 + 1)
        spectra.append(np.abs(whole[(transform.f >= 50.0) & (transform.f <= 12_000.0)]) ** 2)
    loud = spectra[0].sum(axis=0)
    x_db, y_db = (
        10.0 * np.log10(np.maximum(s, 1e-8 * spectra[0].max()))[:, loud >= 1e-4 * loud.max()] for s in spectra
    )
    expected = np.mean(np.sqrt(np.mean((y_db - x_db) ** 2, axis=0)))
    assert log_spectral_distance_db(x, y, RATE_HZ) == pytest.approx(expected, rel=1e-9)
    assert expected > 1.0


def test_rests_and_what_lies_under_the_floor_do_not_count() -> None:
    tone = np.concatenate([harmonics(220.0, SAW, 1.0), np.zeros(48_000)])
    hum = 1e-6 * np.random.default_rng(2).standard_normal(tone.size)
    assert log_spectral_distance_db(tone, tone + hum, RATE_HZ) < 0.1
    rests_too = tone.copy()
    rests_too[60_000:] = 0.1 * NOISE[: tone.size - 60_000]
    assert log_spectral_distance_db(tone, rests_too, RATE_HZ) < 1e-9


@pytest.mark.parametrize("rate_hz", [32_000.0, 44_100.0, 96_000.0])
def test_the_sample_rate_hardly_matters(rate_hz: float) -> None:
    saws = [harmonics(220.0, SAW, 1.0, r) for r in (RATE_HZ, rate_hz)]
    square = {k: 1.0 / k for k in range(1, 200, 2)}
    squares = [harmonics(220.0, square, 1.0, r) for r in (RATE_HZ, rate_hz)]
    # peaks of 0.2 for either, so the levels fit; what a rate changes is which harmonics there are at all
    here, there = (log_spectral_distance_db(a, b, r) for a, b, r in zip(saws, squares, (RATE_HZ, rate_hz), strict=True))
    assert there == pytest.approx(here, rel=0.05)


def test_what_has_no_distance() -> None:
    assert math.isnan(log_spectral_distance_db(np.zeros(9_600), NOISE, RATE_HZ))
    assert math.isnan(log_spectral_distance_db(NOISE[:100], NOISE[:100], RATE_HZ))
    assert math.isfinite(log_spectral_distance_db(NOISE, np.zeros(96_000), RATE_HZ))
    with pytest.raises(AudioError, match="one channel"):
        log_spectral_distance_db(NOISE.reshape(-1, 2), NOISE, RATE_HZ)
    with pytest.raises(AudioError, match="not finite"):
        log_spectral_distance_db(NOISE, np.full(5_000, np.nan), RATE_HZ)
