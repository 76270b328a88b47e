"""What to do with cables when a box is gone: round it, or its lane out of the mixer."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from chainsim.listen.sheets.failure_sheet.horn_copies import copies, forks_round
from chainsim.listen.sheets.failure_sheet.without_box import dead, lane_pulled, patched_round
from chainsim.listen.sheets.wiring_sheet.cables import Cable, Cabling
from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, block_names
from chainsim.sketch.model import BlockEntry, State
from chainsim.units import Array

_LOUDER = 10.0**0.1
"""In power: 1 dB, about what is just heard."""
RepairKind = Literal["round it", "lane out", "nothing"]


@dataclass(frozen=True)
class Repair:
    """What to do, in words, with the numbers of the wiring sheet's cables.

    Attributes
    ----------
    kind : {"round it", "lane out", "nothing"}
    text : str
    splits : bool
        Whether it takes a cable that makes two plugs of one.
    """

    kind: RepairKind
    text: str
    splits: bool = False


def repair(
    box: str, states: Sequence[State], chain: Chain, cabling: Cabling, sounds: Callable[[State], bool]
) -> Repair:
    """How the rest plays on without the box.

    A box is gone round, but not where the horn comes by another lane already: it would come twice, and up to 6 dB
    louder, or cancel itself where the polarity is turned. There the lane is pulled out. So it is with a lane's voice,
    which gives nothing of the horn, and with a box that is silent while it is off, if that leaves no patch silent.

    Parameters
    ----------
    box : str
    states : sequence of State
        The patches, with the box on wherever it has a switch of its own.
    chain : Chain
        As it is plugged.
    cabling : Cabling
    sounds : callable
        Whether anything is heard in a state.
    """
    into = [c for c in cabling.cables if c.target.box == box and c.target.label == "in"]
    out = [c for c in cabling.cables if c.source.box == box and c.source.label == "out"]
    if not into or not out:
        return Repair("nothing", "it is in the chain of some patches only: leave these")
    if box in in_lanes(chain):
        voice = _is_a_voice(states[0].blocks[box]) and all(
            sounds(lane_pulled(state, box)) for state in states if sounds(state)
        )
        if voice or any(_does_harm(box, state) for state in states):
            last = _last_of_lane(out[0], cabling)
            return Repair("lane out", f"pull cable {last.number} ({last.target.text})")
    target = out[0].target
    end = target.box if target.label == "in" else target.text
    # The box made two sides of one: a single plug would leave one of them silent.
    splits = into[0].channels < out[0].channels
    where = f"split into both sides of {end}" if splits else f"into {end}"
    text = f"cable {into[0].number} past it, {where} in place of cable {out[0].number}"
    return Repair("round it", text, splits)


def repaired(state: State, box: str, todo: Repair) -> State:
    """A state after the repair."""
    return {"round it": patched_round, "lane out": lane_pulled, "nothing": dead}[todo.kind](state, box)


def horn_change_db(before: State, after: State, box: str) -> float:
    """How much louder the copies of the horn as it came get together, where the box stands beside others; else 0."""
    fork, changed = (next(forks_round(state.chain, box), None) for state in (before, after))
    if fork is None or changed is None:
        return 0.0
    was, now = copies(fork, before)[0], copies(changed, after)[0]
    return 10.0 * math.log10(float(now @ now) / float(was @ was)) if was.any() and now.any() else 0.0


def _does_harm(box: str, state: State) -> bool:
    """Whether the horn gets louder when the box is gone round, or less is left of it than without its lane."""
    round_it, pulled = patched_round(state, box), lane_pulled(state, box)
    for fork, without in zip(forks_round(state.chain, box), forks_round(pulled.chain, box), strict=True):
        counts = zip(copies(fork, state), copies(fork, round_it), copies(without, pulled), strict=True)
        for before, after, left in counts:
            louder, cancels = _power(after) > _LOUDER * _power(before), _LOUDER * _power(after) < _power(left)
            if left.any() and (louder or cancels):
                return True
    return False


def _power(gains: Array) -> float:
    return float(np.mean(gains**2))


def _is_a_voice(entry: BlockEntry) -> bool:
    return getattr(entry.settings, "dry_db", 0.0) == -math.inf or not entry.passes


def in_lanes(chain: Chain) -> frozenset[str]:
    """Blocks that stand beside others."""
    found: set[str] = set()
    for step in chain:
        if isinstance(step, BlenderStep):
            found |= set(block_names(step.wet))
        elif not isinstance(step, BlockStep) and len(step.lanes) > 1:
            found |= {name for lane in step.lanes for name in block_names(lane.chain)}
        elif not isinstance(step, BlockStep):
            found |= {name for lane in step.lanes for name in in_lanes(lane.chain)}
    return frozenset(found)


def _last_of_lane(cable: Cable, cabling: Cabling) -> Cable:
    """The cable at the end of a lane, where it comes into a mixer or back into a blender."""
    mixers = {mixer.name for mixer in cabling.mixers}
    while cable.target.box not in mixers and cable.target.label != "return":
        onward = [c for c in cabling.cables if c.source.box == cable.target.box and c.source.label.startswith("out")]
        if not onward:
            return cable
        cable = onward[0]
    return cable
