"""Noise that a box adds: what the quietest stretches of the wet recording hold beside what comes of the dry one.

In each octave the quietest stretches are looked for, and in each bin of their short-time spectra the gains that explain
most of the wet sound Y by the dry one X and, for a box with echoes of delay D, by both of them one delay earlier:

    Y(t) = a X(t) + b X(t - D) + c Y(t - D) + E,   N = sum |E|^2 / (1 + |c|^2)                                  (1)

so that neither the dry recording's own noise, which the box lets through, nor its echoes count. What is left is noise,
or a tail. Noise stands still and a tail falls: where the next quietest stretches are louder, N is but an upper bound.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.measure.pair.alignment import shifted
from chainsim.measure.pair.figure import Figure
from chainsim.units import Array

LOWEST_HZ = 62.5
WINDOW_S = 0.02
STRETCH_S = 0.15
QUIETEST_SHARE = 0.12
LEAST_STRETCHES = 2
MOST_RISE_DB = 2.0
"""From the quietest stretches to as many that come next, for what stands still."""
LEAST_SHARE = 0.03
"""Of the wet power in these stretches: less is what the few of them leave unexplained by chance."""
MOST_BOUND_SHARE = 0.5
"""Of octaves that only have a bound, against the others, for a sum that means something."""
DEVIATION_DB = 0.4
Spectra = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class BoxNoise:
    """Noise of a box.

    Attributes
    ----------
    dbfs : Figure
        Level (rms) from `from_hz` to half the rate. The value is missing where only a bound is known: `high`.
    from_hz : float
        LOWEST_HZ, or the lowest octave from which on the noise can be told from the notes.
    """

    dbfs: Figure
    from_hz: float

    @property
    def of_all(self) -> Figure:
        """The level, missing if it isn't that of the whole band."""
        return self.dbfs if self.from_hz == LOWEST_HZ else Figure.missing()


@dataclass(frozen=True)
class _Octave:
    power: float
    steady: bool


def measure_noise(dry: Array, wet: Array, sample_rate_hz: float, delay: int = 0) -> BoxNoise:
    """Level of the box's own noise at its output.

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
        Aligned, of equal length.
    sample_rate_hz : float
    delay : int
        Time of the echoes in samples; 0 if there are none.
    """
    size = 1 << round(math.log2(WINDOW_S * sample_rate_hz))
    per_stretch = max(1, round(STRETCH_S * sample_rate_hz / size))
    window = np.hanning(size + 2)[1:-1]
    sounds = [dry, *((shifted(x, -delay, x.size) for x in (dry, wet)) if delay else ())]
    causes = np.stack([_stretches(sound, window, per_stretch) for sound in sounds])
    effect = _stretches(wet, window, per_stretch)
    if len(effect) < 2 * LEAST_STRETCHES:
        return BoxNoise(Figure.missing(), LOWEST_HZ)
    edges_hz = LOWEST_HZ * 2.0 ** np.arange(math.ceil(math.log2(0.5 * sample_rate_hz / LOWEST_HZ)) + 1)
    edges = np.minimum(np.rint(edges_hz * size / sample_rate_hz).astype(int), size // 2 + 1)
    scale = 2.0 / (size * float(np.sum(window**2)))
    octaves = [_octave(causes[..., a:b], effect[..., a:b], scale) for a, b in itertools.pairwise(edges)]
    for first in range(len(octaves)):
        figure = _sum(octaves[first:])
        if not math.isnan(figure.value):
            return BoxNoise(figure, float(edges_hz[first]))
    return BoxNoise(_sum(octaves), LOWEST_HZ)


def _sum(octaves: Sequence[_Octave]) -> Figure:
    known = sum(octave.power for octave in octaves if octave.steady)
    bound = sum(octave.power for octave in octaves if not octave.steady)
    if known + bound <= 0.0:
        return Figure(-math.inf, -math.inf, -math.inf)
    highest_db = 10.0 * math.log10(known + bound) + DEVIATION_DB
    if bound > MOST_BOUND_SHARE * known:
        return Figure(math.nan, -math.inf, highest_db)
    lowest_db = 10.0 * math.log10(known) - 2.0 * DEVIATION_DB
    return Figure(10.0 * math.log10(known + 0.5 * bound), lowest_db, highest_db + DEVIATION_DB)


def _stretches(sound: Array, window: Array, per_stretch: int) -> Spectra:
    """Spectra of windows side by side, shape (stretches, windows in one, bins)."""
    count = sound.size // (window.size * per_stretch)
    frames = sound[: count * per_stretch * window.size].reshape(count, per_stretch, window.size)
    spectra: Spectra = np.fft.rfft(frames * window)
    return spectra


def _octave(causes: Spectra, effect: Spectra, scale: float) -> _Octave:
    """Noise in one octave; shapes (causes, stretches, windows, bins) and (stretches, windows, bins)."""
    power = np.sum(np.square(np.abs(effect)), axis=(1, 2))
    count = min(max(LEAST_STRETCHES, round(QUIETEST_SHARE * power.size)), power.size // 2)
    quiet = np.argsort(power)[: 2 * count]
    left = _unexplained(causes[:, quiet], effect[quiet])
    whole, first, second = (float(np.sum(p)) for p in (power[quiet[:count]], left[:count], left[count:]))
    told = first >= LEAST_SHARE * whole
    steady = told and second <= first * 10.0 ** (0.1 * MOST_RISE_DB)
    return _Octave(scale / (count * effect.shape[1]) * (first if told else LEAST_SHARE * whole), steady)


def _unexplained(causes: Spectra, effect: Spectra) -> Array:
    """N of equation (1) in each stretch."""
    x = causes.reshape(len(causes), -1, causes.shape[-1])
    y = effect.reshape(-1, effect.shape[-1])
    normal = np.einsum("pfb,qfb->bpq", x.conj(), x)
    traces = np.real(np.trace(normal, axis1=1, axis2=2))
    normal += (1e-9 * traces + 1e-300)[:, np.newaxis, np.newaxis] * np.eye(len(x))
    gains = np.linalg.solve(normal, np.einsum("pfb,fb->bp", x.conj(), y)[..., np.newaxis])[..., 0]
    left = np.square(np.abs(y - np.einsum("bp,pfb->fb", gains, x)))
    # Each gain of a bin explains one window's worth of noise by chance.
    left *= len(y) / max(len(y) - len(x), 1)
    if len(x) > 1:
        left /= 1.0 + np.square(np.abs(gains[:, -1]))
    each: Array = np.sum(left.reshape(effect.shape), axis=(1, 2))
    return each
