"""Decay of an impulse response after ISO 3382-1: EDT, T20, T30, C80, D50, centre time, whole or in octave bands.

    L(t) = 10 log10( integral_t^inf h^2 / integral_0^inf h^2 ),  t = 0 at the direct sound               (1)

The integral is taken backwards up to the knee where noise takes over, with the noise power subtracted and the energy
that the decay would have had behind the knee added: subtraction (Chu 1978) and truncation with correction together
(Guski and Vorlaender 2014); both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.measure.noise_tail import NoiseTail, noise_tail
from chainsim.measure.signals import check_rate, one_channel
from chainsim.units import Array

ONSET_DB = -20.0
"""The direct sound begins where the response first comes within 20 dB of its peak (ISO 3382-1:2009, 5.3)."""
EDT_RANGE_DB, T20_RANGE_DB, T30_RANGE_DB = (0.0, -10.0), (-5.0, -25.0), (-5.0, -35.0)
NOISE_DISTANCE_DB = 10.0
"""How far under the end of a fit the noise has to lie, so T20 takes 35 dB and T30 45 dB (ISO 3382-1)."""
CLARITY_S, DEFINITION_S = 0.080, 0.050
OCTAVES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
BAND_ORDER = 3


@dataclass(frozen=True)
class Decay:
    """Figures of one response; NaN where the decay does not reach far enough above its noise."""

    edt_s: float
    t20_s: float
    t30_s: float
    c80_db: float
    d50: float
    centre_time_ms: float
    onset_s: float
    range_db: float
    """How far the decay falls before noise, or the end of the response, takes over."""


@dataclass(frozen=True)
class EnergyDecay:
    """Backward-integrated energy from the onset to the knee, and what the decay still holds behind it."""

    onset: int
    energy: Array
    behind: float
    tail: NoiseTail | None

    @property
    def level_db(self) -> Array:
        """The curve of equation (1)."""
        level: Array = 10.0 * np.log10(self.energy / self.energy[0])
        return level

    def remaining(self, frame: int, sample_rate_hz: float) -> float:
        """Energy from `frame` (after the onset) on."""
        if frame < self.energy.size:
            return float(self.energy[frame])
        if self.tail is None:
            return 0.0
        after_s = (frame - self.energy.size) / sample_rate_hz
        return self.behind * math.exp(-after_s / self.tail.time_constant_s)


def find_onset(response: npt.ArrayLike, threshold_db: float = ONSET_DB) -> int:
    """First frame at which a response, shape (frames,), comes within `threshold_db` of its peak."""
    h = np.abs(one_channel(response, "impulse response"))
    peak = float(np.max(h))
    if peak == 0.0:
        raise AudioError("impulse response: silent, so it has no onset")
    return int(np.argmax(h >= peak * 10.0 ** (threshold_db / 20.0)))


def energy_decay(response: npt.ArrayLike, sample_rate_hz: float, onset: int | None = None) -> EnergyDecay:
    """Schroeder's backward integration, freed of noise.

    Parameters
    ----------
    response : ndarray, shape (frames,)
        Impulse response.
    sample_rate_hz : float
        Sample rate.
    onset : int, optional
        Frame of the direct sound; found by `find_onset` if left out.
    """
    check_rate(sample_rate_hz, "impulse response")
    h = one_channel(response, "impulse response")
    start = find_onset(h) if onset is None else onset
    power = np.trim_zeros(h[start:] ** 2, "b")
    if not power.size:
        raise AudioError(f"impulse response: silent from frame {start} on")
    tail = noise_tail(power, sample_rate_hz)
    knee = power.size if tail is None else tail.knee
    noise = 0.0 if tail is None else tail.noise_power
    behind = 0.0 if tail is None else tail.knee_power * tail.time_constant_s * sample_rate_hz
    energy = np.cumsum((power[:knee] - noise)[::-1])[::-1] + behind
    spent = np.flatnonzero(energy <= 0.0)
    energy = energy[: int(spent[0])] if spent.size else energy
    if not energy.size:
        return EnergyDecay(start, np.cumsum(power[::-1])[::-1], 0.0, None)
    return EnergyDecay(start, energy, behind, tail)


def measure_decay(response: npt.ArrayLike, sample_rate_hz: float, onset: int | None = None) -> Decay:
    """Decay times and energy ratios of an impulse response.

    Parameters
    ----------
    response : ndarray, shape (frames,)
        Impulse response of one channel; it need not begin at the direct sound.
    sample_rate_hz : float
        Sample rate.
    onset : int, optional
        Frame of the direct sound; found by `find_onset` if left out.

    Returns
    -------
    Decay

    Raises
    ------
    AudioError
        If the response is silent, not finite or not of one channel.

    References
    ----------
    .. [1] ISO 3382-1:2009, 5.3.3 and A.2.2 (EDT, T20, T30), equations A.10, A.11, A.13 (C80, D50, Ts).
    .. [2] M. R. Schroeder, "New Method of Measuring Reverberation Time", J. Acoust. Soc. Am. 37 (1965).
    """
    curve = energy_decay(response, sample_rate_hz, onset)
    total = float(curve.energy[0])
    range_db = 10.0 * math.log10(total / curve.behind) if curve.behind > 0.0 else 0.0
    level_db = curve.level_db
    fits = [
        _decay_time_s(level_db, sample_rate_hz, high, low) if range_db >= NOISE_DISTANCE_DB - low else math.nan
        for high, low in (EDT_RANGE_DB, T20_RANGE_DB, T30_RANGE_DB)
    ]
    late = curve.remaining(round(CLARITY_S * sample_rate_hz), sample_rate_hz)
    # The first moment of h^2 is the sum of what remains after each frame.
    moment = float(np.sum(curve.energy[1:]))
    if curve.tail is not None:
        moment += curve.behind * curve.tail.time_constant_s * sample_rate_hz
    return Decay(
        edt_s=fits[0],
        t20_s=fits[1],
        t30_s=fits[2],
        c80_db=10.0 * math.log10((total - late) / late) if 0.0 < late < total else math.inf,
        d50=1.0 - curve.remaining(round(DEFINITION_S * sample_rate_hz), sample_rate_hz) / total,
        centre_time_ms=1000.0 * moment / total / sample_rate_hz,
        onset_s=curve.onset / sample_rate_hz,
        range_db=range_db,
    )


def octave_band(signal: npt.ArrayLike, sample_rate_hz: float, centre_hz: float) -> Array:
    """One octave of a signal, filtered backwards in time.

    A Butterworth band-pass with the edges of IEC 61260-1 (centre times 10^(+-0.15)), run over the reversed signal:
    its own ringing then comes before what caused it, and decays shorter than the filter's can be measured (Jacobsen
    and Rindel 1987, from memory). An exponential decay keeps its shape exactly from its onset on.
    """
    from scipy.signal import butter, sosfilt

    x = one_channel(signal, "octave band")
    low, high = centre_hz * 10.0**-0.15, centre_hz * 10.0**0.15
    if not 0.0 < high < sample_rate_hz / 2.0:
        raise AudioError(f"octave band {centre_hz:g} Hz: ends at {high:.0f} Hz, over half of {sample_rate_hz:g} Hz")
    sos = butter(BAND_ORDER, (low, high), "bandpass", output="sos", fs=sample_rate_hz)
    return np.ascontiguousarray(sosfilt(sos, x[::-1])[::-1])


def measure_band_decays(
    response: npt.ArrayLike, sample_rate_hz: float, centres_hz: Sequence[float] = OCTAVES_HZ
) -> dict[float, Decay]:
    """`measure_decay` in octave bands, all from the onset of the whole response; bands over the rate are left out.

    A decay of white noise has random figures: the standard deviation of T30 in an octave is about
    0.55 / sqrt(bandwidth x T) (ISO 3382-2, from memory), so 4 % at 250 Hz and 1 s.
    """
    h = one_channel(response, "impulse response")
    onset = find_onset(h)
    fitting = [centre for centre in centres_hz if centre * 10.0**0.15 < sample_rate_hz / 2.0]
    return {centre: measure_decay(octave_band(h, sample_rate_hz, centre), sample_rate_hz, onset) for centre in fitting}


def _decay_time_s(level_db: Array, sample_rate_hz: float, high_db: float, low_db: float) -> float:
    """Time of 60 dB on the least-squares line through the curve from high_db to low_db; NaN if it is not reached."""
    under = np.flatnonzero(level_db < low_db)
    if not under.size:
        return math.nan
    first, last = int(np.argmax(level_db <= high_db)), int(under[0])
    if last - first < 2:
        return math.nan
    t = (np.arange(first, last) - 0.5 * (first + last - 1)) / sample_rate_hz
    slope = float(np.sum(t * level_db[first:last]) / np.sum(t * t))
    return -60.0 / slope if slope < 0.0 else math.nan
