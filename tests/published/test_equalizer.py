"""The cookbook's filters against their properties and scipy: coefficients, and what the equalizer renders."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import bilinear, sosfilt

from chainsim.dsp import biquad
from tests.blocks.harness import prepared, run

FS = 48_000.0
RATES_HZ = (8_000.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0)
BUTTERWORTH = math.sqrt(0.5)

Design = Callable[..., tuple[np.ndarray, np.ndarray]]


def gain_db(b: np.ndarray, a: np.ndarray, freq_hz: float, rate_hz: float) -> float:
    """Level of the response."""
    z = np.exp(-2j * math.pi * freq_hz / rate_hz * np.arange(3))
    size = abs(np.sum(b * z) / np.sum(a * z))
    return 20.0 * math.log10(size) if size > 0.0 else -math.inf


@pytest.mark.parametrize(
    ("made", "b", "a"),
    [  # derived: Audio EQ Cookbook (W3C Note 2021-06-08) at 48 kHz
        (biquad.low_pass(1e3, BUTTERWORTH, FS), [0.003916, 0.007832, 0.003916], [-1.815341, 0.831006]),
        (biquad.high_pass(1e3, BUTTERWORTH, FS), [0.911587, -1.823173, 0.911587], [-1.815341, 0.831006]),
        (biquad.bell(1e3, 6.0, 1.0, FS), [1.043953, -1.895321, 0.867722], [-1.895321, 0.911675]),
        (biquad.low_shelf(200.0, 6.0, BUTTERWORTH, FS), [1.006446, -1.968612, 0.963120], [-1.968850, 0.969328]),
        (biquad.high_shelf(5e3, -6.0, BUTTERWORTH, FS), [0.584799, -0.564944, 0.199805], [-1.236521, 0.456181]),
    ],
    ids=["low pass", "high pass", "bell", "low shelf", "high shelf"],
)
def test_coefficients(made: tuple[np.ndarray, np.ndarray], b: list[float], a: list[float]) -> None:
    assert made[0] == pytest.approx(b, abs=1e-6)
    assert made[1] == pytest.approx([1.0, *a], abs=1e-6)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("freq_hz", [200.0, 1_000.0, 3_200.0])
@pytest.mark.parametrize(("q", "gain"), [(0.5, -12.0), (BUTTERWORTH, 6.0), (4.0, 24.0)])
def test_gains_are_exact_at_every_rate(q: float, gain: float, freq_hz: float, rate_hz: float) -> None:
    def at(design: tuple[np.ndarray, np.ndarray], hz: float) -> float:
        return gain_db(*design, hz, rate_hz)

    exact = {"abs": 1e-9}
    top_hz = 0.5 * rate_hz
    assert at(biquad.low_pass(freq_hz, q, rate_hz), freq_hz) == pytest.approx(20.0 * math.log10(q), **exact)
    assert at(biquad.high_pass(freq_hz, q, rate_hz), freq_hz) == pytest.approx(20.0 * math.log10(q), **exact)
    assert at(biquad.notch(freq_hz, q, rate_hz), freq_hz) < -200.0
    bell = biquad.bell(freq_hz, gain, q, rate_hz)
    low = biquad.low_shelf(freq_hz, gain, q, rate_hz)
    high = biquad.high_shelf(freq_hz, gain, q, rate_hz)
    assert at(bell, freq_hz) == pytest.approx(gain, **exact)
    assert [at(low, freq_hz), at(high, freq_hz)] == pytest.approx([gain / 2.0, gain / 2.0], **exact)
    assert [at(bell, top_hz), at(low, top_hz), at(high, top_hz)] == pytest.approx([0.0, 0.0, gain], **exact)
    # At 0 Hz a and b are sums of numbers near 1 that leave w0^2, 4e-5 at 200 Hz and 192 kHz: so 1e-16 becomes more.
    lost = {"abs": 1e-9 + 1e-14 / (freq_hz / rate_hz) ** 2}
    assert [at(bell, 0.0), at(low, 0.0), at(high, 0.0)] == pytest.approx([0.0, gain, 0.0], **lost)


@pytest.mark.parametrize("gain", [3.0, 12.0, 24.0])
def test_boost_and_cut_undo_each_other(gain: float) -> None:
    bands = [{"freq_hz": 700.0, "gain_db": g, "q": 2.0} for g in (gain, -gain)]
    x = np.zeros((1, 4_000))
    x[0, 0] = 1.0
    assert np.max(np.abs(run(prepared("equalizer", bands=bands), x) - x)) < 1e-12


def analog(shape: str, w: float, q: float, gain: float) -> tuple[list[float], list[float]]:
    """The analog original, with its frequency at w (rad/s), as [1] of the module under test writes it."""
    amp = 10.0 ** (gain / 40.0)
    root = math.sqrt(amp) / q
    b, a = {
        "low_pass": ([0.0, 0.0, 1.0], [1.0, 1.0 / q, 1.0]),
        "high_pass": ([1.0, 0.0, 0.0], [1.0, 1.0 / q, 1.0]),
        "notch": ([1.0, 0.0, 1.0], [1.0, 1.0 / q, 1.0]),
        "bell": ([1.0, amp / q, 1.0], [1.0, 1.0 / (amp * q), 1.0]),
        "low_shelf": ([amp, amp * root, amp * amp], [amp, root, 1.0]),
        "high_shelf": ([amp * amp, amp * root, amp], [1.0, root, amp]),
    }[shape]
    powers = [1.0, w, w * w]
    return [c * p for c, p in zip(b, powers, strict=True)], [c * p for c, p in zip(a, powers, strict=True)]


BANDS = [
    ("low_pass", 3_000.0, 0.9, 0.0),
    ("high_pass", 90.0, 0.7071, 0.0),
    ("notch", 1_200.0, 5.0, 0.0),
    ("bell", 440.0, 1.5, 7.5),
    ("bell", 9_000.0, 0.4, -15.0),
    ("low_shelf", 250.0, 0.7071, -4.0),
    ("high_shelf", 6_000.0, 1.1, 9.0),
]


@pytest.mark.parametrize(("shape", "freq_hz", "q", "gain"), BANDS)
def test_coefficients_by_an_independent_route(shape: str, freq_hz: float, q: float, gain: float) -> None:
    b, a = bilinear(*analog(shape, 2.0 * FS * math.tan(math.pi * freq_hz / FS), q, gain), FS)
    given = (gain,) if shape in ("bell", "low_shelf", "high_shelf") else ()
    made = getattr(biquad, shape)(freq_hz, *given, q, FS)
    assert made[0] == pytest.approx(b, abs=1e-14)
    assert made[1] == pytest.approx(a, abs=1e-14)


@pytest.mark.parametrize("count", [1, 2, 7])
def test_block_renders_what_an_independent_route_renders(count: int) -> None:
    sos = []
    for shape, freq_hz, q, gain in BANDS[:count]:
        b, a = bilinear(*analog(shape, 2.0 * FS * math.tan(math.pi * freq_hz / FS), q, gain), FS)
        sos.append([*b, *a])
    bands = [{"shape": s, "freq_hz": f, "q": q, "gain_db": g} for s, f, q, g in BANDS[:count]]
    x = np.random.default_rng(7).standard_normal((2, 9_000))
    y = run(prepared("equalizer", channels=2, bands=bands, gain_db=-6.0), x)
    assert np.max(np.abs(y - 10.0 ** (-6.0 / 20.0) * sosfilt(np.array(sos), x))) < 1e-11
