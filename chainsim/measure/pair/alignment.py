"""Latency, polarity and clock drift between a dry and a wet recording, from the taps of the response between them.

The latency is that of the first arrival: of the largest tap within 1 ms of the earliest one that is worth a tenth of
the largest of all and stands in every part of the take (`steadiness`). Whoever hears only echoes (dry sound off)
hears the first of them as latency; that cannot be told apart. Two clocks drift apart when later pieces of the recording
have other latencies: a line through these, each found by correlation with the weights of `deconvolution`, has the
drift as its slope.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from chainsim.measure.pair.deconvolution import Deconvolution, Tap, deconvolve, vertex
from chainsim.measure.pair.figure import Figure
from chainsim.units import Array

FIRST_ARRIVAL_SHARE = 0.1
FIRST_ARRIVAL_S = 0.001
PARABOLA_SAMPLES = 0.05
SMEAR_SAMPLES = 0.5
UNRELATED_BELOW = 25.0
"""Clearness up to which the wet recording cannot be told from any other (`Deconvolution.clearness`): two takes of the
same notes may reach 22."""
PIECES = 12
PIECE_S = 2.0
"""So that a piece holds more than one note: one alone fits at every period."""
LEAST_STEP_S = 0.4
LEAST_PIECES = 4
DRIFT_SEARCH_S = 0.003
LEAST_PIECE_CLEARNESS = 25.0
LEAST_DRIFT_PPM = 0.5
LEAST_SIGNIFICANCE = 3.0
SINC_REACH = 24
"""Zero crossings to each side of the interpolation: flat within 0.01 dB to 0.45 of the rate."""
SINC_PHASES = 1 << 13
"""Places between two samples: at the nearest one the error is 80 dB under a sound at 10 kHz (48 kHz rate)."""
BLOCK = 1 << 15


@dataclass(frozen=True)
class Alignment:
    """How the wet recording lies against the dry one.

    Attributes
    ----------
    latency_samples : Figure
        Negative where the wet one is early.
    inverted : bool
        Whether what is up in the dry recording is down in the wet one.
    drift_ppm : Figure
        How much faster the wet recording's clock ran, in millionths; missing where it could not be told from none.
    """

    latency_samples: Figure
    inverted: bool
    drift_ppm: Figure


def first_arrival(taps: Sequence[Tap], sample_rate_hz: float, believed: Callable[[Tap], bool]) -> Tap:
    """The tap of the direct sound; of taps earlier than the loudest, only those count that are believed."""
    loudest = max(taps, key=lambda tap: abs(tap.gain))
    early = [t for t in taps if t.lag < loudest.lag and abs(t.gain) >= FIRST_ARRIVAL_SHARE * abs(loudest.gain)]
    earliest = next((tap for tap in sorted(early, key=lambda tap: tap.lag) if believed(tap)), loudest)
    near = [tap for tap in taps if abs(tap.lag - earliest.lag) <= FIRST_ARRIVAL_S * sample_rate_hz]
    return max(near, key=lambda tap: abs(tap.gain))


def latency_figure(found: Deconvolution, direct: Tap, taps: Sequence[Tap]) -> Figure:
    """Latency with its interval: noise moves a peak by its share of it over the kernel's bandwidth, in radians.

    A box that filters smears its peak; what stands beside it says how far it may have been moved.
    """
    kernel = found.kernel
    bend = float(2.0 * kernel[0] - kernel[1] - kernel[-1]) / float(kernel[0])
    deviation = found.noise / abs(direct.gain) / math.sqrt(max(bend, 1e-6))
    reach = FIRST_ARRIVAL_S * found.sample_rate_hz
    beside = sum(abs(tap.gain) for tap in taps if 0.0 < abs(tap.lag - direct.lag) <= reach)
    smear = min(SMEAR_SAMPLES * beside / abs(direct.gain), SMEAR_SAMPLES)
    return Figure.around(direct.lag, math.hypot(deviation, PARABOLA_SAMPLES + smear))


def measure_drift(dry: Array, wet: Array, sample_rate_hz: float, about: Tap) -> Figure:
    """Drift of the wet recording's clock in millionths; missing if it can't be told from none.

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
    sample_rate_hz : float
    about : Tap
        The loudest of the whole; in each piece one is looked for within 3 ms of it, of the same sign.
    """
    size, reach = round(PIECE_S * sample_rate_hz), round(DRIFT_SEARCH_S * sample_rate_hz)
    step = max(round(LEAST_STEP_S * sample_rate_hz), dry.size // PIECES)
    found = []
    for begin in range(0, dry.size - size + 1, step):
        tap = _piece_tap(dry, wet, sample_rate_hz, (begin, begin + size), round(about.lag), reach)
        if tap is not None and tap.gain * about.gain > 0.0:
            found.append((begin + 0.5 * size, tap.lag))
    return _slope_ppm(np.array([t for t, _ in found]), np.array([at for _, at in found]), sample_rate_hz)


def _piece_tap(
    dry: Array, wet: Array, sample_rate_hz: float, piece: tuple[int, int], lag: int, reach: int
) -> Tap | None:
    """Where a piece of the dry recording lies in the wet one, `reach` about a lag; None if that isn't clear."""
    begin, end = piece
    part = _padded(wet, begin + lag - reach, end + lag + reach)
    if not np.any(dry[begin:end]) or not np.any(part):
        return None
    found = deconvolve(dry[begin:end], part, sample_rate_hz)
    near = found.around(0, 0, 2 * reach + 1)
    at = int(np.argmax(np.abs(near)))
    if abs(near[at]) / found.noise < LEAST_PIECE_CLEARNESS or at in (0, near.size - 1):
        return None
    return Tap(lag - reach + at + vertex(near, at), float(near[at]))


