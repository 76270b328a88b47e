"""What stands between a dry and a wet recording: the impulse response, by regularised deconvolution, and its taps.

With X and Y the spectra of the whole recordings (zero-padded, so that nothing wraps round) and R their regularisation,

    H = Y conj(X) / (|X|^2 + R),   K = |X|^2 / (|X|^2 + R)                                                     (1)

h is the box's response seen through the kernel k: where the dry sound has nothing, K is 0 and h shows nothing. A tap of
gain a at lag n puts a k[. - n] into h. Taps are taken out one at a time, the largest first, each with all that its
kernel leaves at other lags [1].

References
----------
.. [1] J. A. Hogbom, "Aperture synthesis with a non-regular distribution of interferometer baselines", Astronomy and
   Astrophysics Supplement 15 (1974).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.measure.signals import one_channel
from chainsim.units import Array, db_to_gain

REGULARISATION_DB = -20.0
"""R under the mean of |X|^2: about what a recording with 20 dB over its noise asks for (Wiener's filter)."""
EARLIEST_S = 0.5
LATEST_S = 5.0
"""Lags at which an answer of the box is looked for."""
LEAST_OVER_NOISE = 8.0
"""Taps smaller than this times the noise's deviation are noise: of 2 million values none is so large by chance."""
LEAST_OF_LARGEST = 0.01
MOST_TAPS = 48
MAD_TO_DEVIATION = 1.0 / 0.67449
"""Median distance from the middle of a normal distribution, the other way round."""


@dataclass(frozen=True)
class Tap:
    """One echo in the response: `gain` is that of the sound, not of its level."""

    lag: float
    """Samples from the dry sound, fractional."""
    gain: float


@dataclass(frozen=True)
class Deconvolution:
    """Response and kernel of equation (1), over all lags: negative ones from the end, as a transform lays them out."""

    response: Array
    kernel: Array
    sample_rate_hz: float
    noise: float
    """Standard deviation of the response where there is none, divided by the kernel's peak: gain of a tap of noise."""

    @property
    def clearness(self) -> float:
        """Largest value over the noise; recordings that have nothing in common reach about 14."""
        return float(np.max(np.abs(self.response))) / float(self.kernel[0]) / self.noise

    @property
    def loudest(self) -> Tap:
        """The largest value."""
        at, size = int(np.argmax(np.abs(self.response))), self.response.size
        return Tap(at if at < size // 2 else at - size, float(self.response[at] / self.kernel[0]))

    def around(self, lag: int, before: int, after: int) -> Array:
        """The response from `before` samples ahead of a lag to `after` behind it, as gains."""
        return self.response[np.arange(lag - before, lag + after) % self.response.size] / float(self.kernel[0])

    def taps(self) -> tuple[list[Tap], Array]:
        """Taps, the largest first, and what they leave of the response (over the lags EARLIEST_S to LATEST_S)."""
        size, rate_hz = self.response.size, self.sample_rate_hz
        first, last = -min(round(EARLIEST_S * rate_hz), size // 2 - 1), min(round(LATEST_S * rate_hz), size // 2)
        lags = np.arange(first, last)
        rest: Array = self.response[lags % size] / float(self.kernel[0])
        kernel: Array = self.kernel[np.arange(first - last, last - first) % size] / float(self.kernel[0])
        taps: list[Tap] = []
        for _ in range(MOST_TAPS):
            at = int(np.argmax(np.abs(rest)))
            gain = float(rest[at])
            if abs(gain) < max(LEAST_OVER_NOISE * self.noise, LEAST_OF_LARGEST * abs(taps[0].gain) if taps else 0.0):
                break
            taps.append(Tap(first + at + vertex(rest, at), gain))
            rest -= gain * kernel[last - first - at : 2 * (last - first) - at]
        return taps, rest


def deconvolve(dry: npt.ArrayLike, wet: npt.ArrayLike, sample_rate_hz: float) -> Deconvolution:
    """Estimate the impulse response between two recordings of one start.

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
        Lengths may differ.
    sample_rate_hz : float
        Of both.

    Raises
    ------
    AudioError
        If one is of another shape, empty or not finite.
    """
    from scipy.fft import irfft, next_fast_len, rfft

    x, y = one_channel(dry, "dry recording"), one_channel(wet, "wet recording")
    size = next_fast_len(x.size + y.size, real=True)
    spectrum = rfft(x, size)
    power = np.square(np.abs(spectrum))
    weight = 1.0 / (power + db_to_gain(REGULARISATION_DB) ** 2 * np.mean(power) + 1e-300)
    response = irfft(weight * np.conj(spectrum) * rfft(y, size), size)  # (1)
    kernel = irfft(weight * power, size)
    noise = MAD_TO_DEVIATION * float(np.median(np.abs(response))) / float(kernel[0]) if kernel[0] > 0.0 else 0.0
    return Deconvolution(response, kernel, sample_rate_hz, max(noise, 1e-12))


def vertex(values: Array, at: int) -> float:
    """Where the parabola through a peak and its neighbours has its top, -1/2 to 1/2 from it; 0 at an end."""
    if not 0 < at < values.size - 1:
        return 0.0
    before, top, after = (float(v) for v in values[at - 1 : at + 2])
    bend = before - 2.0 * top + after
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend != 0.0 else 0.0
