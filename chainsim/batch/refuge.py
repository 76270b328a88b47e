"""How far away the plain horn and silence are: the presses they take from the patch where that takes most."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from chainsim.sketch.model import Sketch
from chainsim.stage.board import Board
from chainsim.stage.cues import Cue
from chainsim.stage.reach import fewest_presses


@dataclass(frozen=True)
class Refuge:
    """The way to one of the two sounds that are always right.

    Attributes
    ----------
    sound : {"the plain horn", "silence"}
    presses : int or None
        The most it takes; None where no switch leads there from some patch.
    worst_patch : str
        Where it takes most.
    gestures : tuple of str
        The way from there.
    """

    sound: Literal["the plain horn", "silence"]
    presses: int | None
    worst_patch: str
    gestures: tuple[str, ...]


def refuges(sketch: Sketch) -> tuple[Refuge, ...]:
    """The plain horn and silence, as far as they are away under one foot; nothing where there are no switches."""
    if not sketch.switches or not sketch.patches:
        return ()
    under_foot = sketch.board
    dry, mute = Cue(0.0, "dry"), Cue(0.0, "mute")
    return _worst("the plain horn", dry, under_foot, sketch), _worst("silence", mute, under_foot, sketch)


def _worst(sound: Literal["the plain horn", "silence"], cue: Cue, under_foot: Board, sketch: Sketch) -> Refuge:
    def presses(way: Refuge) -> float:
        return float("inf") if way.presses is None else way.presses

    return max(_ways(sound, cue, under_foot, sketch), key=presses)


def _ways(sound: Literal["the plain horn", "silence"], cue: Cue, under_foot: Board, sketch: Sketch) -> Iterator[Refuge]:
    for name in sketch.patches:
        (reach,) = fewest_presses(replace(under_foot, first_patch=name), [cue])
        if reach.gestures is None:
            yield Refuge(sound, None, name, ())
        else:
            yield Refuge(sound, len(reach.gestures), name, tuple(g.text for g in reach.gestures))
