"""Attacks: found by their energy, and kept from being heard before their time in a frame that was changed.

A hop has 8 blocks. An attack is a block with far more energy than any during a period of the lowest
note before it, and begins with that block.
"""

from __future__ import annotations

import math

from chainsim.kernel import kernel
from chainsim.units import Array

LEAP = 6.0
"""An attack raises the energy to so many times the most that it was during a period of the lowest note."""

FLOOR = 1e-12
"""Energy of a block that counts as silence."""

SPARE = 2.0
"""Energy before an attack, relative to the horn's own at the time."""


@kernel
def leaps(energy: float, block: int, period_blocks: int, energies: Array) -> bool:
    """Whether the energy of this block tells of an attack; keep it."""
    size = energies.shape[0]
    most = FLOOR
    for j in range(1, period_blocks + 1):
        most = max(most, energies[(block - j) % size])
    energies[block % size] = energy
    return energy > LEAP * most


@kernel
def hold_back(ahead: int, hop: int, block: int, own: Array, frame: Array) -> None:
    """Let no more of a frame through than `own` has, until an attack `ahead` samples after its time.

    Both frames begin with the frame's time. A block may have as much as the loudest of the five around it that come
    before the attack, since a note's own ups and downs come at other times in a voice.
    """
    mask = own.shape[0] - 1
    before = 1.0
    for first in range(-hop, min(ahead, hop) - block + 1, block):
        have, most = 0.0, 0.0
        for j in range(first, first + block):
            have += frame[j & mask] * frame[j & mask]
        for begin in range(first - 2 * block, min(first + 2 * block, ahead - block) + 1, block):
            energy = 0.0
            for j in range(begin, begin + block):
                energy += own[j & mask] * own[j & mask]
            most = max(most, energy)
        gain = math.sqrt(SPARE * most / have) if have > SPARE * most else 1.0
        if first == -hop:
            before = gain
        for j in range(block):
            frame[(first + j) & mask] *= before + (gain - before) * (j / block)
        before = gain
