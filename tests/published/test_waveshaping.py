"""Oversampled curves against Fourier series, integrals and what their filters must do; aliases counted all together."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import jv

from chainsim.dsp.oversampling import (
    LAST_TAPS,
    PAIRS,
    PASS_SHARE,
    bend_oversampled,
    doublings,
    half_band_terms,
    last_filter,
    make_stages,
)
from chainsim.dsp.waveshaping import ORDERS, SHAPES, STATES, bend, curve, log_cosh, over_corner

FS = 48_000


def bent(x: np.ndarray, shape: str, *, times: int = 8, rate_hz: float = FS, bias: float = 0.0) -> np.ndarray:
    """A channel through a curve, less the delay."""
    index = SHAPES.index(shape)
    stages, delay = make_stages(times, ORDERS[index], 1, rate_hz)
    y = np.concatenate([x, np.zeros(delay)])[None]
    bend_oversampled(index, bias, stages, y)
    return y[0, delay:]


def middle(y: np.ndarray, rate_hz: int = FS) -> np.ndarray:
    """One second out of two, away from both ends."""
    return y[rate_hz // 2 : 3 * rate_hz // 2]


def harmonics(y: np.ndarray, f0: int, orders: tuple[int, ...] = (1, 3, 5)) -> np.ndarray:
    """Coefficients of sin(n w t) in the middle of two seconds."""
    spectrum = np.fft.rfft(middle(y)) * (-1.0) ** np.arange(FS // 2 + 1)
    return np.array([-2.0 / FS * spectrum[n * f0].imag for n in orders])


def sine(f0: int, peak: float, rate_hz: int = FS, phase: float = 0.0) -> np.ndarray:
    """Two seconds."""
    return peak * np.sin(2.0 * np.pi * f0 * np.arange(2 * rate_hz) / rate_hz + phase)


# Fourier integrals of tanh(A sin t), as in tables of the describing function; recomputed below by quadrature.
TANH = [
    (0.5, 0.47114, 0.00924, 0.00022),
    (1.0, 0.81168, 0.05425, 0.00452),
    (2.0, 1.11794, 0.18874, 0.04300),
    (3.0, 1.20739, 0.28402, 0.09751),
    (5.0, 1.25140, 0.36557, 0.17248),
    (10.0, 1.26796, 0.40894, 0.23001),
]


@pytest.mark.parametrize("row", TANH, ids=lambda r: f"{r[0]:g}")
def test_soft_harmonics(row: tuple[float, ...]) -> None:
    peak = row[0]
    found = np.abs(harmonics(bent(sine(97, peak), "soft"), 97))
    assert found == pytest.approx(row[1:], abs=1e-4)
    for n, amplitude in zip((1, 3, 5), found, strict=True):
        exact = quad(lambda t, n=n: math.tanh(peak * math.sin(t)) * math.sin(n * t), 0.0, math.pi, limit=200)[0]
        assert amplitude == pytest.approx(abs(2.0 / math.pi * exact), abs=2e-5)


CLIPPED = [
    (1.25, 1.11989, 0.09167, -0.03887),
    (math.sqrt(2.0), 1.15726, 0.15005, -0.03001),
    (2.0, 1.21800, 0.27566, 0.05513),
    (10.0, 1.27111, 0.41806, 0.24415),
]


@pytest.mark.parametrize("row", CLIPPED, ids=lambda r: f"{r[0]:.3g}")
def test_hard_harmonics(row: tuple[float, ...]) -> None:
    """b_n = 2/pi (A (sin((n-1)t)/(n-1) - sin((n+1)t)/(n+1)) + 2 cos(nt)/n), t = asin(1/A): of a clipped sine."""
    peak, t = row[0], math.asin(1.0 / row[0])
    found = harmonics(bent(sine(97, peak), "hard"), 97)
    assert found == pytest.approx(row[1:], abs=1e-4)
    series = [2.0 / math.pi * (peak * t + math.sqrt(1.0 - 1.0 / peak**2))]
    for n in (3, 5):
        sides = math.sin((n - 1) * t) / (n - 1) - math.sin((n + 1) * t) / (n + 1)
        series.append(2.0 / math.pi * (peak * sides + 2.0 * math.cos(n * t) / n))
    assert found == pytest.approx(series, abs=2e-5)


@pytest.mark.parametrize("peak", [0.5, 2.0, 2.4048255577, 10.0])
def test_folding_harmonics_are_bessel_functions(peak: float) -> None:
    """Jacobi-Anger: sin(A sin t) = 2 sum of J_n(A) sin(n t), n odd; at A = 2.4048 (zero of J_0, not of J_1) too."""
    found = harmonics(bent(sine(97, peak), "folding"), 97, (1, 3, 5, 7, 9))
    assert found == pytest.approx(2.0 * jv([1, 3, 5, 7, 9], peak), abs=2e-5)


def test_asymmetric_harmonics_are_those_of_the_shifted_curve() -> None:
    spectrum = np.fft.rfft(middle(bent(sine(97, 3.0), "asymmetric", bias=0.5))) * 2.0 / FS
    for n in (1, 2, 3, 4):
        parts = [
            quad(lambda t, n=n, g=g: math.tanh(3.0 * math.sin(t) + 0.5) * g(n * t), 0.0, 2.0 * math.pi, limit=200)[0]
            for g in (math.cos, math.sin)
        ]
        assert abs(spectrum[97 * n]) == pytest.approx(math.hypot(*parts) / math.pi, abs=2e-5)
    assert abs(spectrum[2 * 97]) > 0.05


@pytest.mark.parametrize("shape", ["soft", "hard", "folding"])
def test_odd_curves_make_no_even_harmonics(shape: str) -> None:
    spectrum = np.abs(np.fft.rfft(middle(bent(sine(97, 10.0), shape))))
    assert 20.0 * math.log10(spectrum[[0, 194, 388, 582]].max() / spectrum[97]) < -200.0


# Least that is asked: 90 dB of soft shapes, 75 dB of hard clipping, at 5 kHz, +20 dB of drive. Folded ten-fold, the
# fundamental itself is only 2 J_1(10) = 0.087, 21 dB below full scale: what is right there is what hard clipping gives.
LEAST_DB = {"soft": 90.0, "asymmetric": 90.0, "hard": 75.0, "folding": 75.0}
FOUND_DB = {
    ("soft", 8): 119.0,
    ("asymmetric", 8): 119.0,
    ("hard", 8): 107.0,
    ("folding", 8): 82.0,
    ("soft", 4): 75.0,
    ("asymmetric", 4): 79.0,
    ("hard", 4): 88.0,
    ("folding", 4): 84.0,
}
"""What is found at 48 kHz, less 2 to 4 dB; for comparison, with brick-wall filters and first order: hard, 8 times,
78.2 dB (all below 24 kHz); tanh, 4 times, 77.8 dB."""


def over_aliases_db(y: np.ndarray, f0: int, rate_hz: int) -> float:
    """Fundamental over everything below 18 kHz that is no harmonic, offset aside, in the middle of two seconds."""
    power = np.abs(np.fft.rfft(middle(y, rate_hz))[:18_001]) ** 2
    return 10.0 * math.log10(power[f0] / np.sum(np.delete(power, [0, *range(f0, 18_001, f0)])))


@pytest.mark.parametrize(("shape", "times"), FOUND_DB)
def test_all_aliases_together(shape: str, times: int) -> None:
    bias = 0.5 if shape == "asymmetric" else 0.0
    found = over_aliases_db(bent(sine(4_999, 10.0, phase=0.3), shape, times=times, bias=bias), 4_999, FS)
    assert found > FOUND_DB[shape, times]
    if times == 8:
        assert found > LEAST_DB[shape]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize(("rate_hz", "f0"), [(44_100, 5_000), (96_000, 4_999), (192_000, 4_999)])
def test_all_aliases_together_at_other_rates(shape: str, rate_hz: int, f0: int) -> None:
    bias = 0.5 if shape == "asymmetric" else 0.0
    y = bent(sine(f0, 10.0, rate_hz, 0.3), shape, rate_hz=rate_hz, bias=bias)
    assert over_aliases_db(y, f0, rate_hz) > LEAST_DB[shape]


def test_five_kilohertz_at_48() -> None:
    """Aliases of harmonics 9, 11, 13 lie at 3, 7, 17 kHz: on no harmonic."""
    for shape, least in LEAST_DB.items():
        bias = 0.5 if shape == "asymmetric" else 0.0
        assert over_aliases_db(bent(sine(5_000, 10.0, phase=0.3), shape, bias=bias), 5_000, FS) > least


@pytest.mark.parametrize("v", [-25.0, -3.0, -0.2, 0.0, 1e-6, 0.7, 18.9, 30.0])
def test_antiderivative_of_tanh(v: float) -> None:
    assert log_cosh(v) == pytest.approx(np.logaddexp(v, -v) - math.log(2.0), abs=1e-14)
    assert (log_cosh(v + 1e-5) - log_cosh(v - 1e-5)) / 2e-5 == pytest.approx(math.tanh(v), abs=1e-6)


@pytest.mark.parametrize(
    "line", [(0.2, 3.0), (3.0, 0.2), (-4.0, 1.5), (1.5, 2.5), (-2.0, 0.9), (1.0, 1.0), (5.0, -5.0)]
)
def test_corner_integrals(line: tuple[float, float]) -> None:
    a, b = line
    corner = [(1.0 - a) / (b - a)] if a != b else None

    def over(t: float) -> float:
        return max(a + t * (b - a) - 1.0, 0.0)

    expected = [
        quad(lambda t: (1.0 - t) * over(t), 0.0, 1.0, points=corner)[0],
        quad(lambda t: t * over(t), 0.0, 1.0, points=corner)[0],
    ]
    assert over_corner(a, b) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_each_sample_is_the_mean_over_its_line(shape: str) -> None:
    """Against quadrature; of first order evenly over a line, of second by a triangle over two."""
    index, bias = SHAPES.index(shape), 0.4 if shape == "asymmetric" else 0.0
    x = np.concatenate([np.random.default_rng(3).uniform(-3.0, 3.0, 12), [0.5, 0.5, 0.5 + 1e-7, 0.5 + 3e-6]])
    y = x.copy()
    bend(index, bias, np.zeros(STATES), y, y.size)
    line = np.concatenate([[0.0, 0.0], x])

    def part(n: int, weight: float, slope: float) -> float:
        a, b = line[n], line[n + 1]
        corners = [float((c - a) / (b - a)) for c in (-1.0, 1.0) if a != b and 0.0 < (c - a) / (b - a) < 1.0]
        return quad(
            lambda t: (weight + slope * t) * float(curve(index, bias, np.array(a + t * (b - a)))),
            0.0,
            1.0,
            points=corners or None,
            limit=200,
        )[0]

    for n in range(x.size):
        if ORDERS[index] == 1:
            expected = part(n + 1, 1.0, 0.0)
        else:
            expected = part(n + 1, 1.0, -1.0) + part(n, 0.0, 1.0)
        assert y[n] == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize(("place", "deep_db"), [(0, 105.0), (1, 121.0), (2, 133.0)])
def test_half_bands_are_flat_and_deep(place: int, deep_db: float) -> None:
    edge = PASS_SHARE / 2.0**place
    g = half_band_terms(place)
    f = np.linspace(0.0, edge, 2_000)
    terms = np.cos(2.0 * np.pi * np.outer(f, 2 * np.arange(g.size) + 1)) @ g
    assert g.size == PAIRS[place]
    # 1/2 + terms is passed; at 1/2 - f the terms change sign and 1/2 - terms is what is left
    assert 20.0 * math.log10(np.abs(0.5 - terms).max()) < -deep_db


@pytest.mark.parametrize(("place", "order"), [(1, 1), (1, 2), (2, 1), (2, 2)])
def test_last_filter_levels_what_antialiasing_takes(place: int, order: int) -> None:
    taps = last_filter(place, order).T.ravel()
    edge = PASS_SHARE / 2.0**place
    f = np.linspace(0.0, edge, 2_000)
    age = np.arange(LAST_TAPS[place])[::-1]
    for at, aim in ((f, 1.0), (0.5 - f, 0.0)):
        response = np.exp(-2j * np.pi * np.outer(at, age)) @ taps
        mean = np.array([1.0, 1.0]) / 2.0 if order == 1 else np.array([1.0, 4.0, 1.0]) / 6.0
        whole = response * (np.exp(-2j * np.pi * np.outer(at, np.arange(mean.size))) @ mean)
        # the filter is (taps - order) / 2 late, the means order / 2
        straight = np.exp(2j * np.pi * at * (LAST_TAPS[place] / 2.0))
        assert np.abs(whole * straight - aim).max() < 1e-5


def test_fewer_doublings_at_higher_rates() -> None:
    tops = {
        r: [r * 2 ** len(doublings(times, r)) for times in (8, 4)] for r in (44_100, 48_000, 88_200, 96_000, 192_000)
    }
    assert tops == {
        44_100: [352_800, 176_400],
        48_000: [384_000, 192_000],
        88_200: [352_800, 176_400],
        96_000: [384_000, 192_000],
        192_000: [384_000, 384_000],
    }
