"""The gain of a box from moment to moment: how much of the dry sound is in the wet one, frame by frame.

In each frame of 10 ms, with a window w and both sounds weighted in frequency by what they have in common (their
coherence), so that noise of the box outside the notes counts little,

    g = sum w x y / sum w x^2,   deviation s = sigma / sqrt(sum w x^2)                                          (1)

sigma being what y has beside g x in the frames. Frames in which the dry sound is too soft to tell have a large s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.units import Array

FRAME_S = 0.010
HOP_S = 0.005
HELD_S = 0.015
"""One period of 67 Hz: the crests of a low note count as one level."""
COHERENCE_WINDOW_S = 0.04
CERTAIN = 0.15
"""Deviation, relative to the gain of loud notes, up to which a frame counts."""
LOUD_DB = 12.0


@dataclass(frozen=True)
class GainTrack:
    """One value a frame; all arrays of shape (frames,).

    Attributes
    ----------
    times_s : ndarray
        Middles of the frames in the dry recording.
    gain : ndarray
        Relative to the one of loud notes, so that 1 is as usual; negative ones come from noise.
    deviation : ndarray
        Standard deviation of `gain`.
    level_db : ndarray
        Peak level (dBFS) of the dry sound in the frame and the 15 ms before it.
    loud_gain : float
        What the gains are relative to.
    """

    times_s: Array
    gain: Array
    deviation: Array
    level_db: Array
    loud_gain: float

    @property
    def certain(self) -> npt.NDArray[np.bool_]:
        """Which frames tell."""
        told: npt.NDArray[np.bool_] = self.deviation < CERTAIN
        return told


def track_gain(dry: Array, wet: Array, sample_rate_hz: float) -> GainTrack:
    """Follow the gain.

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
        Aligned, of equal length, echoes taken out of the wet one.
    sample_rate_hz : float
    """
    hop = round(HOP_S * sample_rate_hz)
    size = round(FRAME_S / HOP_S) * hop
    x, y, band = _weighted(dry, wet, sample_rate_hz)
    window = np.hanning(size + 2)[1:-1]
    xx, yy, xy = (_frames(product, size, hop) @ window for product in (x * x, y * y, x * y))
    least = 1e-12 * float(np.max(xx, initial=0.0)) + 1e-300
    gain: Array = xy / np.maximum(xx, least)
    rest = np.maximum(yy - gain * xy, 0.0)
    loudest = xx >= np.max(xx, initial=0.0) * 10.0 ** (-0.1 * LOUD_DB)
    loud_gain = float(np.sum(xy[loudest]) / np.sum(xx[loudest])) or 1.0
    # How many independent samples of noise a frame is worth, in the band that is left of it.
    worth = max(band * float(np.sum(window)) ** 2 / float(np.sum(window**2)), 1.0)
    noise = max(float(np.median(rest)), 1e-12 * float(np.max(yy, initial=0.0)))
    relative = np.sqrt(np.maximum(rest, noise) / worth / np.maximum(xx, least)) / abs(loud_gain)
    deviation = relative.astype(np.float64)
    times_s = (np.arange(xx.size, dtype=np.float64) * hop + 0.5 * size) / sample_rate_hz
    return GainTrack(times_s, gain / loud_gain, deviation, _levels_db(dry, size, hop, sample_rate_hz), loud_gain)


def _weighted(dry: Array, wet: Array, sample_rate_hz: float) -> tuple[Array, Array, float]:
    """Both sounds through the filter gamma^2(f), without delay, and the share of white noise's band that it leaves."""
    from scipy.fft import irfft, next_fast_len, rfft
    from scipy.signal import coherence

    size = min(1 << round(math.log2(COHERENCE_WINDOW_S * sample_rate_hz)), dry.size)
    with np.errstate(invalid="ignore", divide="ignore"):
        freq_hz, common = coherence(dry, wet, sample_rate_hz, nperseg=size)
    common = np.nan_to_num(common)
    length = next_fast_len(dry.size + size, real=True)
    weight = np.interp(np.fft.rfftfreq(length, 1.0 / sample_rate_hz), freq_hz, common)
    x, y = (irfft(rfft(sound, length) * weight, length)[: dry.size] for sound in (dry, wet))
    power = np.square(weight)
    band = float(np.sum(power) ** 2 / (power.size * np.sum(np.square(power)))) if np.any(power) else 1.0
    return x, y, band


def _frames(values: Array, size: int, hop: int) -> Array:
    if values.size < size:
        return np.zeros((0, size))
    return np.lib.stride_tricks.sliding_window_view(values, size)[::hop]


def _levels_db(dry: Array, size: int, hop: int, sample_rate_hz: float) -> Array:
    held = round(HELD_S * sample_rate_hz / hop) * hop
    padded = np.concatenate([np.zeros(held), np.abs(dry)])
    peaks = np.max(_frames(padded, size + held, hop), axis=1, initial=0.0)
    level_db: Array = 20.0 * np.log10(np.maximum(peaks, 1e-15))
    return level_db
