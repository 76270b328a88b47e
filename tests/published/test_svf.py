"""State variable filter and envelope filter against definitions, computed here independently."""

from __future__ import annotations

import math
from decimal import Decimal, localcontext

import numpy as np
import pytest
from scipy.signal import bilinear, freqz, lfilter

from chainsim.dsp.svf import RESPONSES, svf_coefficients, svf_sweep
from tests.blocks.harness import prepared, run

FS = 48_000.0
FILTERS = [(200.0, 0.5), (1000.0, 10.0), (8000.0, 4.0), (20_000.0, 20.0), (21_600.0, 50.0)]


def swept(
    x: np.ndarray, cutoff_hz: np.ndarray, q: np.ndarray, response: str, z: np.ndarray | None = None
) -> np.ndarray:
    """One channel through the plain filter."""
    a, y = np.empty((3, len(x))), np.empty((1, len(x)))
    svf_coefficients(cutoff_hz, q, FS, a)
    svf_sweep(x[None], a, q, RESPONSES.index(response), 0, np.zeros((1, 2)) if z is None else z, y)
    return y[0]


def still(x: np.ndarray, cutoff_hz: float, q: float, response: str) -> np.ndarray:
    """The filter standing still."""
    return swept(x, np.full(len(x), cutoff_hz), np.full(len(x), q), response)


def analog(response: str, wc: float, q: float) -> list[float]:
    """Numerator over s^2 + s wc/Q + wc^2; the band pass has gain 1 at wc."""
    return {
        "low pass": [wc * wc],
        "band pass": [wc / q, 0.0],
        "high pass": [1.0, 0.0, 0.0],
        "notch": [1.0, 0.0, wc * wc],
    }[response]


@pytest.mark.parametrize("response", RESPONSES)
@pytest.mark.parametrize(("cutoff_hz", "q"), FILTERS)
def test_standing_still_is_the_bilinear_transform(cutoff_hz: float, q: float, response: str) -> None:
    impulse = np.zeros(4800)
    impulse[0] = 1.0
    wc = 2.0 * FS * math.tan(math.pi * cutoff_hz / FS)
    b, a = bilinear(analog(response, wc, q), [1.0, wc / q, wc * wc], FS)
    assert np.max(np.abs(still(impulse, cutoff_hz, q, response) - lfilter(b, a, impulse))) < 1e-13


def test_low_and_sharp_is_exact_where_a_direct_form_is_not() -> None:
    # At 60 Hz and Q 50 lfilter's own rounding is 5e-13, more than the test allows; so the same recursion in 40 digits.
    impulse = np.zeros(2400)
    impulse[0] = 1.0
    with localcontext() as context:
        context.prec = 40
        w = Decimal("3.1415926535897932384626433832795028841971") * 60 / 48_000
        g = w + w**3 / 3 + 2 * w**5 / 15 + 17 * w**7 / 315 + 62 * w**9 / 2835  # tan w; the next term is 1e-28
        k = 1 / Decimal(50)
        top = 1 + g * k + g * g
        a1, a2, gain = 2 * (g * g - 1) / top, (1 - g * k + g * g) / top, g * g / top
        x1 = x2 = y1 = y2 = Decimal(0)
        expected = np.empty(len(impulse))
        for i, x in enumerate(Decimal(int(v)) for v in impulse):
            y = gain * (x + 2 * x1 + x2) - a1 * y1 - a2 * y2
            x2, x1, y2, y1 = x1, x, y1, y
            expected[i] = float(y)
    assert np.max(np.abs(still(impulse, 60.0, 50.0, "low pass") - expected)) < 1e-14


@pytest.mark.parametrize("response", RESPONSES)
@pytest.mark.parametrize("direction", ["up", "down"])
@pytest.mark.parametrize(("cutoff_hz", "q"), [*(f for f in FILTERS if f[0] <= 20_000.0), (60.0, 50.0)])
def test_block_standing_still_is_the_bilinear_transform(
    cutoff_hz: float, q: float, direction: str, response: str
) -> None:
    impulse = np.zeros((1, 4800))
    impulse[0, 0] = 1.0
    wc = 2.0 * FS * math.tan(math.pi * cutoff_hz / FS)
    b, a = bilinear(analog(response, wc, q), [1.0, wc / q, wc * wc], FS)
    block = prepared(
        "envelope_filter",
        response=response,
        direction=direction,
        q=q,
        sweep_low_hz=cutoff_hz,
        sweep_high_hz=cutoff_hz,
        level_compensated=False,
    )
    assert np.max(np.abs(run(block, impulse)[0] - lfilter(b, a, impulse[0]))) < 1e-9


