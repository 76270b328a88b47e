"""What to do with cables when a box is gone: round it, or its lane out of the mixer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from chainsim.listen.sheets.wiring_sheet.cables import Cable, Cabling
from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, block_names
from chainsim.sketch.model import BlockEntry

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


def repair(box: str, entry: BlockEntry, chain: Chain, cabling: Cabling) -> Repair:
    """How the rest plays on without the box.

    A box that lets the sound through is gone round. One that gives nothing of it, or is silent while it is off, is a
    lane's voice: gone round, its lane would give the horn once more, so the lane is pulled out.
    """
    into = [c for c in cabling.cables if c.target.box == box and c.target.label == "in"]
    out = [c for c in cabling.cables if c.source.box == box and c.source.label == "out"]
    if not into or not out:
        return Repair("nothing", "it is in the chain of some patches only: leave these")
    only_its_own = getattr(entry.settings, "dry_db", 0.0) == -math.inf
    if (only_its_own or not entry.passes) and box in in_lanes(chain):
        last = _last_of_lane(out[0], cabling)
        return Repair("lane out", f"pull cable {last.number} ({last.target.text})")
    target = out[0].target
    end = target.box if target.label == "in" else target.text
    # The box made two sides of one: a single plug would leave one of them silent.
    splits = into[0].channels < out[0].channels
    where = f"split into both sides of {end}" if splits else f"into {end}"
    text = f"cable {into[0].number} past it, {where} in place of cable {out[0].number}"
    return Repair("round it", text, splits)


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
