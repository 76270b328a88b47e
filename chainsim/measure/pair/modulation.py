"""Modulation between a dry and a wet recording: a level that sways (tremolo), a delay that sways (vibrato).

Level: the sine that explains most of the gain track, by weighted least squares over all rates. Delay: with C_i(d) the
correlation of frame i of the dry sound with the wet one d samples later, both whitened, the sum

    J(r, A, phi, d0) = sum_i C_i(d0 + A sin(2 pi r t_i + phi))                                                  (1)

is largest where the delay that is read along is the box's own. It needs no frame to tell its delay by itself, which the
frames of a steady note cannot: they correlate with every period. For all rates at once J is a sum of few harmonics of
C_i along the sine, each of one transform over i. A frequency's deviation is that of the Cramer-Rao bound [1].

References
----------
.. [1] D. C. Rife, R. R. Boorstyn, "Single-tone parameter estimation from discrete-time observations", IEEE Trans.
   Information Theory 20 (1974).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.measure.pair.correlations import HOP_S as FRAMES_HOP_S
from chainsim.measure.pair.correlations import LAG_STEP_S, SEARCH_S, Correlations
from chainsim.measure.pair.figure import Figure
from chainsim.measure.pair.gain_track import GainTrack
from chainsim.units import Array

RATES_HZ = (0.3, 16.0)
PER_RESOLUTION = 6
"""Rates tried in the width of one peak."""
LEAST_EXPLAINED = 0.5
LEAST_DEPTH = 0.03
LEAST_TURNS = 3.0
CENTRE_S = 0.005
DEPTHS_S = tuple(0.0001 * 1.3**k for k in range(14))
ANGLES = 32
HARMONICS = 7
PHASES = 8
CANDIDATES = 6
LEAST_BETTER = 1.1
"""How much larger than with a delay that stands still J must be."""


@dataclass(frozen=True)
class Sway:
    """A sine found in the gain or in the delay.

    Attributes
    ----------
    rate_hz : Figure
    depth : Figure
        Of a gain: share of its mean. Of a delay: samples to either side.
    phase : float
        Of the sine at the beginning of the dry recording, in turns, 0 to 1.
    middle : float
        Mean gain, or middle of the delay in samples.
    explained : float
        0 to 1: of a gain, share of its variance; of a delay, correlation along the sway over that at rest.
    """

    rate_hz: Figure
    depth: Figure
    phase: float
    middle: float
    explained: float


def measure_tremolo(track: GainTrack) -> Sway | None:
    """The sine in the gain; None if none explains half of how it moves."""
    use = track.certain
    times, gain = track.times_s[use], track.gain[use]
    if times.size < 40 or times[-1] - times[0] < LEAST_TURNS / RATES_HZ[1]:
        return None
    weight = 1.0 / (np.square(track.deviation[use]) + 0.05**2)
    span = float(times[-1] - times[0])
    rates = np.arange(max(RATES_HZ[0], LEAST_TURNS / span), RATES_HZ[1], 1.0 / span / PER_RESOLUTION)
    shares = np.array([_sine(times, gain, weight, rate)[0] for rate in rates])
    at = int(np.argmax(shares))
    if shares[at] < LEAST_EXPLAINED:
        return None
    from scipy.optimize import minimize_scalar

    step = float(rates[1] - rates[0])
    rate = float(
        minimize_scalar(
            lambda r: -_sine(times, gain, weight, r)[0],
            bounds=(rates[at] - step, rates[at] + step),
            method="bounded",
            options={"xatol": 1e-5},
        ).x
    )
    share, mean, sine, cosine = _sine(times, gain, weight, rate)
    size = math.hypot(sine, cosine)
    if mean <= 0.0 or size / mean < LEAST_DEPTH:
        return None
    # Frames overlap by half, so half of them count.
    left = math.sqrt(max(1.0 - share, 1e-6) / max(share, 1e-6)) / math.sqrt(0.5 * times.size)
    deviation = math.sqrt(3.0) / math.pi / span * left
    depth = Figure.around(size / mean, size / mean * left)
    return Sway(Figure.around(rate, deviation), depth, _turns(sine, cosine), mean, share)


def _sine(times: Array, gain: Array, weight: Array, rate_hz: float) -> tuple[float, float, float, float]:
    """Share of the weighted variance that a sine of one rate explains; mean, and gains of sine and cosine."""
    angle = 2.0 * np.pi * rate_hz * times
    shapes = np.stack([np.ones(times.size), np.sin(angle), np.cos(angle)])
    scaled = shapes * weight
    mean, sine, cosine = np.linalg.solve(scaled @ shapes.T + 1e-9 * np.eye(3), scaled @ gain)
    middle = float(np.average(gain, weights=weight))
    whole = float(np.sum(weight * (gain - middle) ** 2))
    rest = float(np.sum(weight * (gain - np.array([mean, sine, cosine]) @ shapes) ** 2))
    return 1.0 - rest / whole if whole > 0.0 else 0.0, float(mean), float(sine), float(cosine)


def _turns(sine: float, cosine: float) -> float:
    """Phase in turns of sine sin + cosine cos, as that of one sine."""
    return math.atan2(cosine, sine) / (2.0 * math.pi) % 1.0


def measure_vibrato(seen: Correlations) -> Sway | None:
    """The sine in the delay; None if a delay that stands still explains the wet sound as well.

    Parameters
    ----------
    seen : Correlations
        About a lag of which the delay's middle lies within 5 ms.
    """
    at_rest = float(np.max(np.sum(seen.values, axis=0)))
    found = [_best_rate(seen, depth, middle) for depth in DEPTHS_S for middle in _middles()]
    found.sort(key=lambda sway: -sway[0])
    best = max((_refined(seen, sway) for sway in found[:CANDIDATES]), key=lambda sway: sway[0])
    total, middle_s, depth_s, rate_hz, phase = best
    if total < LEAST_BETTER * at_rest or not RATES_HZ[0] < rate_hz < RATES_HZ[1] or depth_s <= 0.0:
        return None
    share = min(total / seen.most, 0.999)
    left = math.sqrt(1.0 - share**2) / share / math.sqrt(seen.times_s.size)
    deviation = math.sqrt(3.0) / math.pi / float(seen.times_s[-1]) * left
    deviation_s = max(left * depth_s, 0.25 * LAG_STEP_S)
    return Sway(
        Figure.around(rate_hz, deviation),
        Figure.around(depth_s, deviation_s).scaled(seen.sample_rate_hz),
        phase / (2.0 * math.pi) % 1.0,
        seen.lag + middle_s * seen.sample_rate_hz,
        share,
    )


def _middles() -> Array:
    return np.arange(-CENTRE_S, CENTRE_S, 3.0 * LAG_STEP_S)


def _best_rate(seen: Correlations, depth_s: float, middle_s: float) -> tuple[float, float, float, float, float]:
    """J, middle, depth, rate and phase of the best rate, for one depth about one middle."""
    angles = 2.0 * np.pi * np.arange(ANGLES) / ANGLES
    places = np.rint((middle_s + depth_s * np.sin(angles) + SEARCH_S) / LAG_STEP_S).astype(np.int64)
    if places.min() < 0 or places.max() >= seen.values.shape[1]:
        return -math.inf, middle_s, depth_s, 1.0, 0.0
    along = np.fft.rfft(seen.values[:, places], axis=1)[:, : HARMONICS + 1] / ANGLES
    size = 1 << (4 * seen.values.shape[0]).bit_length()
    over_time = np.fft.ifft(along, size, axis=0) * size
    bins = np.arange(size)
    rates = bins / (size * FRAMES_HOP_S)
    tried = bins[(rates >= RATES_HZ[0]) & (rates <= RATES_HZ[1]) & (rates * seen.times_s[-1] >= LEAST_TURNS)]
    start = 2.0 * np.pi * rates[tried] * seen.times_s[0]
    phases = 2.0 * np.pi * np.arange(PHASES * 4) / (PHASES * 4)
    sums = np.zeros((tried.size, phases.size))
    for m in range(1, HARMONICS + 1):
        turn = over_time[(m * tried) % size, m] * np.exp(1j * m * start)
        sums += 2.0 * np.real(turn[:, np.newaxis] * np.exp(1j * m * phases)[np.newaxis, :])
    at = np.unravel_index(int(np.argmax(sums)), sums.shape)
    total = float(np.real(over_time[0, 0])) + float(sums[at])
    return total, middle_s, depth_s, float(rates[tried[at[0]]]), float(phases[at[1]])


def _refined(
    seen: Correlations, sway: tuple[float, float, float, float, float]
) -> tuple[float, float, float, float, float]:
    """The same, off the grid."""
    from scipy.optimize import minimize

    if not math.isfinite(sway[0]):
        return sway
    steps = np.array([LAG_STEP_S, 0.1 * sway[2], 0.2 / float(seen.times_s[-1]), 0.3])

    def loss(moved: Array) -> float:
        middle, depth, rate, phase = np.array(sway[1:]) + steps * moved
        return -seen.along(middle + depth * np.sin(2.0 * np.pi * rate * seen.times_s + phase))

    simplex = np.concatenate([np.zeros((1, 4)), np.eye(4)])
    options = {"initial_simplex": simplex, "maxfev": 400, "xatol": 1e-3, "fatol": 1e-9 * seen.most}
    found = minimize(loss, np.zeros(4), method="Nelder-Mead", options=options)
    middle, depth, rate, phase = np.array(sway[1:]) + steps * found.x
    return -float(found.fun), float(middle), float(depth), float(rate), float(phase)
