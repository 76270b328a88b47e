"""Delay time and feedback, from the taps of the response between a dry and a wet recording.

Taps within 1.5 ms of each other are one echo (its filters smear it). The delay is the time D from the direct sound, or
where that is off from the first echo, to the largest echo; if there are repeats they come at 2 D, 3 D. In each of six
bands b between 300 Hz and 2.5 kHz, what explains one repeat by the one before is

    g_b = |sum S_k conj(S_(k-1))| / sum |S_(k-1)|^2                                                             (1)

with S_k the spectrum of the response around echo k. Cuts in the loop make each echo darker and thinner, so g_b bends
down to both sides: feedback is the top of a parabola over log f through all g_b, where the loop loses least. Where many
echoes of no common time follow the direct sound, it is a room, and no delay time is found.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.measure.pair.deconvolution import Deconvolution, Tap
from chainsim.measure.pair.figure import NORMAL_95, Figure
from chainsim.units import Array

Spectrum = npt.NDArray[np.complex128]

ONE_ECHO_S = 0.0015
SHORTEST_S = 0.004
NEAR_MULTIPLE_S = 0.002
BEFORE_S, AFTER_S = 0.002, 0.006
BAND_HZ = (300.0, 2500.0)
NEAR_MULTIPLE_SHARE = 0.05
MOST_IRREGULAR = 0.4
MOST_OTHER = 0.4
LEAST_GAIN = 0.03
"""-30 dB: what is softer may come of a gain that moves with the notes."""
NOTES_S = 0.03
"""Periods of notes, and twice those of low ones: such taps are only believed if they stand in all parts of the take."""
MOST_REPEATS = 6
LEAST_OVER_NOISE = 4.0
BANDS = 6
LEAST_LOSS = 0.03
OWN_DEVIATION = 0.02
"""Of each g_b, relative: what the taps around an echo leave of it."""


@dataclass(frozen=True)
class Echo:
    """Taps that belong together; `lag` in samples from the dry sound, `gain` of the largest, `energy` of all."""

    lag: float
    gain: float
    energy: float


@dataclass(frozen=True)
class Echoes:
    """What repeats.

    Attributes
    ----------
    delay_ms : Figure
        Missing where nothing repeats at one time.
    feedback : Figure
        Gain of each echo relative to the one before, at the frequency where the loop loses least; 0 with its upper
        bound where there is one echo.
    first_gain : Figure
        Gain of the first echo relative to the dry recording, between 300 Hz and 2.5 kHz.
    taps : tuple of Tap
        All of them, to take them out of the wet recording.
    inverted : bool
        Whether the first echo is turned over against the dry recording.
    """

    delay_ms: Figure
    feedback: Figure
    first_gain: Figure
    taps: tuple[Tap, ...]
    inverted: bool


def measure_echoes(
    found: Deconvolution,
    taps: Sequence[Tap],
    rest: Array,
    direct: Tap,
    earliest_lag: int,
    believed: Callable[[Tap], bool],
) -> Echoes:
    """Delay time and feedback.

    Parameters
    ----------
    found : Deconvolution
    taps : sequence of Tap
        As `Deconvolution.taps` finds them.
    rest : ndarray, shape (lags,)
        What they leave of the response.
    direct : Tap
        The direct sound.
    earliest_lag : int
        Lag of the first value of `rest`.
    believed : callable
        Whether a tap is the box's, and doesn't come of the notes; asked of short delays.
    """
    rate_hz = found.sample_rate_hz
    late = [tap for tap in taps if tap.lag - direct.lag >= SHORTEST_S * rate_hz]
    echoes = gathered(late, ONE_ECHO_S * rate_hz)
    missing = Echoes(Figure.missing(), Figure.missing(), Figure.missing(), tuple(late), False)
    first = max(echoes, key=lambda echo: echo.energy, default=None)
    if first is None or abs(first.gain) < LEAST_GAIN * abs(direct.gain):
        return missing
    delay = first.lag - direct.lag
    if delay < NOTES_S * rate_hz and not believed(Tap(first.lag, first.gain)):
        return missing
    others = [echo for echo in echoes if not _is_multiple(echo.lag - direct.lag, delay, rate_hz)]
    if sum(echo.energy for echo in others) > MOST_IRREGULAR * sum(echo.energy for echo in echoes) or max(
        (abs(echo.gain) for echo in others), default=0.0
    ) > MOST_OTHER * abs(first.gain):
        return missing
    deviation = math.hypot(found.noise / abs(first.gain), 0.5 / math.sqrt(3.0))  # half a sample: filters in the echo
    spectra = [_spectrum(found, taps, rest, direct.lag + k * delay, earliest_lag) for k in range(1, MOST_REPEATS + 1)]
    noise = _noise(found, spectra[0].size)
    return Echoes(
        Figure.around(delay, deviation).scaled(1000.0 / rate_hz),
        _feedback(spectra, noise),
        _first_gain(found, spectra[0], noise),
        tuple(late),
        first.gain < 0.0,
    )


def gathered(taps: Sequence[Tap], within: float) -> list[Echo]:
    """Echoes made of taps that lie within so many samples of a larger one."""
    left = sorted(taps, key=lambda tap: -abs(tap.gain))
    echoes = []
    while left:
        middle = left[0]
        near = [tap for tap in left if abs(tap.lag - middle.lag) <= within]
        left = [tap for tap in left if abs(tap.lag - middle.lag) > within]
        echoes.append(Echo(middle.lag, middle.gain, sum(tap.gain**2 for tap in near)))
    return sorted(echoes, key=lambda echo: echo.lag)


def _is_multiple(lag: float, delay: float, rate_hz: float) -> bool:
    count = max(1, round(lag / delay))
    return abs(lag - count * delay) <= min(NEAR_MULTIPLE_S * rate_hz, NEAR_MULTIPLE_SHARE * delay)


def _spectrum(found: Deconvolution, taps: Sequence[Tap], rest: Array, lag: float, earliest_lag: int) -> Spectrum:
    """Spectrum in BAND_HZ of the response around a lag, with only its own taps in it."""
    rate_hz = found.sample_rate_hz
    before, after = round(BEFORE_S * rate_hz), round(AFTER_S * rate_hz)
    middle = round(lag)
    begin = middle - before - earliest_lag
    part = np.zeros(before + after)
    there = rest[max(begin, 0) : max(begin + part.size, 0)]
    part[: there.size] = there
    places = np.arange(middle - before, middle + after)
    for tap in taps:
        if abs(tap.lag - middle) <= NEAR_MULTIPLE_S * rate_hz:
            kernel = found.kernel[(places - round(tap.lag)) % found.kernel.size] / float(found.kernel[0])
            part += tap.gain * kernel
    size = 1 << (2 * part.size - 1).bit_length()
    spectrum = np.fft.rfft(part * _fading(part.size, before), size)
    freq_hz = np.fft.rfftfreq(size, 1.0 / rate_hz)
    inside: Spectrum = spectrum[(freq_hz >= BAND_HZ[0]) & (freq_hz <= BAND_HZ[1])]
    return inside


def _fading(size: int, before: int) -> Array:
    """A window: rising before the echo, falling after it."""
    window = np.ones(size)
    window[:before] = np.sin(0.5 * np.pi * (np.arange(before) + 0.5) / before) ** 2
    half = (size - before) // 2
    window[-half:] = np.cos(0.5 * np.pi * (np.arange(half) + 0.5) / half) ** 2
    return window


def _noise(found: Deconvolution, bins: int) -> float:
    """Root of the energy that noise alone gives such a spectrum."""
    return found.noise * math.sqrt(bins * (BEFORE_S + AFTER_S) * found.sample_rate_hz)


def _feedback(spectra: Sequence[Spectrum], noise: float) -> Figure:
    """The top of a parabola through equation (1), over all pairs of repeats that stand out of the noise."""
    edges_hz = np.geomspace(*BAND_HZ, BANDS + 1)
    share = (edges_hz - BAND_HZ[0]) / (BAND_HZ[1] - BAND_HZ[0])
    bands = np.rint(share * spectra[0].size).astype(int)
    above, below = np.zeros(bands.size - 1), np.zeros(bands.size - 1)
    for before, after in itertools.pairwise(spectra):
        if float(np.sum(np.abs(before) ** 2)) < (LEAST_OVER_NOISE * noise) ** 2:
            break
        above += np.abs(np.add.reduceat(after * np.conj(before), bands[:-1]))
        below += np.add.reduceat(np.abs(before) ** 2, bands[:-1])
    if not below.any():
        return Figure.missing()
    per_band = noise * np.sqrt(np.diff(bands) / spectra[0].size)
    mean, mean_deviation = float(np.sum(above) / np.sum(below)), noise / math.sqrt(float(np.sum(below)))
    if mean < 3.0 * mean_deviation:
        return Figure(0.0, 0.0, mean + 2.0 * mean_deviation)
    places = 0.5 * np.log(edges_hz[1:] * edges_hz[:-1])
    value, deviation = _top(places, above / below, per_band / np.sqrt(below))
    # Even where it loses least the loop loses something: up to 3 % with one-pole cuts at 80 Hz and 3 kHz.
    return Figure(value, value - NORMAL_95 * deviation, (value + NORMAL_95 * deviation) * (1.0 + LEAST_LOSS))


def _top(places: Array, values: Array, deviations: Array) -> tuple[float, float]:
    """Top of a parabola that bends down, or of a constant if none does; and the top's deviation."""
    middle = float(np.mean(places))
    shapes = np.stack([np.ones(places.size), places - middle, np.square(places - middle)], axis=1)
    floor = np.hypot(deviations, OWN_DEVIATION * np.abs(values))
    for terms in (3, 1):
        scaled = shapes[:, :terms] / floor[:, np.newaxis]
        found = np.linalg.lstsq(scaled, values / floor, rcond=None)[0]
        covariance = np.linalg.pinv(scaled.T @ scaled)
        at = 0.0
        if terms == 3:
            if found[2] >= 0.0:
                continue
            at = float(np.clip(-0.5 * found[1] / found[2], places[0] - middle, places[-1] - middle))
        shape = np.array([1.0, at, at * at])[:terms]
        break
    return float(shape @ found), math.sqrt(float(shape @ covariance @ shape))


def _first_gain(found: Deconvolution, spectrum: Spectrum, noise: float) -> Figure:
    """Gain of the first echo against a tap of gain 1 seen through the same kernel and window."""
    unit = _spectrum(found, [Tap(0.0, 1.0)], np.zeros(0), 0.0, 0)
    energy = float(np.sum(np.abs(unit) ** 2))
    if energy <= 0.0:
        return Figure.missing()
    return Figure.around(math.sqrt(float(np.sum(np.abs(spectrum) ** 2)) / energy), noise / math.sqrt(energy))
