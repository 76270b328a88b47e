"""What a chain's drawing is put together from: parts that know their size and put themselves down.

A part is entered by a wire on its left at y = 0 and left by one on its right at y = `leave`. It reaches `up` over and
`down` below the line of its entry.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, Protocol

from chainsim.listen.drawing.canvas import LARGE, SMALL, Canvas, Listener, OpenWire
from chainsim.listen.drawing.shapes import Box, Circle, Label, Triangle
from chainsim.listen.drawing.text_width import shortened, text_width

LEAD = 26.0
"""Length of the wire into something, with its arrow."""
LINE = 15.0
BOX_HEIGHT = 46.0
LONGEST_WORDS = 190.0
WAY_AROUND = 12.0
TRIANGLE_WIDTH, TRIANGLE_HEIGHT = 24.0, 26.0
ROW_GAP = 46.0
MARGIN_OF_ROWS = 18.0
LEAST_HALF = BOX_HEIGHT / 2
"""How far a bare wire reaches up and down, with its figures or a box that an aligned lane waits in."""


class Part(Protocol):
    """What can stand in a row."""

    width: float
    up: float
    down: float
    leave: float

    def put(self, canvas: Canvas, x: float, y: float, wire: OpenWire) -> OpenWire:
        """Put it down with its entry at x, y, reached by `wire`; return the wire that leaves it."""


@dataclass
class Words:
    """A box with two lines of words, and notes below it.

    Attributes
    ----------
    tail : float
        Length of the wire behind it.
    gives : str
        Name of that wire.
    hears : str or None
        What its detector listens to.
    passes : bool
        If it is not engaged: whether the sound goes around it.
    generates : bool
        Whether it sounds by itself.
    """

    name: str
    type_words: str
    kind: Literal["block", "pan"]
    gives: str
    tail: float
    notes: Sequence[str] = ()
    hears: str | None = None
    engaged: bool = True
    passes: bool = True
    generates: bool = False

    def __post_init__(self) -> None:
        bold = self.kind == "block"
        self._title = shortened(self.name, LARGE if bold else SMALL, LONGEST_WORDS, bold=bold)
        self._notes = [shortened(note, SMALL, LONGEST_WORDS) for note in self.notes]
        title = text_width(self._title, LARGE if bold else SMALL, bold=bold)
        self._box = max(title, text_width(self.type_words, SMALL)) + 22.0
        self._body = max([self._box, *(text_width(note, SMALL) + 4.0 for note in self._notes)])
        self.width = LEAD + self._body + self.tail
        self.leave = 0.0
        self.up = BOX_HEIGHT / 2 + (0.0 if self.engaged else WAY_AROUND)
        self.down = BOX_HEIGHT / 2 + (LINE * len(self._notes) + 3.0 if self._notes else 0.0)

    def put(self, canvas: Canvas, x: float, y: float, wire: OpenWire) -> OpenWire:
        left = x + LEAD + (self._body - self._box) / 2
        middle, right, half = left + self._box / 2, left + self._box, BOX_HEIGHT / 2
        bold = self.kind == "block"
        canvas.boxes.append(
            Box(left, y - half, self._box, BOX_HEIGHT, self.kind, self.name, self.type_words, self.engaged)
        )
        canvas.labels += [
            Label(middle, y - 3.0, self._title, LARGE if bold else SMALL, bold=bold, muted=not self.engaged),
            Label(middle, y + 14.0, self.type_words, SMALL, muted=True),
        ]
        for i, note in enumerate(self._notes):
            canvas.labels.append(Label(middle, y + half + LINE * (i + 1), note, SMALL, muted=True))
        if not self.engaged and self.passes:
            canvas.also[self.name] = wire.name
            around = y - half - WAY_AROUND + 2.0
            before, behind = left - 8.0, right + 8.0
            return wire.to(before, y).to(before, around).to(behind, around).to(behind, y)
        canvas.end(wire.to(left, y), arrow=self.engaged)
        if self.engaged and self.hears is not None:
            canvas.listeners.append(Listener(self.name, self.hears, middle, y - half))
        silent = not self.engaged or (wire.silent and not self.generates)
        if self.kind == "pan":
            return canvas.begin(right, y, self.gives, since=wire.since, silent=silent, cut=wire.cut)
        return canvas.begin(right, y, self.gives, silent=silent, cut=not self.engaged)


@dataclass
class Gain:
    """A gain triangle with its level above it, which something may move."""

    level: str
    gives: str
    tail: float
    moved: bool = False

    def __post_init__(self) -> None:
        self._body = max(TRIANGLE_WIDTH, text_width(self.level, SMALL))
        self.width = LEAD + self._body + self.tail
        self.leave = 0.0
        self.up, self.down = TRIANGLE_HEIGHT / 2 + 4.0 + LINE, LEAST_HALF

    def put(self, canvas: Canvas, x: float, y: float, wire: OpenWire) -> OpenWire:
        left = x + LEAD + (self._body - TRIANGLE_WIDTH) / 2
        canvas.end(wire.to(left, y))
        canvas.triangles.append(Triangle(left, y, TRIANGLE_WIDTH, TRIANGLE_HEIGHT))
        canvas.labels.append(Label(left + TRIANGLE_WIDTH / 2, y - TRIANGLE_HEIGHT / 2 - 4.0, self.level, SMALL))
        off = self.level == "off" and not self.moved
        return canvas.begin(
            left + TRIANGLE_WIDTH, y, self.gives, since=wire.since, silent=wire.silent or off, cut=wire.cut or off,
            beside=(self._body - TRIANGLE_WIDTH) / 2,
        )  # fmt: skip


@dataclass
class Entry:
    """Where the drawing begins."""

    text: str
    gives: str
    tail: float

    def __post_init__(self) -> None:
        self._words = text_width(self.text, LARGE)
        self.width = self._words + 16.0 + self.tail
        self.leave = 0.0
        self.up = self.down = LEAST_HALF

    def put(self, canvas: Canvas, x: float, y: float, wire: OpenWire) -> OpenWire:
        canvas.labels.append(Label(x, y + 5.0, self.text, LARGE, "start"))
        middle = x + self._words + 12.0
        canvas.circles.append(Circle(middle, y, 4.0, "end"))
        return canvas.begin(middle + 4.0, y, self.gives)


@dataclass
class Exit:
    """Where the drawing ends."""

    text: str

    def __post_init__(self) -> None:
        self.width = LEAD + 16.0 + text_width(self.text, LARGE)
        self.leave = 0.0
        self.up = self.down = LEAST_HALF

    def put(self, canvas: Canvas, x: float, y: float, wire: OpenWire) -> OpenWire:
        canvas.end(wire.to(x + LEAD, y))
        canvas.leads_out = wire.name
        canvas.circles.append(Circle(x + LEAD + 4.0, y, 4.0, "end"))
        canvas.labels.append(Label(x + LEAD + 14.0, y + 5.0, self.text, LARGE, "start"))
        return OpenWire([(x + LEAD, y)], "")


class Row:
    """Parts one behind the other, in as many rows below each other as a width asks for."""

    def __init__(self, parts: Sequence[Part], limit: float) -> None:
        self._rows = _rows(parts, limit)
        wide = [sum(part.width for part in row) for row in self._rows]
        self._turns = len(self._rows) > 1
        self._inner = max(wide, default=0.0)
        self.width = self._inner + (2 * MARGIN_OF_ROWS if self._turns else 0.0)
        reaches = [_reach(row) for row in self._rows]
        self._lines = [0.0]
        """Where each row is entered."""
        for (_, down, _), (up, _, _) in pairwise(reaches):
            self._lines.append(self._lines[-1] + down + ROW_GAP + up)
        self._reaches = reaches
        self.up = reaches[0][0]
        self.down = max(line + down for line, (_, down, _) in zip(self._lines, reaches, strict=True))
        self.leave = self._lines[-1] + reaches[-1][2]

    def put(self, canvas: Canvas, x: float, y: float, wire: OpenWire) -> OpenWire:
        margin = MARGIN_OF_ROWS if self._turns else 0.0
        for i, row in enumerate(self._rows):
            at, line = x + margin, y + self._lines[i]
            if i:
                back = line - self._reaches[i][0] - ROW_GAP / 2
                wire.to(x + margin + self._inner + 6.0, wire.points[-1][1])
                wire.to(wire.points[-1][0], back).to(x + 8.0, back).to(x + 8.0, line)
            for part in row:
                wire = part.put(canvas, at, line, wire)
                at, line = at + part.width, line + part.leave
        return wire


def _rows(parts: Sequence[Part], limit: float) -> list[list[Part]]:
    """Break parts into as few rows as the limit allows, about equally wide."""
    if sum(part.width for part in parts) <= limit or len(parts) < 2:
        return [list(parts)]
    limit -= 2 * MARGIN_OF_ROWS
    count = len(_broken(parts, limit))
    low, high = max(part.width for part in parts), max(limit, max(part.width for part in parts))
    while high - low > 1.0:
        middle = (low + high) / 2
        low, high = (low, middle) if len(_broken(parts, middle)) <= count else (middle, high)
    return _broken(parts, high)


def _broken(parts: Sequence[Part], limit: float) -> list[list[Part]]:
    rows: list[list[Part]] = [[]]
    width = 0.0
    for part in parts:
        if rows[-1] and width + part.width > limit:
            rows.append([])
            width = 0.0
        rows[-1].append(part)
        width += part.width
    return rows


def _reach(row: Sequence[Part]) -> tuple[float, float, float]:
    """How far a row reaches up and down from where it is entered, and where it is left."""
    line, up, down = 0.0, LEAST_HALF, LEAST_HALF
    for part in row:
        up, down = max(up, part.up - line), max(down, part.down + line)
        line += part.leave
    return up, down, line
