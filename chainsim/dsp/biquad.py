"""Second-order filters: the cookbook's designs, and a cascade of them in transposed direct form II.

    y[n] = b0 x[n] + s1,   s1' = (b1 x[n] + s2) - a1 y[n],   s2' = b2 x[n] - a2 y[n]                            (1)

Every design is the bilinear transform, prewarped at its frequency f0, of an analog filter in s, with s = 1 at f0:

    low pass 1, high pass s^2, notch s^2 + 1, over s^2 + s/Q + 1
    bell         (s^2 + s A/Q + 1) / (s^2 + s/(A Q) + 1),   A = 10^(gain/40)
    low shelf    A (s^2 + s sqrt(A)/Q + A) / (A s^2 + s sqrt(A)/Q + 1)
    high shelf   the same with s and 1/s exchanged

References
----------
.. [1] R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients"; W3C Note, 8 June 2021.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.envelope import FLUSH
from chainsim.errors import SettingError
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

TOP = 0.45
"""Frequencies that users write lie below this share of the sample rate."""

LONGEST_SEEN = 1 << 16
"""Samples for which a ring is looked at one by one."""


def low_pass(freq_hz: float, q: float, sample_rate_hz: float) -> tuple[Array, Array]:
    """Low pass with gain `q` at `freq_hz`. For what all designs here take and give, see `bell`."""
    c, alpha = _turn(freq_hz, q, sample_rate_hz)
    half = 0.5 * (1.0 - c)
    return _normal(half, 2.0 * half, half, 1.0 + alpha, -2.0 * c, 1.0 - alpha)


def high_pass(freq_hz: float, q: float, sample_rate_hz: float) -> tuple[Array, Array]:
    """High pass with gain `q` at `freq_hz`."""
    c, alpha = _turn(freq_hz, q, sample_rate_hz)
    half = 0.5 * (1.0 + c)
    return _normal(half, -2.0 * half, half, 1.0 + alpha, -2.0 * c, 1.0 - alpha)


def notch(freq_hz: float, q: float, sample_rate_hz: float) -> tuple[Array, Array]:
    """Notch: nothing at `freq_hz`, gain 1 at 0 and at half the rate."""
    c, alpha = _turn(freq_hz, q, sample_rate_hz)
    return _normal(1.0, -2.0 * c, 1.0, 1.0 + alpha, -2.0 * c, 1.0 - alpha)


def bell(freq_hz: float, gain_db: float, q: float, sample_rate_hz: float) -> tuple[Array, Array]:
    """Peak or dip of `gain_db` at `freq_hz`; of the same q, a boost and a cut undo each other.

    Parameters
    ----------
    freq_hz : float, 0 < freq_hz < sample_rate_hz / 2
        f0.
    gain_db : float
        Of bells and shelves.
    q : float > 0
        Quality factor in the sense of [1]_.
    sample_rate_hz : float

    Returns
    -------
    b, a : ndarray, shape (3,)
        Coefficients with a[0] == 1.

    Raises
    ------
    SettingError
        If a value is outside its range.
    """
    c, alpha = _turn(freq_hz, q, sample_rate_hz)
    amp = 10.0 ** (gain_db / 40.0)
    up, down = alpha * amp, alpha / amp
    return _normal(1.0 + up, -2.0 * c, 1.0 - up, 1.0 + down, -2.0 * c, 1.0 - down)


def low_shelf(freq_hz: float, gain_db: float, q: float, sample_rate_hz: float) -> tuple[Array, Array]:
    """Shelf: `gain_db` far below `freq_hz`, half of it (in dB) there, 0 far above; without a bump if q <= 0.7071."""
    return _shelf(freq_hz, gain_db, q, sample_rate_hz, 1.0)


def high_shelf(freq_hz: float, gain_db: float, q: float, sample_rate_hz: float) -> tuple[Array, Array]:
    """Shelf: `gain_db` far above `freq_hz`, half of it (in dB) there, 0 far below; without a bump if q <= 0.7071."""
    return _shelf(freq_hz, gain_db, q, sample_rate_hz, -1.0)


def _turn(freq_hz: float, q: float, sample_rate_hz: float) -> tuple[float, float]:
    """The cosine of w0 = 2 pi f0 / fs and alpha = sin(w0) / (2 Q) of [1]_."""
    if not 0.0 < freq_hz < 0.5 * sample_rate_hz:
        raise SettingError(f"freq_hz = {freq_hz:g} Hz, allowed between 0 and {0.5 * sample_rate_hz:g} Hz")
    if not q > 0.0:
        raise SettingError(f"q = {q:g}, allowed above 0")
    w = 2.0 * math.pi * freq_hz / sample_rate_hz
    return math.cos(w), math.sin(w) / (2.0 * q)


def _shelf(freq_hz: float, gain_db: float, q: float, sample_rate_hz: float, side: float) -> tuple[Array, Array]:
    """Low shelf for side 1, high shelf for side -1."""
    c, alpha = _turn(freq_hz, q, sample_rate_hz)
    c *= side
    amp = 10.0 ** (gain_db / 40.0)
    more, less, slope = amp + 1.0, amp - 1.0, 2.0 * math.sqrt(amp) * alpha
    return _normal(
        amp * (more - less * c + slope),
        side * 2.0 * amp * (less - more * c),
        amp * (more - less * c - slope),
        more + less * c + slope,
        side * -2.0 * (less + more * c),
        more + less * c - slope,
    )


def _normal(b0: float, b1: float, b2: float, a0: float, a1: float, a2: float) -> tuple[Array, Array]:
    return np.array([b0, b1, b2]) / a0, np.array([1.0, a1 / a0, a2 / a0])


def sections(designs: list[tuple[Array, Array]]) -> Array:
    """Coefficients (even number, 5) of `biquad_df2t`: b0, b1, b2, a1, a2 a row, made even by a filter that passes."""
    rows = [[*b, *a[1:]] for b, a in designs]
    if len(rows) % 2 == 1:
        rows.append([1.0, 0.0, 0.0, 0.0, 0.0])
    return np.array(rows, dtype=np.float64).reshape(-1, 5)


@kernel
def biquad_tick(
    x: float, s1: float, s2: float, b0: float, b1: float, b2: float, a1: float, a2: float
) -> tuple[float, float, float]:
    """One sample of equation (1): returns y and the new state."""
    y = b0 * x + s1
    t1 = (b1 * x + s2) - a1 * y
    t2 = b2 * x - a2 * y
    if x == 0.0:
        if abs(t1) < FLUSH:
            t1 = 0.0
        if abs(t2) < FLUSH:
            t2 = 0.0
    return y, t1, t2


@kernel
def biquad_df2t(coefficients: Array, z: Array, y: Audio) -> None:
    """Send y (channels, frames) in place through all sections, one after the other.

    Sections go in pairs, so that while one waits for its own last sample the other can work.

    Parameters
    ----------
    coefficients : ndarray, shape (even number of sections, 5)
        Of `sections`.
    z : ndarray, shape (channels, sections, 2)
        State s1, s2 of each, zero at the start.
    y : ndarray, shape (channels, frames)
    """
    for c in range(y.shape[0]):
        row = y[c]
        for k in range(0, coefficients.shape[0], 2):
            b0, b1, b2, a1, a2 = coefficients[k]
            d0, d1, d2, e1, e2 = coefficients[k + 1]
            s1, s2, u1, u2 = z[c, k, 0], z[c, k, 1], z[c, k + 1, 0], z[c, k + 1, 1]
            for i in range(row.shape[0]):
                v, s1, s2 = biquad_tick(row[i], s1, s2, b0, b1, b2, a1, a2)
                row[i], u1, u2 = biquad_tick(v, u1, u2, d0, d1, d2, e1, e2)
            z[c, k, 0], z[c, k, 1], z[c, k + 1, 0], z[c, k + 1, 1] = s1, s2, u1, u2


def cascade_ring_samples(coefficients: Array, freqs_hz: Array, sample_rate_hz: float, floor_db: float = -90.0) -> float:
    """Samples in which a cascade falls to `floor_db` of its loudest after a tone of any of `freqs_hz` has ended.

    A tone exp(i w n) that ends before n = 0 leaves, with the impulse response h,

        r[n] = exp(i w n) (H(w) - sum over k < n of h[k] exp(-i w k)),   n > 0                                   (2)

    and one that ends at another phase the real part of r turned by it. The loudest is what sounds before the end or
    after it, whichever is louder, at the phase where that is least. What rings longer than `LONGEST_SEEN` samples is
    taken to go on as the slowest pole does.

    Parameters
    ----------
    coefficients : ndarray, shape (even number of sections, 5)
    freqs_hz : ndarray, shape (any,)
    sample_rate_hz : float
    floor_db : float < 0
    """
    if coefficients.shape[0] == 0:
        return 0.0
    b, a = coefficients[:, :3], np.column_stack([np.ones(len(coefficients)), coefficients[:, 3:]])
    nepers = -math.log(max(max(float(np.max(np.abs(np.roots(row)))) for row in a), 1e-9))
    # Twice what the slowest pole takes: many alike rise before they fall.
    frames = min(LONGEST_SEEN, 64 + math.ceil(0.25 * (20.0 - floor_db) / nepers))
    h = np.zeros((1, frames))
    h[0, 0] = 1.0
    biquad_df2t(coefficients, np.zeros((1, coefficients.shape[0], 2)), h)
    floor = 10.0 ** (floor_db / 20.0)
    phases = np.exp(1j * np.pi * np.arange(8) / 8.0)
    longest = 0.0
    for w in 2.0 * np.pi * freqs_hz / sample_rate_hz:
        turns = np.exp(1j * w * np.arange(frames))
        z = np.conj(turns[1]) ** np.arange(3)
        steady = np.prod((b @ z) / (a @ z))
        left = (turns * turns[1] * (steady - np.cumsum(h[0] * np.conj(turns))))[:-1]
        loudest = max(abs(steady), min(float(np.max(np.abs((left * p).real))) for p in phases))
        over = np.flatnonzero(np.abs(left) > floor * loudest)
        if over.size == 0:
            continue
        last = int(over[-1]) + 1.0
        if frames == LONGEST_SEEN:
            at = frames // 2 + int(np.argmax(np.abs(left[frames // 2 :])))
            last = max(last, at + math.log(max(float(np.abs(left[at])) / (floor * loudest), 1e-9)) / nepers)
        longest = max(longest, last)
    return longest
