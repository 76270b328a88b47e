"""Distance of two sounds in steps, by what is kept of them; 1 is just audible.

For every block of time, d[b] the mean distance in dB of the levels in band b:

    D = ( mean over b of d[b]^4 )^(1/4) / limen                                                                (1)

and each term is the largest D of any block and channel, so that a change in a short passage is not thinned by the rest.
The fourth power stands between an ear that goes by the most different band alone, 1 dB of excitation anywhere [1]_, and
one that gathers evidence from all [2]_: it takes 1 dB in all of 23 bands for a step, or 2.2 dB in one.

Every term is a norm of a difference, and so is the largest of them: the distance is symmetric and keeps the triangle
inequality.

References
----------
.. [1] E. Zwicker, H. Fastl, Psychoacoustics: Facts and Models, 1999, chapter 7: just-noticeable changes, from memory.
.. [2] M. Florentine, S. Buus, "An excitation-pattern model for intensity discrimination", J. Acoust. Soc. Am. 70, 1981,
   1646-1654, from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.kernel import kernel
from chainsim.measure.sound_distance.features import SoundFeatures
from chainsim.measure.sound_distance.layout import FRAMES_AT_ONCE, Layout, layout_of
from chainsim.units import Array, Counts


@kernel
def step_of_block(u: Array, v: Array, bands: int, sums: Array) -> float:
    """Equation (1) before the limen, for levels u, v (frames x bands,) of one block; sums is scratch."""
    wide = sums[: FRAMES_AT_ONCE * bands]
    for b in range(wide.shape[0]):
        wide[b] = 0.0
    first = 0
    while first + wide.shape[0] <= u.shape[0]:
        p, q = u[first : first + wide.shape[0]], v[first : first + wide.shape[0]]
        for b in range(wide.shape[0]):
            wide[b] += abs(p[b] - q[b])
        first += wide.shape[0]
    for b in range(u.shape[0] - first):
        wide[b] += abs(u[first + b] - v[first + b])
    fourth, share = 0.0, bands / u.shape[0]
    for b in range(bands):
        d = 0.0
        for m in range(FRAMES_AT_ONCE):
            d += wide[m * bands + b]
        d *= share
        fourth += (d * d) * (d * d)
    return math.sqrt(math.sqrt(fourth / bands))


@kernel
def steps_between(x: Array, y: Array, sections: Counts, limens: Array, sums: Array, steps: Array) -> None:
    """Fill steps (terms,) with the terms of equation (1) for two rows of levels x, y (values,).

    sections (count, 5): where each begins, its frames, bands and blocks, and its term; limens (count,) in dB; sums
    is scratch.
    """
    for t in range(steps.shape[0]):
        steps[t] = 0.0
    for s in range(sections.shape[0]):
        start, frames, bands = sections[s, 0], sections[s, 1], sections[s, 2]
        blocks, term = sections[s, 3], sections[s, 4]
        last = start
        for k in range(blocks):
            first, last = last, start + (k + 1) * frames // blocks * bands
            step = step_of_block(x[first:last], y[first:last], bands, sums) / limens[s]
            steps[term] = max(steps[term], step)


@dataclass(frozen=True)
class SoundDistance:
    """In steps: 1 is just audible.

    Attributes
    ----------
    total : float
        The largest of the others.
    spectrum : float
        Of what sounds while the take plays: colour, pitch, dynamics, short events, width.
    modulation : float
        Of how deep and how fast it sways, whatever the phase.
    tail : float
        Of what rings on after the take.
    """

    total: float
    spectrum: float
    modulation: float
    tail: float


def sound_distance(a: SoundFeatures, b: SoundFeatures) -> SoundDistance:
    """How far two sounds of one take are apart.

    Raises
    ------
    AudioError
        If they are of different takes: other sample rates or lengths.
    """
    layout = layout_of(a, max(a.channels, b.channels))
    steps = np.empty(Layout.TERMS)
    steps_between(layout.row(a), layout.row(b), layout.sections, layout.limens, layout.scratch(), steps)
    spectrum, modulation, tail = (float(step) for step in steps)
    return SoundDistance(total=max(spectrum, modulation, tail), spectrum=spectrum, modulation=modulation, tail=tail)
