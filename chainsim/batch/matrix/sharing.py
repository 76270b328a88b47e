"""Which sounds of a take are rendered together: those whose chains begin alike, so many at a time."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from chainsim.batch.sounds.together import Sound, Task
from chainsim.sketch.chain import BlockStep, Step, block_names
from chainsim.sketch.model import State

MOST_TOGETHER, LEAST_TOGETHER = 24, 4
"""The one bounds the memory of a task, some 3 MB a stereo sound whatever its length, and what a killed run loses; under
the other little would be shared."""
ON_A_CLUSTER = 8
"""How many one worker makes together, since nobody knows how many workers there will be."""


def split_tasks(tasks: Sequence[Task], *, threads: int | None = None, scheduler: str | None = None) -> list[Task]:
    """Tasks of one take each, split so that every thread of this machine, or every worker of a cluster, has some."""
    most = ON_A_CLUSTER
    if scheduler is None:
        each = sum(len(task.sounds) for task in tasks) / (2 * (threads or os.cpu_count() or 1))
        most = min(max(math.ceil(each), LEAST_TOGETHER), MOST_TOGETHER)
    return [replace(task, sounds=group) for task in tasks for group in in_groups(task.sounds, most)]


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
