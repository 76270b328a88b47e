"""How far away the plain horn and silence are: the presses they take from the patch where that takes most."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from chainsim.sketch.model import Sketch
from chainsim.stage.board import Board
from chainsim.stage.cues import Cue
from chainsim.stage.reach import fewest_presses

Safety = Literal["the plain horn", "silence"]


@dataclass(frozen=True)
class Refuge:
    """The way to one of the two sounds that are always right.

    Attributes
    ----------
    sound : {"the plain horn", "silence"}
        Plain is "dry", or a patch in which nothing is on but what is always on.
    presses : int or None
        The most it takes; None where no switch leads there from some patch.
    patches : tuple of str
        From which it takes so many.
    gestures : tuple of str
        The way from the first of these.
    """

    sound: Safety
    presses: int | None
    patches: tuple[str, ...]
    gestures: tuple[str, ...]


def refuges(sketch: Sketch) -> tuple[Refuge, ...]:
    """The plain horn and silence, as far as they are away under one foot; nothing where there are no switches."""
    if not sketch.switches or not sketch.patches:
        return ()
    always_on = {n for n, b in sketch.base.blocks.items() if b.common.switching == "always_on"}
    plain = [Cue(0.0, "patch", name) for name, patch in sketch.patches.items() if patch.state.engaged <= always_on]
    return (
        _worst("the plain horn", [Cue(0.0, "dry"), *plain], sketch),
        _worst("silence", [Cue(0.0, "mute")], sketch),
    )


def _worst(sound: Safety, cues: list[Cue], sketch: Sketch) -> Refuge:
    ways = {name: _way(replace(sketch.board, first_patch=name), cues) for name in sketch.patches}
    most = None if None in ways.values() else max(len(way) for way in ways.values() if way is not None)
    worst = tuple(name for name, way in ways.items() if (way is None if most is None else way and len(way) == most))
    return Refuge(sound, most, worst, (ways[worst[0]] or ()) if worst else ())


def _way(under_foot: Board, cues: list[Cue]) -> tuple[str, ...] | None:
    """The shortest way from where the board begins to what one of the cues asks for.

    Where no switch does such a thing there is none, and most often one gesture is enough: that needs no search.
    """
    kinds = {action.kind for switch in under_foot.switches for action in switch.actions}
    cues = [cue for cue in cues if cue.kind == "patch" or cue.kind in kinds]
    begin = under_foot.start()
    wanted = {under_foot.apply(begin, cue).sound for cue in cues}
    if begin.sound in wanted:
        return ()
    for switch in under_foot.switches:
        if under_foot.press(begin, switch.name).sound in wanted:
            return (switch.name,)
        if under_foot.hold(begin, switch.name).sound in wanted:
            return (f"hold {switch.name}",)
    reaches = [fewest_presses(under_foot, [cue])[0].gestures for cue in cues]
    ways = [tuple(g.text for g in gestures) for gestures in reaches if gestures is not None]
    return min(ways, key=len, default=None)
