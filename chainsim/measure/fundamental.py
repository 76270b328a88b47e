"""The fundamental of a sound whose pitch is roughly known: offline, from what lies before and after each moment.

For a window w of whole periods about the moment t, at the harmonics k of the pitch f that is assumed so far,

    X_k = sum_n x[n] w(n/fs - t) exp(-2 pi i k f n/fs),   D_k: the same with w', the window's slope             (1)
    f_k = k f - Im(D_k / X_k) / (2 pi)                                                                          (2)
    f   = sum_k s_k k f_k / sum_k s_k k^2,   s_k = max(|X_k|^2 - N_k, 0) / N_k                                  (3)

(2) is the reassigned frequency: exact for a sine wherever in the main lobe it is looked at, and for the middle of a
glide. (3) is least squares with each harmonic weighed by its signal-to-noise ratio; N_k, the power half-way to the next
harmonics, is the noise there: a Hann window of an even number of periods is blind to the harmonics at these places. So,
repeated until f is the pitch, what the harmonics leak into each other vanishes.

The first rounds use a short window and low harmonics, which reach far; the last ones the whole window and all of them.

Source: F. Auger, P. Flandrin, "Improving the readability of time-frequency and time-scale representations by the
reassignment method", IEEE Trans. Signal Processing 43(5), 1995, 1068-1089, equation (22).
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.kernel import kernel
from chainsim.measure.signals import check_rate, one_channel
from chainsim.units import Array

WINDOW_S = 0.025
LEAST_PERIODS = 4
"""So that the places half-way between the harmonics are zeros of the Hann window's spectrum."""

REACH_CENTS = 100.0
"""How far from where it was expected a pitch may be found."""

HIGHEST_HARMONIC = 16
HIGHEST_JUDGED = 8
"""So many tell whether it is this pitch that sounds."""
TOP_HZ, TOP_OF_RATE = 8000.0, 0.45
"""Higher up there is hardly more than breath."""

ROUNDS_CENTS = (100.0, 60.0, 20.0, 5.0, 1.0)
"""How far the pitch assumed in each round may still be off: it limits the harmonics that can be told apart."""
SHORT_ROUNDS = 3
"""Of these, how many use the short window."""

LEAST_TONE = 4.0
"""With less power of the harmonics, relative to what lies between them, there is no tone of that pitch."""
LEAST_OWN = 10.0**-2.5
"""With a smaller share of it in harmonics that a pitch two or three times as high does not have, that one sounds."""

Spectrum: TypeAlias = npt.NDArray[np.complex128]

_LOG_CENT = math.log(2.0) / 1200.0


def fundamental_hz(
    sound: npt.ArrayLike,
    sample_rate_hz: float,
    time_s: npt.ArrayLike,
    near_hz: npt.ArrayLike,
    window_s: npt.ArrayLike = WINDOW_S,
) -> Array:
    """Fundamental at given moments of a sound, found near an expected pitch.

    Parameters
    ----------
    sound : ndarray, shape (frames,)
    sample_rate_hz : float
    time_s : ndarray, shape (moments,)
        Where to measure, in seconds from the first sample; silence lies outside the sound.
    near_hz : ndarray, shape (moments,), or float
        The pitch that is expected there, right to about `REACH_CENTS`; no moment is measured where it is not above 0.
    window_s : ndarray, shape (moments,), or float
        Length of the window, to be rounded to an even number of periods, at least `LEAST_PERIODS`. To compare two
        sounds, give both the same, one that is long enough for the lower: a window averages vibrato.

    Returns
    -------
    ndarray, shape (moments,)
        In Hz; NaN where no tone within `REACH_CENTS` stands out from what lies between its harmonics, or the tone that
        sounds is a simple multiple of what was expected.

    Raises
    ------
    AudioError
        If the sound is not one channel of finite samples, or times, pitches and windows do not fit together.
    """
    check_rate(sample_rate_hz, "fundamental")
    x = one_channel(sound, "fundamental")
    times = np.asarray(time_s, dtype=np.float64)
    try:
        expected, windows = (np.broadcast_to(np.asarray(v, np.float64), times.shape) for v in (near_hz, window_s))
    except ValueError as error:
        raise AudioError(f"fundamental: one pitch and one window a moment are needed: {error}") from error
    if times.ndim != 1 or not (np.isfinite(times).all() and np.isfinite(windows).all()):
        raise AudioError("fundamental: times and windows are to be finite, one value a moment")
    top_hz = min(TOP_HZ, TOP_OF_RATE * sample_rate_hz)
    found = np.full(times.shape, np.nan)
    for i in np.flatnonzero((expected > 0.0) & (expected < top_hz)).tolist():
        found[i] = _refined_hz(x, sample_rate_hz, float(times[i]), float(expected[i]), float(windows[i]), top_hz)
    return found


