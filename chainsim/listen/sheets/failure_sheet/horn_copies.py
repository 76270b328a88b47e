"""How many times the same horn comes out of a fork, as a gain: copies that would add up.

Two counts are kept. The straight one is of copies as they came, by gates, levels and dry paths. The whole one takes
what shapes the sound for a copy, too: it is not one, but as loud. Both are signed gains of left and right.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from chainsim.block import block_type
from chainsim.sketch.chain import INPUT, BlenderStep, BlockStep, Chain, LanesStep, Step, block_names
from chainsim.sketch.model import BlockEntry, State
from chainsim.units import Array, db_to_gain

_AS_IT_CAME = frozenset({"gain", "limiter", "noise_gate", "pan", "radio_link"})
"""Kinds that let the horn through as it came, but for its level."""


def forks_round(chain: Chain, box: str) -> Iterator[Step]:
    """The forks in a lane of which a box stands, the outermost first."""
    for step in chain:
        inside = () if isinstance(step, BlockStep) else (step.wet,) if isinstance(step, BlenderStep) else step.lanes
        for lane in inside:
            held = lane if isinstance(lane, tuple) else lane.chain
            if box in set(block_names(held)):
                yield step
                yield from forks_round(held, box)


def copies(step: Step, state: State) -> Array:
    """What comes out of a step for each horn that comes in.

    Returns
    -------
    ndarray, shape (2, 2)
        Rows: the straight count and the whole one; columns: left, right.
    """
    if isinstance(step, BlockStep):
        return _block(state.blocks[step.name], state)
    if isinstance(step, LanesStep):
        lanes = (db_to_gain(lane.level_db) * _panned(lane.pan) * _series(lane.chain, state) for lane in step.lanes)
        return sum(lanes, np.zeros((2, 2)))
    entry = state.blocks[step.name]
    if not entry.common.engaged:
        return np.ones((2, 2))
    sign = -1.0 if getattr(entry.settings, "flip_wet", False) else 1.0
    wet = sign * _gain(entry, "wet_db", state) * _series(step.wet, state)
    return _gain(entry, "dry_db", state) + wet if entry.type_name == "blender" else np.zeros((2, 2))


def _series(chain: Chain, state: State) -> Array:
    product = np.ones((2, 2))
    for step in chain:
        product = product * copies(step, state)
    return product


def _block(entry: BlockEntry, state: State) -> Array:
    if not entry.common.engaged:
        return np.full((2, 2), 1.0 if entry.passes else 0.0)
    if block_type(entry.type_name).generates:
        return np.zeros((2, 2))
    level = _gain(entry, "gain_db", state) * _panned(getattr(entry.settings, "pan", None))
    if entry.type_name in _AS_IT_CAME:
        # One that listens elsewhere may be shut while the horn plays.
        elsewhere = block_type(entry.type_name).has_detector and entry.common.listens_to not in (None, INPUT)
        return np.stack([0.0 * level if elsewhere else level, level])
    # What has no dry path has the horn in its sound, but no copy of it.
    dry = _gain(entry, "dry_db", state) if hasattr(entry.settings, "dry_db") else 0.0
    return np.stack([dry * level, (dry + _gain(entry, "wet_db", state)) * level])


def _gain(entry: BlockEntry, setting: str, state: State) -> float:
    """Of a level, 1 where a block has none; of a driven one the most."""
    _, drive = state.drives.get((entry.name, setting), (None, None))
    level_db = getattr(entry.settings, setting, 0.0) if drive is None else max(drive.low, drive.high)
    return db_to_gain(level_db)


def _panned(pan: float | None) -> Array:
    """Left and right, by the law of the pan block."""
    theta = ((pan or 0.0) + 1.0) * math.pi / 4.0
    return math.sqrt(2.0) * np.array([math.cos(theta), math.sin(theta)])
