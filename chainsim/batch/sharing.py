"""Which sounds of a take are rendered together: those whose chains begin alike, so many at a time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from chainsim.batch.together import Sound
from chainsim.sketch.chain import BlockStep, Step, block_names
from chainsim.sketch.model import State

MOST_TOGETHER = 24
"""Bounds the memory of a task, and what a killed run loses."""


def in_groups(sounds: Sequence[Sound], most: int = MOST_TOGETHER) -> list[tuple[Sound, ...]]:
    """Sounds of one take in groups of at most `most`, those with the longest common beginnings side by side."""
    ordered = sorted(sounds, key=lambda sound: beginning(sound.sketch.base))
    count = math.ceil(len(ordered) / most)
    cuts = [round(i * len(ordered) / count) for i in range(count + 1)] if count else [0]
    return [tuple(ordered[a:b]) for a, b in pairwise(cuts)]


def beginning(state: State) -> list[str]:
    """The steps of a chain, each spelled with all that its blocks are set to: equal ones sort beside each other."""
    engaged = state.engaged
    return [_spelled(step, state) for step in state.chain if not isinstance(step, BlockStep) or step.name in engaged]


def _spelled(step: Step, state: State) -> str:
    names = list(block_names((step,)))
    drives = [drive for place, drive in sorted(state.drives.items()) if place[0] in names]
    return repr((step, [state.blocks[name] for name in names], drives))
