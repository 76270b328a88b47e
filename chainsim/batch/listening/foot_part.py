"""What of a set's course falls into a part of the take: where the board stands at its beginning, and the cues in it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from chainsim.batch.listening.excerpt import Excerpt
from chainsim.sketch.course import Moment
from chainsim.sketch.model import Sketch
from chainsim.sketch.timeline import moments
from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue


@dataclass(frozen=True)
class SetPart:
    """A part of a set's course.

    Attributes
    ----------
    start : Position
        Where the cues before the part have brought the board.
    start_quarters : float
        From the first beat to the beginning of the part.
    tapped : bool
        Whether a tapped tempo may hold there, or anywhere in the set by taps that are written down.
    cues : tuple of Moment
        Those in the part, each with its cue.
    before, after : tuple of Cue
        The cues that act outside it.
    """

    start: Position
    start_quarters: float
    tapped: bool
    cues: tuple[Moment, ...]
    before: tuple[Cue, ...] = ()
    after: tuple[Cue, ...] = ()


def set_part(sketch: Sketch, excerpt: Excerpt | None) -> SetPart:
    """The part of a set's course that the page plays; all of it without an excerpt.

    A cue that acts when the part begins is in it: it is the player's to press.
    """
    course = list(moments(sketch))
    if excerpt is None:
        return SetPart(sketch.board.start(), 0.0, bool(sketch.taps), tuple(m for m in course if m.cue is not None))
    before = [m for m in course if m.at_s < excerpt.from_s]
    cued = [(m, m.cue) for m in course if m.cue is not None]
    return SetPart(
        start=before[-1].position if before else sketch.board.start(),
        start_quarters=_quarters(before, excerpt.from_s, sketch.header.first_beat_s),
        tapped=bool(sketch.taps) or any(_is_tap(sketch.board, m.position, then.cue) for m, then in pairwise(before)),
        cues=tuple(m for m, _ in cued if excerpt.from_s <= m.at_s <= excerpt.to_s),
        before=tuple(cue for m, cue in cued if m.at_s < excerpt.from_s),
        after=tuple(cue for m, cue in cued if m.at_s > excerpt.to_s),
    )


def _quarters(before: list[Moment], until_s: float, first_beat_s: float) -> float:
    ends_s = [*(m.at_s for m in before[1:]), until_s]
    return sum(
        max(end_s - max(m.at_s, first_beat_s), 0.0) * m.tempo_bpm / 60.0
        for m, end_s in zip(before, ends_s, strict=False)
    )


def _is_tap(board: Board, position: Position, cue: Cue | None) -> bool:
    if cue is None or not cue.is_gesture:
        return False
    action = board.pressed(position, cue.name) if cue.kind == "press" else board.switch(cue.name).hold
    return action is not None and action.kind == "tap"