def _slope_ppm(times: Array, lags: Array, sample_rate_hz: float) -> Figure:
    if times.size < LEAST_PIECES:
        return Figure.missing()
    slopes = [(lags[j] - lags[i]) / (times[j] - times[i]) for i in range(times.size) for j in range(i + 1, times.size)]
    slope = float(np.median(slopes))  # of Theil and Sen: a piece that found another peak does no harm
    rest = lags - slope * times
    spread = 1.4826 * float(np.median(np.abs(rest - np.median(rest)))) + 0.02
    overlap = max(PIECE_S * sample_rate_hz / float(np.median(np.diff(times))), 1.0)
    deviation = spread * math.sqrt(overlap / float(np.sum((times - times.mean()) ** 2)))
    if abs(slope) < max(LEAST_SIGNIFICANCE * deviation, 1e-6 * LEAST_DRIFT_PPM):
        return Figure.missing()
    return Figure.around(1e6 * slope, 1e6 * deviation)


def without_drift(wet: Array, drift_ppm: float) -> Array:
    """The wet recording as the dry one's clock would have taken it: y(t (1 + drift)), by windowed sinc.

    Parameters
    ----------
    wet : ndarray, shape (frames,)
    drift_ppm : float

    References
    ----------
    .. [1] J. O. Smith, "Digital Audio Resampling", CCRMA (windowed sinc; Kaiser window, beta 9).
    """
    stretch = 1.0 + 1e-6 * drift_ppm
    reach = np.arange(1 - SINC_REACH, SINC_REACH + 1)
    away = reach[np.newaxis, :] - (np.arange(SINC_PHASES + 1) / SINC_PHASES)[:, np.newaxis]
    table = np.sinc(away) * np.i0(9.0 * np.sqrt(np.maximum(1.0 - (away / SINC_REACH) ** 2, 0.0))) / np.i0(9.0)
    y = np.empty(int(wet.size / stretch))
    for first in range(0, y.size, BLOCK):
        place = np.arange(first, min(first + BLOCK, y.size)) * stretch
        whole = np.floor(place).astype(np.int64)
        phase = np.rint((place - whole) * SINC_PHASES).astype(np.int64)
        span = _padded(wet, int(whole[0]) + 1 - SINC_REACH, int(whole[-1]) + SINC_REACH + 1)
        around = np.lib.stride_tricks.sliding_window_view(span, 2 * SINC_REACH)[whole - whole[0]]
        y[first : first + place.size] = np.einsum("ij,ij->i", around, table[phase])
    return y


def shifted(wet: Array, lag: int, frames: int) -> Array:
    """The wet recording from `lag` on, `frames` long: zeros where it holds nothing."""
    return _padded(wet, lag, lag + frames)


def _padded(x: Array, begin: int, end: int) -> Array:
    y = np.zeros(end - begin)
    a, b = min(max(begin, 0), x.size), min(max(end, 0), x.size)
    if b > a:
        y[a - begin : b - begin] = x[a:b]
    return y
