"""The signal flow drawn in characters: series from left to right, lanes one under the other, long chains in rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from chainsim.listen.drawing.layout import TURNED
from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, Lane, LanesStep
from chainsim.sketch.model import State

WIDTH = 100
"""Of a row in characters; only a fork that is wider by itself goes beyond."""


@dataclass(frozen=True)
class _Picture:
    """Lines of equal width; the wire runs through line `wire`."""

    lines: list[str]
    wire: int

    @property
    def width(self) -> int:
        return len(self.lines[0])


GOES_ON, COMES_FROM = _Picture(["─ ..."], 0), _Picture(["... "], 0)


def draw_chain(state: State) -> str:
    """Draw a chain.

    Returns
    -------
    str
        Lines without trailing blanks; where the wire ends in dots it goes on in the row below. A block in parentheses
        is declared but not engaged.
    """
    steps = [_step(step, state) for step in state.chain] or [_Picture(["─"], 0)]
    rows = [_joined(row).lines for row in _rows([_Picture(["input "], 0), *steps, _Picture(["─► out"], 0)])]
    return "\n\n".join("\n".join(line.rstrip() for line in lines) for lines in rows)


def _rows(pictures: Sequence[_Picture]) -> list[list[_Picture]]:
    """Break a series into rows of `WIDTH` where its parts allow it."""
    rows: list[list[_Picture]] = [[]]
    width = 0
    for i, picture in enumerate(pictures):
        last = i == len(pictures) - 1
        if len(rows[-1]) > 1 and width + picture.width + (0 if last else GOES_ON.width) > WIDTH:
            rows[-1].append(GOES_ON)
            rows.append([COMES_FROM])
            width = COMES_FROM.width
        rows[-1].append(picture)
        width += picture.width
    return rows


def _series(chain: Chain, state: State) -> _Picture:
    return _joined([_step(step, state) for step in chain]) if chain else _Picture(["─"], 0)


def _step(step: BlockStep | LanesStep | BlenderStep, state: State) -> _Picture:
    if isinstance(step, BlockStep):
        entry = state.blocks[step.name]
        heard = f" [hears {entry.common.listens_to}]" if entry.common.listens_to else ""
        text = step.name + heard if entry.common.engaged else f"({step.name})"
        return _Picture([f"─► {text} "], 0)
    if isinstance(step, LanesStep):
        lanes = [_lane(lane, state) for lane in step.lanes]
        return _fork(lanes, "sum, aligned" if step.align else "sum")
    return _blender(step, state)


def _blender(step: BlenderStep, state: State) -> _Picture:
    entry = state.blocks[step.name]
    if not entry.common.engaged:
        return _fork(
            [_Picture(["─"], 0), _labelled(_series(step.wet, state), "ends here")], f"({step.name})", meet=False
        )
    dry, wet = (signed_level(getattr(entry.settings, key)) for key in ("dry_db", "wet_db"))
    turned = "polarity turned, " if getattr(entry.settings, TURNED) else ""
    paths = [_labelled(_Picture(["─"], 0), dry), _labelled(_series(step.wet, state), turned + wet)]
    return _fork(paths, step.name)


def _lane(lane: Lane, state: State) -> _Picture:
    pan = "" if lane.pan is None else f" pan {lane.pan:+g}"
    label = (signed_level(lane.level_db) if lane.level_db != 0.0 else "") + pan
    return _labelled(_series(lane.chain, state), label.strip())


def _labelled(picture: _Picture, label: str) -> _Picture:
    return _joined([picture, _Picture([f"─ {label} "], 0)]) if label else picture


def signed_level(level_db: float) -> str:
    """A level in characters: "+0 dB", "off"."""
    return "off" if level_db == -math.inf else f"{level_db:+g} dB"


def _fork(lanes: Sequence[_Picture], name: str, *, meet: bool = True) -> _Picture:
    """Lanes one under the other, which meet again or of which only the first goes on."""
    width = max(lane.width for lane in lanes)
    lines: list[str] = []
    wires = []
    for lane in lanes:
        wires.append(len(lines) + lane.wire)
        for i, line in enumerate(lane.lines):
            goes_on = i == lane.wire and (meet or lane is lanes[0])
            lines.append(line + ("─" if goes_on else " ") * (width - lane.width))
    first, last = wires[0], wires[-1]
    for i, line in enumerate(lines):
        end = _corner(i, first, last, wires, "┘", "┤") if meet else "─" if i == first else " "
        lines[i] = _corner(i, first, last, wires, "└", "├") + line + end
    lines = [("─" if i == first else " ") + line for i, line in enumerate(lines)]
    return _joined([_Picture(lines, first), _Picture([f"─► {name} "], 0)])


def _corner(i: int, first: int, last: int, wires: list[int], bottom: str, middle: str) -> str:
    """The character where a fork opens or closes on line i."""
    if i < first or i > last:
        return " "
    if first == last:
        return "─"
    if i == first:
        return "┬"
    if i == last:
        return bottom
    return middle if i in wires else "│"


def _joined(pictures: Sequence[_Picture]) -> _Picture:
    above = max(p.wire for p in pictures)
    below = max(len(p.lines) - p.wire for p in pictures)
    lines = [""] * (above + below)
    for picture in pictures:
        top = above - picture.wire
        for i in range(above + below):
            inside = top <= i < top + len(picture.lines)
            lines[i] += picture.lines[i - top] if inside else " " * picture.width
    return _Picture(lines, above)
