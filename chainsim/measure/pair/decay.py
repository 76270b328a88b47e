"""Decay time of a box that rings on, from how the power of the wet sound follows that of the dry one.

In each bin of a short-time spectrum, the wet power is taken to be what the dry power of this frame and of earlier ones
left, the tail falling by 60 dB in T, with a floor of noise:

    P(t) = sum_(k<K) a_k D(t - k) + c sum_(k>=K) 10^(-6 k h / T) D(t - k) + n                                    (1)

(h: hop). A bin of a dense tail is a sum of many echoes of random phase, so its power is exponentially distributed about
P, and the T that makes the whole recording likeliest is the one [1]; a_k, c and n are free in each of six bands. No
rests are needed: in narrow bins, notes and noise alike rise and fall enough. That the paths of a reverb turn slowly,
which spoils a response found by correlation, does no harm here. Middle frequencies: 250 Hz to 2 kHz, as the mean of
500 Hz and 1 kHz octaves of ISO 3382-1 would have it.

References
----------
.. [1] D. R. Brillinger, Time Series, Data Analysis and Theory (likelihood of power spectra after P. Whittle).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from chainsim.measure.pair.deconvolution import vertex
from chainsim.measure.pair.figure import Figure
from chainsim.units import Array

BAND_HZ = (250.0, 2000.0)
BANDS = 6
HOPS_PER_WINDOW = 2
EARLY = 3
FIRST_WINDOW_S = 0.06
WINDOW_PER_DECAY = 0.04
WINDOWS_S = (0.03, 0.25)
SHORTEST_S, LONGEST_S = 0.12, 12.0
GRID = 14
FINE_GRID = 9
FINE_REACH = 0.4
LEAST_DEVIATION = 0.035
EARLY_S = 0.025
"""Tails that don't fall evenly put the decay time off by up to 9 % whatever its length, early reflections taken
for tail by up to 0.06 s: seen in thirty reverbs, with takes, noise and bursts 20 dB over noise."""
JACKKNIFE_95 = 2.57
"""Student's factor for six bands, less one."""
ROUNDS = 7
LEAST_SHARE_DB = -24.0
"""Of the part that was fitted."""
LEAST_GAIN_PER_FRAME = 0.004
"""By how much, in nepers a frame and bin, the tail must make the recording likelier to be believed."""


@dataclass(frozen=True)
class TailDecay:
    """The tail.

    Attributes
    ----------
    decay_s : Figure
        T60; missing where no tail makes the recording likelier.
    share_db : float
        Power of the tail, relative to that of the dry recording; as if it fell evenly from the start.
    """

    decay_s: Figure
    share_db: float


@dataclass(frozen=True)
class _Band:
    dry: Array
    wet: Array


def measure_tail_decay(dry: Array, rest: Array, sample_rate_hz: float) -> TailDecay:
    """Decay time of what a box adds.

    Parameters
    ----------
    dry : ndarray, shape (frames,)
    rest : ndarray, shape (frames or more,)
        The wet sound, aligned; direct sound and echoes may be taken out of it.
    sample_rate_hz : float
    """
    coarse = np.linspace(math.log(SHORTEST_S), math.log(LONGEST_S), GRID)
    rough = _search(dry, rest, sample_rate_hz, FIRST_WINDOW_S, coarse)
    if not rough.decay_s.found:
        return rough
    middle_s = rough.decay_s.value
    window_s = min(max(middle_s * WINDOW_PER_DECAY, WINDOWS_S[0]), WINDOWS_S[1])
    fine = math.log(middle_s) + np.linspace(-FINE_REACH, FINE_REACH, FINE_GRID)
    return _search(dry, rest, sample_rate_hz, window_s, fine)


