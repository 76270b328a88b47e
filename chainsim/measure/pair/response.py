"""Frequency response of the direct sound in third octaves, with coherence, and the gain over all of them.

Welch's spectra of the dry sound x and the wet one y, aligned and freed of echoes, give in each twelfth of an octave the
one gain that explains most of y, and the share of y that it explains:

    g = |sum S_xy| / sum S_xx,   gamma^2 = |sum S_xy|^2 / (sum S_xx sum S_yy)                                    (1)

A third octave's level is the mean of g^2, weighted by S_xx, so that it means what white noise in that band would show
only as far as the dry sound fills it. Its deviation follows from the coherence [1]. A band that the dry sound does not
reach, or that noise covers, has no figure.

References
----------
.. [1] J. S. Bendat, A. G. Piersol, Random Data, chapter 9: deviation of a gain sqrt((1 - gamma^2) / (2 n gamma^2)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.measure.pair.figure import Figure
from chainsim.units import Array

WINDOW_S = 0.17
PER_OCTAVE = 12
THIRDS_HZ = tuple(1000.0 * 10.0 ** (k / 10.0) for k in range(-13, 14))
"""Middles of the third octaves 50 Hz to 20 kHz (IEC 61260-1, base ten)."""
LEAST_COHERENCE = 0.2
MOST_DEVIATION_DB = 1.0
LEAST_SHARE_DB = -90.0
"""Bands this far under all of the dry sound hold nothing but rounding and a window's leakage."""
DB_PER_NEPER = 20.0 / math.log(10.0)


@dataclass(frozen=True)
class BandResponse:
    """One third octave; gain missing where the recordings do not tell."""

    centre_hz: float
    gain_db: Figure
    coherence: float


@dataclass(frozen=True)
class Transfer:
    """Complex gain S_xy / S_xx, bin by bin, and the power S_xx that stands behind it; arrays of shape (bins,)."""

    freq_hz: Array
    gain: npt.NDArray[np.complex128]
    power: Array


@dataclass(frozen=True)
class Response:
    """Of the direct sound.

    Attributes
    ----------
    bands : tuple of BandResponse
    gain_db : Figure
        Over all bands, weighted by the power of the dry sound in them.
    unexplained_db : float
        Power of the wet sound that the direct sound's response does not explain, under all of it, in these bands.
    transfer : Transfer
        What all of this was read from.
    """

    bands: tuple[BandResponse, ...]
    gain_db: Figure
    unexplained_db: float
    transfer: Transfer


def measure_response(dry: Array, wet: Array, sample_rate_hz: float) -> Response:
    """Response of the direct sound.

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
        Aligned, of equal length, echoes taken out of the wet one.
    sample_rate_hz : float
    """
    from scipy.signal import csd, welch

    size = min(1 << round(math.log2(WINDOW_S * sample_rate_hz)), dry.size)
    pieces = max(1.0, 2.0 * dry.size / size - 1.0)
    freq_hz, s_xx = welch(dry, sample_rate_hz, nperseg=size)
    _, s_yy = welch(wet, sample_rate_hz, nperseg=size)
    _, s_xy = csd(dry, wet, sample_rate_hz, nperseg=size)
    total = float(np.sum(s_xx))
    bands, powers, variances, explained, whole = [], [], [], 0.0, 0.0
    for centre in THIRDS_HZ:
        if centre * 10.0**0.05 >= 0.5 * sample_rate_hz:
            break
        low, high = (int(np.searchsorted(freq_hz, centre * 10.0 ** (s * 0.05))) for s in (-1, 1))
        band = _band(s_xx[low:high], s_yy[low:high], s_xy[low:high], pieces)
        whole += float(np.sum(s_yy[low:high]))
        share_db = 10.0 * math.log10(max(band.input_power, 1e-300) / max(total, 1e-300))
        deviation_db = DB_PER_NEPER * band.deviation
        told = band.coherence >= LEAST_COHERENCE and deviation_db <= MOST_DEVIATION_DB and share_db >= LEAST_SHARE_DB
        gain_db = Figure.around(10.0 * math.log10(band.gain_power), deviation_db) if told else Figure.missing()
        bands.append(BandResponse(centre, gain_db, band.coherence))
        if told:
            powers.append((band.input_power, band.gain_power))
            variances.append((band.input_power * band.gain_power * 2.0 * band.deviation) ** 2)
            explained += band.input_power * band.gain_power
    transfer = Transfer(freq_hz, s_xy / np.maximum(s_xx, 1e-300), s_xx)
    rest = max(1.0 - explained / whole, 1e-12) if whole > 0.0 else math.nan
    return Response(tuple(bands), _whole_gain_db(powers, variances), 10.0 * math.log10(rest), transfer)


def _whole_gain_db(powers: list[tuple[float, float]], variances: list[float]) -> Figure:
    put_in = sum(power for power, _ in powers)
    if put_in <= 0.0:
        return Figure.missing()
    come_out = sum(power * gain for power, gain in powers)
    deviation = math.sqrt(sum(variances)) / come_out
    return Figure.around(10.0 * math.log10(come_out / put_in), 0.5 * DB_PER_NEPER * deviation)


@dataclass(frozen=True)
class _Band:
    input_power: float
    gain_power: float
    coherence: float
    deviation: float
    """Of the gain, relative to it."""


def _band(s_xx: Array, s_yy: Array, s_xy: Array, pieces: float) -> _Band:
    """Equation (1) in the parts of one third octave, and their mean."""
    edges = np.unique(np.linspace(0, s_xx.size, PER_OCTAVE // 3 + 1).astype(int))
    x, y, xy = (np.add.reduceat(s, edges[:-1]) if s.size else np.zeros(1) for s in (s_xx, s_yy, s_xy))
    x, y = np.maximum(x, 1e-300), np.maximum(y, 1e-300)
    each = np.maximum(pieces * np.diff(edges), 1.0 + 1e-9) if s_xx.size else np.full(1, 2.0)
    share = np.minimum(np.abs(xy) ** 2 / (x * y), 1.0)
    # Of pure noise, one value in n is explained by chance.
    share = np.maximum((each * share - 1.0) / (each - 1.0), 0.0)
    put_in, explained = float(np.sum(x)), float(np.sum(share * y))
    coherence = explained / float(np.sum(y))
    count = pieces * max(s_xx.size, 1)
    deviation = math.sqrt((1.0 - coherence) / (2.0 * count * coherence)) if coherence > 0.0 else math.inf
    return _Band(put_in, explained / put_in, coherence, deviation)
