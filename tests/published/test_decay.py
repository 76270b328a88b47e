"""Decay figures and echo density against closed forms, ISO 3382-1 and another library.

Where nothing else is said the response is exp(-6.9078 t / T) on every sample, whose backward integral is known.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.errors import AudioError
from chainsim.measure.decay import energy_decay, find_onset, measure_band_decays, measure_decay, octave_band
from chainsim.units import Array
from tests.published.echo_density import echo_density, mixing_time_s

RATE_HZ = 48_000
K60 = math.log(1000.0)
"""6.9078: natural logarithm of an amplitude ratio of 60 dB."""


def exponential(t60_s: float, seconds: float, rate_hz: int = RATE_HZ) -> Array:
    return np.exp(-K60 * np.arange(round(seconds * rate_hz)) / rate_hz / t60_s)


def noise_decay(t60_s: float, seconds: float, seed: int, noise: float = 0.0) -> Array:
    rng = np.random.default_rng(seed)
    x = exponential(t60_s, seconds)
    return x * rng.standard_normal(x.size) + noise * rng.standard_normal(x.size)


@pytest.mark.parametrize(
    ("t60_s", "c80_db", "d50", "centre_ms"),
    [
        # Closed forms C80 = 10 log10(exp(1.10524 / T) - 1), D50 = 1 - exp(-0.690776 / T), Ts = T / 13.8155.
        (0.5, 9.096, 0.7488, 36.19),
        (1.0, 3.053, 0.4988, 72.38),
        (2.0, -1.321, 0.2921, 144.76),
        (3.0, -3.512, 0.2057, 217.15),
    ],
)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_single_slope(t60_s: float, c80_db: float, d50: float, centre_ms: float, rate_hz: int) -> None:
    read = measure_decay(exponential(t60_s, 2.0 * t60_s, rate_hz), rate_hz)
    assert [read.edt_s, read.t20_s, read.t30_s] == pytest.approx([t60_s] * 3, rel=0.001)
    assert read.c80_db == pytest.approx(c80_db, abs=0.05)
    assert read.d50 == pytest.approx(d50, abs=0.001)
    assert read.centre_time_ms == pytest.approx(centre_ms, abs=0.1)


def test_double_slope_tells_the_ranges_apart() -> None:
    # h^2 = exp(-13.8155 t / 0.5) + 0.01 exp(-13.8155 t / 2); least squares over its closed-form curve.
    h = np.sqrt(exponential(0.5, 3.0) ** 2 + 0.01 * exponential(2.0, 3.0) ** 2)
    read = measure_decay(h, RATE_HZ)
    assert [read.edt_s, read.t20_s, read.t30_s] == pytest.approx([0.540, 1.000, 1.504], rel=0.01)


def test_silence_before_the_direct_sound_changes_nothing() -> None:
    h = exponential(1.0, 2.0)
    bare, late = (measure_decay(x, RATE_HZ) for x in (h, np.concatenate([np.zeros(RATE_HZ // 2), h])))
    assert late.onset_s == 0.5
    assert (late.c80_db, late.d50, late.centre_time_ms) == (bare.c80_db, bare.d50, bare.centre_time_ms)
    assert late.edt_s == pytest.approx(bare.edt_s, rel=0.01)


def test_onset_within_20_db_of_the_peak() -> None:
    # ISO 3382-1: where the response first comes within 20 dB of its peak; 0.1 of the peak is 20 dB under it.
    h = np.zeros(1000)
    h[[100, 200, 300]] = 0.0999, -0.1001, 1.0
    assert find_onset(h) == 200
    assert find_onset(h, threshold_db=-21.0) == 100


@pytest.mark.parametrize("t60_s", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("noise_db", [-100.0, -80.0, -60.0, -46.0])
def test_noise_is_taken_out(t60_s: float, noise_db: float) -> None:
    # A decay of white noise over 24 kHz has T30 with a standard deviation of 0.55 / sqrt(24000 T), 0.65 % at 0.3 s
    # (ISO 3382-2, from memory), so the mean of 8 lies within 3 x 0.65 / sqrt(8) = 0.7 %; 0.3 % for what noise leaves.
    noise, seconds = 10.0 ** (noise_db / 20.0), min(2.2 * t60_s, 4.0)
    reads = [measure_decay(noise_decay(t60_s, seconds, seed, noise), RATE_HZ, onset=0) for seed in range(8)]
    assert np.mean([r.t20_s for r in reads]) == pytest.approx(t60_s, rel=0.010)
    assert np.mean([r.t30_s for r in reads]) == pytest.approx(t60_s, rel=0.010)
    # The decay's power is 1 at its start, so it falls as far as the noise lies under 0 dB, or to the response's end.
    assert reads[0].range_db == pytest.approx(min(-noise_db, 60.0 * seconds / t60_s), abs=1.0)


def test_no_figure_where_noise_leaves_no_room() -> None:
    # T20 takes 35 dB over the noise and T30 45 dB, EDT 20 dB: ISO 3382-1.
    at_40_db, at_30_db, at_15_db = (measure_decay(noise_decay(1.0, 3.0, 5, g), RATE_HZ, 0) for g in (0.01, 0.03, 0.18))
    assert math.isnan(at_40_db.t30_s)
    assert at_40_db.t20_s == pytest.approx(1.0, rel=0.03)
    assert math.isnan(at_30_db.t20_s)
    assert at_30_db.edt_s == pytest.approx(1.0, rel=0.05)
    assert math.isnan(at_15_db.edt_s)


def test_a_response_cut_short_is_not_bent() -> None:
    # Cut 50 dB down without any noise: the missing tail is added, so T30 stays 1 s (closed form).
    read = measure_decay(exponential(1.0, 50.0 / 60.0), RATE_HZ)
    assert [read.edt_s, read.t20_s, read.t30_s] == pytest.approx([1.0] * 3, rel=0.001)
    assert read.c80_db == pytest.approx(3.053, abs=0.05)


def test_zeros_after_the_response_change_nothing() -> None:
    h = exponential(1.0, 1.0)
    assert measure_decay(np.concatenate([h, np.zeros(RATE_HZ)]), RATE_HZ) == measure_decay(h, RATE_HZ)


def test_impulse_has_no_decay_time() -> None:
    h = np.zeros(1000)
    h[10] = 1.0
    read = measure_decay(h, RATE_HZ)
    assert math.isnan(read.edt_s)
    assert (read.c80_db, read.d50, read.centre_time_ms) == (math.inf, 1.0, 0.0)


def test_curve_begins_at_0_db_and_falls() -> None:
    level_db = energy_decay(exponential(1.0, 2.0), RATE_HZ).level_db
    assert level_db[0] == 0.0
    # Closed form of equation (1): L(t) = -60 t / T.
    assert level_db[RATE_HZ // 2] == pytest.approx(-30.0, abs=1e-3)


@pytest.mark.parametrize("centre_hz", [250.0, 1000.0, 4000.0])
def test_octave_band_edges(centre_hz: float) -> None:
    # IEC 61260-1: edges at the centre times 10^(+-0.15), 3 dB down; class 1 passes the centre within 0.4 dB (from
    # memory). Third-order Butterworth slopes: at least 40 dB down two octaves away.
    x = np.zeros(RATE_HZ)
    x[RATE_HZ // 2] = 1.0
    gain_db = 20.0 * np.log10(np.abs(np.fft.rfft(octave_band(x, RATE_HZ, centre_hz))) + 1e-300)
    edges = [round(centre_hz * 10.0**e) for e in (-0.15, 0.15)]
    np.testing.assert_allclose(gain_db[edges], -3.01, atol=0.1)
    assert abs(gain_db[round(centre_hz)]) < 0.4
    assert np.max(gain_db[[round(centre_hz / 4.0), round(centre_hz * 4.0)]]) < -40.0


def test_octave_band_keeps_a_decay_shorter_than_its_own() -> None:
    # Reversed filtering: a decaying sine keeps its envelope from the onset on, exactly (derived: the filter looks
    # only forward in time). 30 ms at 125 Hz is faster than the band's own ringing of about 60 ms.
    t = np.arange(RATE_HZ) / RATE_HZ
    h = np.where(t < 0.1, 0.0, np.exp(-K60 * (t - 0.1) / 0.030) * np.cos(2.0 * np.pi * 125.0 * t))
    band = octave_band(h, RATE_HZ, 125.0)
    start, later = band[4800 : 4800 + 384], band[4800 + 1536 : 4800 + 1536 + 384]
    fall_db = 10.0 * math.log10(float(np.sum(start**2) / np.sum(later**2)))
    assert fall_db == pytest.approx(60.0 * 1536 / RATE_HZ / 0.030, abs=0.01)


def test_band_decays() -> None:
    # Standard deviation of T30 in an octave is 0.55 / sqrt(B T) (ISO 3382-2, from memory): 2.1 % at 1 kHz and 1 s,
    # so the mean of 8 lies within 3 x 2.1 / sqrt(8) = 2.2 %.
    bands = [
        measure_band_decays(noise_decay(1.0, 2.0, seed, 1e-4), RATE_HZ, (500.0, 1000.0, 4000.0)) for seed in range(8)
    ]
    for centre_hz in (500.0, 1000.0, 4000.0):
        limit = 3.0 * 0.55 / math.sqrt(0.707 * centre_hz * 1.0 * 8.0)
        assert np.mean([b[centre_hz].t30_s for b in bands]) == pytest.approx(1.0, rel=limit)


def test_bands_over_the_rate_are_left_out() -> None:
    h = noise_decay(0.3, 0.5, 1)
    assert max(measure_band_decays(h, 44_100.0)) == 8000.0
    assert max(measure_band_decays(h, 48_000.0)) == 16_000.0
    with pytest.raises(AudioError, match="octave band 16000 Hz: ends at 22601 Hz"):
        octave_band(h, 44_100.0, 16_000.0)


def test_against_another_library() -> None:
    rt60 = pytest.importorskip("pyroomacoustics.experimental.rt60", reason="pyroomacoustics is in the test extra")
    h = noise_decay(0.8, 2.0, 3)
    # Theirs fits from -5 dB over 30 dB of the uncompensated curve, which is T30 for a response without noise.
    assert measure_decay(h, RATE_HZ, onset=0).t30_s == pytest.approx(
        rt60.measure_rt60(h, RATE_HZ, decay_db=30), rel=0.002
    )


def test_refuses_what_has_no_decay() -> None:
    with pytest.raises(AudioError, match="silent"):
        measure_decay(np.zeros(100), RATE_HZ)
    with pytest.raises(AudioError, match="one channel"):
        measure_decay(np.zeros((100, 2)), RATE_HZ)
    with pytest.raises(AudioError, match="not finite, at frame 7"):
        measure_decay(np.where(np.arange(100) == 7, np.nan, 1.0), RATE_HZ)


@pytest.mark.parametrize(
    ("kind", "expected", "tolerance"),
    [
        # Share of samples beyond the own standard deviation over 0.317311 = erfc(1 / sqrt 2); closed forms.
        pytest.param("gaussian", 1.0, 0.01, id="gaussian noise"),
        pytest.param("uniform", (1.0 - 3.0**-0.5) / 0.317311, 0.01, id="uniform noise"),
        pytest.param("sine", 0.5 / 0.317311, 0.01, id="sine"),
        pytest.param("4", 0.25 / 0.317311, 0.01, id="an impulse in 4 samples"),
        pytest.param("10", 0.1 / 0.317311, 0.01, id="an impulse in 10 samples"),
        pytest.param("100", 0.01 / 0.317311, 0.01, id="an impulse in 100 samples"),
    ],
)
def test_echo_density_closed_forms(kind: str, expected: float, tolerance: float) -> None:
    rng = np.random.default_rng(2)
    n = 4 * RATE_HZ
    if kind == "gaussian":
        x = rng.standard_normal(n)
    elif kind == "uniform":
        x = rng.uniform(-1.0, 1.0, n)
    elif kind == "sine":
        x = np.sin(2.0 * np.pi * 0.0317 * np.arange(n))
    else:
        x = np.where(np.arange(n) % int(kind) == 0, 1.0, 0.0)
    # The window here is Hann, 1024 samples at 48 kHz.
    assert np.mean(echo_density(x, RATE_HZ)[1]) == pytest.approx(expected, rel=tolerance)


def test_echo_density_ignores_decay() -> None:
    # Abel and Huang 2006: insensitive to decay; 0.995 derived for Gaussian noise with T60 of 1 s.
    density = np.concatenate([echo_density(noise_decay(1.0, 1.5, seed), RATE_HZ)[1] for seed in range(4)])
    assert np.mean(density) == pytest.approx(0.995, abs=0.02)


def test_mixing_time() -> None:
    # Sparse impulses for 0.2 s, then noise: the profile reaches 1 once the noise fills most of its window.
    x = np.concatenate([np.where(np.arange(9600) % 500 == 0, 1.0, 0.0), np.random.default_rng(3).standard_normal(9600)])
    assert mixing_time_s(*echo_density(x, RATE_HZ), level=0.9) == pytest.approx(0.2, abs=0.012)
    assert math.isnan(mixing_time_s(*echo_density(x[:9600], RATE_HZ)))
    assert np.all(echo_density(np.zeros(4800), RATE_HZ)[1] == 0.0)
    with pytest.raises(AudioError, match="shorter than its window"):
        echo_density(np.ones(100), RATE_HZ)