def _refined_hz(x: Array, rate_hz: float, at_s: float, near_hz: float, window_s: float, top_hz: float) -> float:
    """Pitch of one moment, or NaN."""
    f_hz, periods, harmonics = near_hz, LEAST_PERIODS, 1
    for number, doubt_cents in enumerate(ROUNDS_CENTS):
        least_s = 0.0 if number < SHORT_ROUNDS else window_s
        periods = max(2 * round(0.5 * least_s * f_hz), LEAST_PERIODS)
        # A harmonic is known while it lies within half the main lobe (two bins of f / periods) of where it is assumed.
        resolved = 1.0 / (periods * doubt_cents * _LOG_CENT)
        harmonics = max(1, min(int(resolved), int(top_hz / f_hz), HIGHEST_HARMONIC))
        f_hz = _better_hz(f_hz, *_spectra(x, rate_hz, at_s, f_hz, periods, harmonics, 2))
        if not abs(math.log(f_hz / near_hz)) <= 2.0 * REACH_CENTS * _LOG_CENT:
            return math.nan
    if abs(math.log(f_hz / near_hz)) > REACH_CENTS * _LOG_CENT:
        return math.nan
    judged = min(harmonics, HIGHEST_JUDGED)
    sounds = all(_is_tone(_spectra(x, rate_hz, at_s, f_hz, periods, judged, parts)[0], parts) for parts in (2, 3))
    return f_hz if sounds else math.nan


def _spectra(
    x: Array, rate_hz: float, at_s: float, f_hz: float, periods: int, harmonics: int, parts: int
) -> tuple[Spectrum, Spectrum]:
    """X and D of equation (1) at multiples of f / parts, from the first one to the last before harmonic + 1."""
    length_s = periods / f_hz
    first = math.ceil((at_s - 0.5 * length_s) * rate_hz)
    last = math.floor((at_s + 0.5 * length_s) * rate_hz)
    heard = np.zeros(last + 1 - first)
    begin, end = max(first, 0), min(last + 1, x.size)
    if begin < end:
        heard[begin - first : end - first] = x[begin:end]
    multiples_hz = np.append(1.0 / length_s, -f_hz / parts * np.arange(1, parts * (harmonics + 1)))
    turned = np.exp(2j * math.pi * (first / rate_hz - at_s) * multiples_hz)
    steps = np.exp(2j * math.pi / rate_hz * multiples_hz)
    sums = np.zeros((4, multiples_hz.size))
    add_turned(heard, steps.real.copy(), steps.imag.copy(), turned.real.copy(), turned.imag.copy(), sums)
    values, slopes = sums[:2, 1:], (-math.pi / length_s) * sums[2:, 1:]
    return values[0] + 1j * values[1], slopes[0] + 1j * slopes[1]


@kernel
def add_turned(heard: Array, a: Array, b: Array, re: Array, im: Array, sums: Array) -> None:
    """Sum up a sound times Hann's window, and times its slope, in turned axes: equation (1).

    From sample to sample axis k turns by a[k] + i b[k] from re[k] + i im[k], which stand at the end where the next
    sample would be; the first is the window's own. Rows of `sums`: real, imaginary part; those with the slope.
    """
    for n in range(heard.shape[0]):
        with_window, with_slope = heard[n] * (0.5 + 0.5 * re[0]), heard[n] * im[0]
        for k in range(re.shape[0]):
            sums[0, k] += with_window * re[k]
            sums[1, k] += with_window * im[k]
            sums[2, k] += with_slope * re[k]
            sums[3, k] += with_slope * im[k]
            turned = re[k] * a[k] - im[k] * b[k]
            im[k] = re[k] * b[k] + im[k] * a[k]
            re[k] = turned


def _better_hz(f_hz: float, values: Spectrum, slopes: Spectrum) -> float:
    """Equations (2) and (3) at multiples of f / 2; NaN where nothing stands out."""
    between = np.abs(values[0::2]) ** 2
    noise = 0.5 * (between[:-1] + between[1:])
    values, slopes = values[1::2], slopes[1::2]
    power = np.abs(values) ** 2
    # Rounding counts as noise of -240 dB, so that a pure tone's weights stay finite.
    weights = np.maximum(power - noise, 0.0) / (noise + 1e-24 * float(np.sum(power)) + 1e-300)
    k = np.arange(1, values.size + 1)
    total = float(np.sum(weights * k**2))
    if total == 0.0:
        return math.nan
    offsets = np.zeros(values.size)
    sounding = weights > 0.0
    offsets[sounding] = (slopes[sounding] / values[sounding]).imag / (2.0 * math.pi)  # (2)
    better_hz = f_hz - float(np.sum(weights * k * offsets)) / total  # (3)
    return better_hz if better_hz > 0.0 else math.nan


def _is_tone(values: Spectrum, parts: int) -> bool:
    """Whether multiples of f stand out over those of f / parts, and among them not only those of parts f."""
    power = np.abs(values) ** 2
    at = np.arange(1, power.size + 1)
    own = power[at % parts == 0]
    between = float(np.sum(power[at % parts != 0])) / (parts - 1) * own.size / (own.size + 1)
    tone = float(np.sum(own))
    clear = np.maximum(own - between / own.size, 0.0)
    k = np.arange(1, own.size + 1)
    return tone > LEAST_TONE * between and float(np.sum(clear[k % parts != 0])) >= LEAST_OWN * tone