@pytest.mark.parametrize(("cutoff_hz", "q"), [(200.0, 0.5), (1000.0, 10.0), (8000.0, 4.0), (20_000.0, 20.0)])
def test_gain_and_phase_at_the_cutoff(cutoff_hz: float, q: float) -> None:
    impulse = np.zeros(1 << 17)
    impulse[0] = 1.0
    turn = np.exp(-2j * math.pi * cutoff_hz / FS * np.arange(len(impulse)))
    # derived: low pass Q at -90 degrees, high pass Q at +90, band pass Q at 0 (1 if scaled by k, as here)
    assert np.sum(still(impulse, cutoff_hz, q, "low pass") * turn) == pytest.approx(-1j * q, abs=1e-9)
    assert np.sum(still(impulse, cutoff_hz, q, "high pass") * turn) == pytest.approx(1j * q, abs=1e-9)
    assert np.sum(still(impulse, cutoff_hz, q, "band pass") * turn) == pytest.approx(1.0, abs=1e-9)


def test_energy_never_grows_whatever_the_cutoff_does() -> None:
    rng = np.random.default_rng(11)
    frames = 4000
    cutoff_hz = np.exp(rng.uniform(math.log(20.0), math.log(20_000.0), frames))
    q = np.exp(rng.uniform(math.log(0.5), math.log(50.0), frames))
    a, z, y = np.empty((3, frames)), np.ones((1, 2)), np.empty((1, 1))
    svf_coefficients(cutoff_hz, q, FS, a)
    energy = 2.0
    for i in range(frames):  # |s'|^2 - |s|^2 = -4 g k v1^2 <= 0
        svf_sweep(np.zeros((1, 1)), np.ascontiguousarray(a[:, i : i + 1]), q[i : i + 1], 0, 0, z, y)
        now = float(z[0, 0] ** 2 + z[0, 1] ** 2)
        assert now <= energy * (1.0 + 1e-12)
        energy = now
    assert energy < 1.0


@pytest.mark.parametrize(("q", "peak_db"), [(2.0, 6.301), (10.0, 20.011)])
def test_resonance_peak(q: float, peak_db: float) -> None:
    impulse = np.zeros(1 << 13)
    impulse[0] = 1.0
    freq_hz, response = freqz(still(impulse, 1000.0, q, "low pass"), worN=np.linspace(850.0, 1050.0, 2001), fs=FS)
    at = int(np.argmax(np.abs(response)))
    # peak Q / sqrt(1 - 1/(4 Q^2)) at fc sqrt(1 - 1/(2 Q^2)), in prewarped frequency
    warped = math.tan(math.pi * freq_hz[at] / FS) / math.tan(math.pi * 1000.0 / FS)
    assert 20.0 * math.log10(abs(response[at])) == pytest.approx(peak_db, abs=0.001)
    assert warped == pytest.approx(math.sqrt(1.0 - 1.0 / (2.0 * q * q)), abs=1e-3)


def test_responses_add_up_while_everything_moves() -> None:
    rng = np.random.default_rng(12)
    x = rng.standard_normal(4800)
    cutoff_hz, q = np.exp(rng.uniform(3.0, 9.9, 4800)), np.exp(rng.uniform(-0.6, 3.9, 4800))
    low, band, high, notch = (swept(x, cutoff_hz, q, name) for name in RESPONSES)
    scale = np.max(np.abs(np.stack([low, band, high])))
    assert np.max(np.abs(low + band + high - x)) < 1e-14 * scale
    assert np.max(np.abs(low + high - notch)) < 1e-14 * scale


def test_square_moved_cutoff_rings_out_bounded_and_to_zero() -> None:
    frames = int(4 * FS)
    square = np.where(np.arange(frames) % 48 < 24, 200.0, 6000.0)  # 1 kHz
    z = np.ones((1, 2))
    y = swept(np.zeros(frames), square, np.full(frames, 20.0), "low pass", z)
    assert np.abs(y).max() <= math.sqrt(2.0) * (1.0 + 1e-12)  # the energy argument above: v = (s + s') / 2
    assert not y[-100:].any()
    assert not z.any()
