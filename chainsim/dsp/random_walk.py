"""A seeded random walk on a grid, the same wherever one steps in; and the grid's points in musical time.

    w[0] anywhere in its range,   w[k] = w[k-1] + s(k), turned back at the ends of it                    (1)

with s(k) one of -L ... -1, 1 ... L, each as likely, drawn by the grid point's number (`chainsim.dsp.hashed_noise`).
"""

from __future__ import annotations

import math

from chainsim.dsp.hashed_noise import hashed
from chainsim.kernel import kernel


@kernel
def walk_on(at: int, last: int, k: int, largest: int, reach: int, seed: int) -> int:
    """w[k] of equation (1), coming from w[last] = `at`; L is `largest`, the range -`reach` ... `reach`.

    From the start, `last` is -1, and `at` doesn't count.
    """
    for j in range(last + 1, k + 1):
        share = 0.5 * (hashed(seed, j) + 1.0)
        if j == 0:
            at = math.floor(share * (2 * reach + 1)) - reach
            continue
        drawn = math.floor(share * (2 * largest))
        at += drawn - largest if drawn < largest else drawn - largest + 1
        if at > reach:
            at = max(2 * reach - at, -reach)
        elif at < -reach:
            at = min(-2 * reach - at, reach)
    return at


@kernel
def grid_point(beat: float, every_beats: float, long_share: float) -> tuple[int, float, float]:
    """Number of the grid point at or before `beat`, where it lies, and where the next one does, in beats.

    Points come in pairs of twice `every_beats`, of which the first takes `long_share`; 0.5 is a straight grid.
    """
    pair = 2.0 * every_beats
    number = math.floor(beat / pair)
    begin = number * pair
    middle = begin + long_share * pair
    if beat < middle:
        return 2 * int(number), begin, middle
    return 2 * int(number) + 1, middle, (number + 1.0) * pair