def _search(dry: Array, rest: Array, sample_rate_hz: float, window_s: float, logarithms: Array) -> TailDecay:
    """The likeliest decay time on a grid of its logarithm."""
    size = 1 << round(math.log2(window_s * sample_rate_hz))
    hop_s = size / HOPS_PER_WINDOW / sample_rate_hz
    bands = _bands(dry, rest, sample_rate_hz, size)
    if not bands:
        return TailDecay(Figure.missing(), -math.inf)
    costs = _costs(bands, hop_s, logarithms)
    middle = _lowest(logarithms, costs.sum(axis=0))
    fits = [_fit(band, hop_s, math.exp(middle)) for band in bands]
    without = sum(_fit(band, hop_s, None)[0] for band in bands)
    values = sum(band.wet.size for band in bands)
    share = sum(tail for _, tail in fits) / max(sum(float(np.sum(band.dry)) for band in bands), 1e-300)
    share_db = 10.0 * math.log10(max(share, 1e-30))
    # What lies before the part that was fitted, if the tail began at once.
    early_db = 60.0 * EARLY * hop_s / math.exp(middle)
    at_an_end = not logarithms[0] < middle < logarithms[-1]
    gain = (without - sum(cost for cost, _ in fits)) / values
    if at_an_end or gain < LEAST_GAIN_PER_FRAME or share_db < LEAST_SHARE_DB:
        return TailDecay(Figure.missing(), share_db + early_db)
    # Jackknife: each band left out once.
    count = len(bands)
    left_out = np.array([_lowest(logarithms, costs.sum(axis=0) - cost) for cost in costs])
    deviation = math.sqrt((count - 1) / count * float(np.sum((left_out - left_out.mean()) ** 2)))
    half = JACKKNIFE_95 * max(deviation, LEAST_DEVIATION + EARLY_S * math.exp(-middle))
    return TailDecay(Figure(math.exp(middle), math.exp(middle - half), math.exp(middle + half)), share_db + early_db)


def _costs(bands: list[_Band], hop_s: float, logarithms: Array) -> Array:
    return np.array([[_fit(band, hop_s, math.exp(v))[0] for v in logarithms] for band in bands])


def _lowest(places: Array, costs: Array) -> float:
    """Where a parabola through the lowest cost and its neighbours is lowest."""
    at = int(np.argmin(costs))
    return float(places[at] + (places[1] - places[0]) * vertex(costs, at))


def _bands(dry: Array, rest: Array, sample_rate_hz: float, size: int) -> list[_Band]:
    """Powers of both, shape (bins, frames), in bands in which there is something to hear."""
    from scipy.signal import stft

    frames = max(dry.size, rest.size)
    if frames < 4 * size:
        return []
    options = {"fs": sample_rate_hz, "nperseg": size, "noverlap": size - size // HOPS_PER_WINDOW, "boundary": None}
    powers = []
    for x in (dry, rest):
        padded = np.zeros(frames)
        padded[: x.size] = x
        freq_hz, _, spectrum = stft(padded, **options)
        powers.append(np.square(np.abs(spectrum)))
    edges = np.searchsorted(freq_hz, np.geomspace(*BAND_HZ, BANDS + 1))
    found = [_Band(powers[0][a:b], powers[1][a:b]) for a, b in itertools.pairwise(edges) if b > a]
    loudest = max((float(np.mean(band.dry)) for band in found), default=0.0)
    return [b for b in found if np.mean(b.dry) > 1e-7 * loudest and np.mean(b.wet) > 0.0]


def _fit(band: _Band, hop_s: float, decay_s: float | None) -> tuple[float, float]:
    """Cost of equation (1) (minus the logarithm of its likelihood) with the best a_k, c, n; and the tail's power."""
    from scipy.optimize import nnls
    from scipy.signal import lfilter

    frames = band.dry.shape[1]
    late = [np.pad(band.dry, ((0, 0), (k, 0)))[:, :frames] for k in range(EARLY + 1)]
    parts = [part.ravel() for part in late[:EARLY]]
    if decay_s is not None:
        keep = 10.0 ** (-6.0 * hop_s / decay_s)
        parts.append(lfilter([1.0 - keep], [1.0, -keep], late[EARLY], axis=1).ravel())
    wet = band.wet.ravel()
    mean = float(np.mean(wet))
    shapes = np.stack([*parts, np.full(wet.size, mean)])
    sizes = np.maximum(np.mean(shapes, axis=1), 1e-300)
    shapes /= sizes[:, np.newaxis]
    # A tenth of exponentially distributed values lie under a tenth of their mean: no mean is as low as that of all.
    least = max(float(np.quantile(wet, 0.1)), 1e-6 * mean)
    power = wet + 0.01 * mean
    best_cost, best_gains = math.inf, np.zeros(len(shapes))
    for _ in range(ROUNDS):
        weight = 1.0 / (power / mean) ** 2
        normal = (shapes * weight) @ shapes.T
        scale = 1.0 / np.sqrt(np.diag(normal))
        root = np.linalg.cholesky(normal * np.outer(scale, scale) + 1e-9 * np.eye(len(shapes)))
        gains = nnls(root.T, np.linalg.solve(root, scale * (shapes @ (weight * wet))))[0] * scale
        fitted = np.maximum(gains @ shapes, least)
        cost = float(np.sum(np.log(fitted / mean) + wet / fitted))
        if cost < best_cost:
            best_cost, best_gains = cost, gains
        power = np.sqrt(power * fitted)  # half the way, or the rounds may swing to and fro
    return best_cost, float(best_gains[EARLY] * wet.size) if decay_s is not None else 0.0
