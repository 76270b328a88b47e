"""What stands on the if-it-fails sheet: box by box, what each patch is without it, and what to do.

A box fails in one of two ways: it gives nothing while it is on, or a cable is put round it. That a box which is off is
out of the way even without its supply is taken for granted, and what becomes of the patches if it is not, is told, too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from chainsim.listen.sheets.failure_sheet.outcomes import Outcome, Outcomes
from chainsim.listen.sheets.failure_sheet.repairs import Repair, horn_change_db, repair, repaired
from chainsim.listen.sheets.failure_sheet.ways_out import WayOut, WaysOut
from chainsim.listen.sheets.failure_sheet.without_box import dead, dead_when_off
from chainsim.listen.sheets.wiring_sheet.cables import Cabling
from chainsim.listen.sheets.wiring_sheet.links import NO_BOX
from chainsim.listen.sheets.wiring_sheet.sheet import entries_of, wiring_sheet
from chainsim.sketch.model import BlockEntry, Sketch, State
from chainsim.stage.actions import Action
from chainsim.stage.board import Board, Position, Sound

AS_WRITTEN = "as written"
CAUTIONS = (
    "A box that smells, is hot or crackles: its supply out of the wall first. Never open it on stage.",
    "Fader down before a cable is pulled or plugged. Phantom supply off before a microphone line is moved.",
)


@dataclass(frozen=True)
class PatchWithout:
    """One patch without one box.

    Attributes
    ----------
    patch : str
    dead : Outcome
        When the box gives nothing.
    repaired : Outcome
        After the repair.
    way_out : WayOut or None
        For a patch that has gone silent.
    horn_change_db : float
        After the repair, of the horn as it came, where the box stands beside others.
    louder_by_lu : float or None
        When the box gives nothing, if it was measured.
    """

    patch: str
    dead: Outcome
    repaired: Outcome
    way_out: WayOut | None
    horn_change_db: float = 0.0
    louder_by_lu: float | None = None


@dataclass(frozen=True)
class BoxFailure:
    """What becomes of everything when one box is gone.

    Attributes
    ----------
    box, type_name : str
    patches : tuple of PatchWithout
    silent_even_off : tuple of str
        Patches that are silent if the box lets nothing through even when it is off.
    repair : Repair
    own_switch : bool
        Whether it has a switch of its own: then all this is told of when it is on.
    """

    box: str
    type_name: str
    patches: tuple[PatchWithout, ...]
    silent_even_off: tuple[str, ...]
    repair: Repair
    own_switch: bool

    @property
    def silent(self) -> tuple[str, ...]:
        """Patches in which nothing is heard."""
        return tuple(p.patch for p in self.patches if p.dead.kind == "silent")

    @property
    def hangs_on_its_bypass(self) -> bool:
        """Whether more is silent, or a way out is lost, if it lets nothing through when it is off."""
        return len(self.silent_even_off) > (0 if self.own_switch else len(self.silent))

    @property
    def changed(self) -> tuple[str, ...]:
        """Patches that live on, otherwise than before."""
        return tuple(p.patch for p in self.patches if p.dead.kind == "lives on")


@dataclass(frozen=True)
class FailureSheet:
    """What stands on the sheet.

    Attributes
    ----------
    title : str
    room : str or None
    patches : tuple of str
    board : Board
    boxes : tuple of BoxFailure
        Those first that silence most patches.
    cabling : Cabling
        Of the wiring sheet, whose cables the repairs name.
    cautions : tuple of str
    """

    title: str
    room: str | None
    patches: tuple[str, ...]
    board: Board
    boxes: tuple[BoxFailure, ...]
    cabling: Cabling
    cautions: tuple[str, ...] = CAUTIONS

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for programs."""
        return {name: value for name, value in asdict(self).items() if name not in ("board", "cabling")}

    def with_levels(self, louder_by_lu: Mapping[tuple[str, str], float]) -> FailureSheet:
        """With how much louder (below 0: quieter) patches get, by (box, patch)."""
        boxes = tuple(
            replace(
                one,
                patches=tuple(replace(p, louder_by_lu=louder_by_lu.get((one.box, p.patch))) for p in one.patches),
            )
            for one in self.boxes
        )
        return replace(self, boxes=boxes)


def failure_sheet(sketch: Sketch, *, channels: int = 1) -> FailureSheet:
    """Find what is left of every patch when one box is gone.

    Parameters
    ----------
    sketch : Sketch
        As it is set in its room, if it is in one.
    channels : int
        Of the microphone: 1, or 2.
    """
    cabling = wiring_sheet(sketch, channels=channels).cabling
    entries = entries_of(sketch)
    search = _Search(sketch, cabling)
    boxes = [search.failure(name, known[0]) for name, known in entries.items() if known[0].type_name != NO_BOX]
    return FailureSheet(
        title=sketch.title,
        room=sketch.room,
        patches=tuple(played_states(sketch)),
        board=sketch.board,
        boxes=tuple(sorted(boxes, key=lambda one: (-len(one.silent), -len(one.changed)))),
        cabling=cabling,
    )


def played_states(sketch: Sketch) -> dict[str, State]:
    """The patches, or the sketch as written where it has none."""
    return {name: patch.state for name, patch in sketch.patches.items()} or {AS_WRITTEN: sketch.base}


class _Search:
    """Goes through boxes and patches."""

    def __init__(self, sketch: Sketch, cabling: Cabling) -> None:
        self._sketch, self._cabling = sketch, cabling
        self._outcomes, self._ways = Outcomes(sketch.controllers), WaysOut(sketch)
        self._starts = {name: replace(sketch.board, first_patch=name).start() for name in sketch.patches}
        self._starts = self._starts or {AS_WRITTEN: sketch.board.start()}
        self._own = sketch.own_switches

    def failure(self, box: str, entry: BlockEntry) -> BoxFailure:
        """What becomes of all patches when one box is gone."""
        known: tuple[dict[Sound, bool], dict[Sound, bool]] = ({}, {})
        starts = {name: self._with_it_on(position, box) for name, position in self._starts.items()}
        states = {name: self._ways.state(position) for name, position in starts.items()}
        having = [state for state in states.values() if box in state.blocks]
        todo = repair(box, having, self._sketch.base.chain, self._cabling, self._outcomes.sounds)
        patches = tuple(self._patch(name, position, box, todo, known) for name, position in starts.items())
        silent_even_off = tuple(n for n, s in states.items() if not self._outcomes.sounds(dead_when_off(s, box)))
        return BoxFailure(box, entry.type_name, patches, silent_even_off, todo, box in self._own)

    def _with_it_on(self, position: Position, box: str) -> Position:
        board = self._sketch.board
        if box not in self._own or board.is_on(position, box):
            return position
        return board.do(position, Action("block", box))

    def _patch(
        self, name: str, position: Position, box: str, todo: Repair, known: tuple[dict[Sound, bool], dict[Sound, bool]]
    ) -> PatchWithout:
        state, outcomes = self._ways.state(position), self._outcomes
        broken = outcomes.compare(state, dead(state, box))
        after = repaired(state, box, todo)
        way = None
        if broken.kind == "silent":
            with_horn, any_sound = known
            way = self._ways.nearest(position, lambda s: outcomes.holds_the_horn(dead(s, box)), with_horn)
            if way is None:
                way = self._ways.nearest(position, lambda s: outcomes.sounds(dead(s, box)), any_sound)
                way = way and replace(way, with_the_horn=False)
        return PatchWithout(name, broken, outcomes.compare(state, after), way, horn_change_db(state, after, box))
