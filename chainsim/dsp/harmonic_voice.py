"""One period of a shifted tone: the horn's harmonics moved, its timbre left in place or taken along.

Harmonic m of the voice sounds at m R f0. Its strength is that of the horn's spectrum at harmonic

    q(m) = m R^phi,    phi = 1: the timbre stays where it is,  phi = 0: it moves along, as on a faster tape       (1)

read between harmonics; its phase is that of the horn's own m-th harmonic, so that the waveform keeps its shape and
never jumps from period to period, or, where that is too weak to have one, of the stronger one beside q. A horn that
lacks even harmonics (a closed cylinder) lacks them at any pitch: there the strength is read between harmonics of the
same parity. The voice has the power of the horn.

A drone takes strengths only. The horn's phases turn while it bends (marks lag behind a pitch that moves) and while its
timbre changes, and would bend the drone; so its harmonics have phases that never move,

    alpha(m) = c m^2                                                                                              (2)

with which it peaks as a horn does: on real takes 4.5 to 10.5 dB over its rms, the median of windows of 100 ms; sampled
horns 8.5 dB, harmonics in step 11 to 19 dB.

Source of (2): M. R. Schroeder, "Synthesis of low-peak-factor signals and binary sequences with low autocorrelation",
IEEE Trans. Information Theory 16 (1970), 85-89: c = pi / n for n equal harmonics.
"""

from __future__ import annotations

import math

from chainsim.kernel import kernel
from chainsim.units import Array

LOWER_DB_PER_OCTAVE = 6.0
"""How fast the spectrum falls below the horn's fundamental."""

OWN_SHARE = 0.01
"""Of its own strength a harmonic keeps so much wherever it moves: high notes are little but a fundamental, and
what lies an octave above it is breath."""

NEAR_SHARE = 0.1
"""Of the stronger neighbour of q in what gives the phase: it decides where the own one is 20 dB weaker."""

DEEP_FROM, DEEP_TO = 0.45, 0.3
"""Ratios from which a voice counts as far below, and where it counts in full."""

DISPERSION = math.pi / 48.0
"""c of equation (2)."""

MOST_GAIN = 100.0
"""By which a voice is raised at most to have the horn's power."""

PARITY_FROM_DB, PARITY_TO_DB = 3.0, 7.0
"""Odd over even harmonics (or the reverse) from which parity counts, and from which it alone does."""

PARITY_HARMONICS = 9
"""How many harmonics are asked for that, from the first one."""

PARITY_FLOOR = 0.003
"""Of the strongest of them: what is weaker may be breath, whose strengths are chance."""


@kernel
def parity_share(strength: Array, count: int) -> float:
    """How much of the strengths (count + 1,) is to be read between harmonics of one parity, 0 to 1.

    It is decided by how far even harmonics stand out from both of their neighbours: a slope is no parity.
    """
    asked, floor = min(count, PARITY_HARMONICS), 1e-12
    for k in range(1, asked + 1):
        floor = max(floor, PARITY_FLOOR * strength[k])
    over, pairs = 1.0, 0
    for k in range(2, asked, 2):
        below, here, above = max(strength[k - 1], floor), max(strength[k], floor), max(strength[k + 1], floor)
        inside = min(max(here, min(below, above)), max(below, above))
        over *= (inside / here) ** 2
        pairs += 1
    if pairs == 0:
        return 0.0
    apart_db = abs(10.0 * math.log10(over)) / pairs
    return min(max((apart_db - PARITY_FROM_DB) / (PARITY_TO_DB - PARITY_FROM_DB), 0.0), 1.0)


@kernel
def strength_between(strength: Array, count: int, q: float, m: int, parity: float) -> float:
    """Strength (count + 1,) at harmonic q, which is the voice's m-th."""
    if q >= count:
        return 0.0
    if q <= 1.0:
        lower = q ** (LOWER_DB_PER_OCTAVE / 6.0206)
        alike = strength[1] if m % 2 == 1 or count < 2 else strength[2]
        return float(lower * ((1.0 - parity) * strength[1] + parity * alike))
    k = int(q)
    share = q - k
    plain = strength[k] + share * (strength[k + 1] - strength[k])
    if parity == 0.0:
        return float(plain)
    low = k if (k - m) % 2 == 0 else k - 1
    high = low + 2
    if low < 1:
        return float((1.0 - parity) * plain + parity * strength[high if high <= count else 1])
    if high > count:
        return float((1.0 - parity) * plain + parity * strength[low])
    alike = strength[low] + 0.5 * (q - low) * (strength[high] - strength[low])
    return float((1.0 - parity) * plain + parity * alike)


@kernel
def dispersion(ratio: float) -> float:
    """Curve c of equation (2) for a voice that follows the horn: far below, its harmonics in step would peak."""
    return DISPERSION * min(max((DEEP_FROM - ratio) / (DEEP_FROM - DEEP_TO), 0.0), 1.0)


@kernel
def move_strengths(
    strength: Array, count: int, parity: float, power: float, spacing: float, most: int, moved: Array
) -> None:
    """Fill moved[: most + 1] with the strengths of a voice's harmonics by equation (1).

    Parameters
    ----------
    strength : ndarray, shape (count + 1,)
        Of the horn's harmonics.
    parity : float
        From `parity_share`.
    power : float
        Sum of the squares of `strength`, and what that of `moved` becomes.
    spacing : float
        R^phi of equation (1).
    most : int
        Harmonics of the voice that are to sound.
    """
    sum_of_squares = 0.0
    moved[0] = 0.0
    for m in range(1, most + 1):
        value = strength_between(strength, count, m * spacing, m, parity)
        if m <= count:
            value = max(value, OWN_SHARE * strength[m])
        moved[m] = value
        sum_of_squares += value * value
    if sum_of_squares > 0.0:
        gain = min(math.sqrt(power / sum_of_squares), MOST_GAIN)
        for m in range(1, most + 1):
            moved[m] *= gain


@kernel
def lend_phases(
    re: Array, im: Array, strength: Array, count: int, spacing: float, most: int, voice_re: Array, voice_im: Array
) -> None:
    """Give the harmonics voice_re[: most + 1], which hold strengths, phases from the horn's re, im[: count + 1]."""
    voice_im[0] = 0.0
    for m in range(1, most + 1):
        k = m if m <= count else 1 + (m - 1) % count
        near = min(max(math.floor(m * spacing), 1), count)
        above = m * spacing - near
        if near < count and above * strength[near + 1] > (1.0 - above) * strength[near]:
            near += 1
        x, y = re[k] + NEAR_SHARE * re[near], im[k] + NEAR_SHARE * im[near]
        length = math.sqrt(x * x + y * y)
        scale = voice_re[m] / length if length > 1e-15 else 0.0
        voice_re[m], voice_im[m] = scale * x, scale * y


@kernel
def disperse(re: Array, im: Array, most: int, curve: float) -> None:
    """Turn the harmonics re, im[: most + 1] by equation (2), c = curve, from each to the next."""
    x, y = 1.0, 0.0
    step_x, step_y = math.cos(curve), math.sin(curve)
    more_x, more_y = math.cos(2.0 * curve), math.sin(2.0 * curve)
    for m in range(1, most + 1):
        x, y = x * step_x - y * step_y, x * step_y + y * step_x
        step_x, step_y = step_x * more_x - step_y * more_y, step_x * more_y + step_y * more_x
        re[m], im[m] = re[m] * x - im[m] * y, re[m] * y + im[m] * x
