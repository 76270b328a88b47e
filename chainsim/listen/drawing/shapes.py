"""What a drawing of the signal flow consists of: shapes on a plane, x to the right, y down, whatever draws them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from chainsim.listen.drawing.text_width import text_width

Point: TypeAlias = tuple[float, float]
Rect: TypeAlias = tuple[float, float, float, float]
"""Left, top, right, bottom."""

ASCENT, DESCENT = 0.95, 0.25
"""How far letters reach over and under their line, in type sizes."""


@dataclass(frozen=True)
class Label:
    """A line of text; y is the line it stands on.

    Attributes
    ----------
    about : str or None
        The wire whose figure it is.
    """

    x: float
    y: float
    text: str
    size: float
    anchor: Literal["start", "middle", "end"] = "middle"
    bold: bool = False
    muted: bool = False
    about: str | None = None

    @property
    def rect(self) -> Rect:
        """The space it takes, at most."""
        width = text_width(self.text, self.size, bold=self.bold)
        left = self.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * width
        return left, self.y - ASCENT * self.size, left + width, self.y + DESCENT * self.size


@dataclass(frozen=True)
class Box:
    """Something the sound goes through.

    Attributes
    ----------
    kind : {"block", "pan", "wait"}
        A block of the sketch; where a lane is placed between left and right; what an aligned lane waits for the latest.
    name, type_words : str
        In full, for readers that do not see.
    engaged : bool
        If not, the wire goes around it, or ends before it.
    """

    x: float
    y: float
    width: float
    height: float
    kind: Literal["block", "pan", "wait"]
    name: str
    type_words: str
    engaged: bool = True

    @property
    def rect(self) -> Rect:
        """The space it takes."""
        return self.x, self.y, self.x + self.width, self.y + self.height


@dataclass(frozen=True)
class Triangle:
    """A gain, pointing to the right; x, y is the middle of its left side."""

    x: float
    y: float
    width: float
    height: float

    @property
    def corners(self) -> tuple[Point, Point, Point]:
        """Its three corners, the tip last."""
        half = self.height / 2
        return (self.x, self.y - half), (self.x, self.y + half), (self.x + self.width, self.y)

    @property
    def rect(self) -> Rect:
        """The space it takes."""
        return self.x, self.y - self.height / 2, self.x + self.width, self.y + self.height / 2


@dataclass(frozen=True)
class Circle:
    """Where wires are summed, where one branches, or where the drawing begins and ends; x, y is its middle."""

    x: float
    y: float
    radius: float
    kind: Literal["sum", "branch", "end"]

    @property
    def rect(self) -> Rect:
        """The space it takes."""
        return self.x - self.radius, self.y - self.radius, self.x + self.radius, self.y + self.radius


@dataclass(frozen=True)
class Wire:
    """One line of a wire, bent at right angles.

    Attributes
    ----------
    points : tuple of (x, y)
    name : str
        What is heard on it, as probes call it; one wire may have several lines.
    arrow : bool
        Whether it ends with an arrow.
    kind : {"sound", "silent", "detector"}
        On a silent one nothing sounds; a detector's carries what something listens to.
    """

    points: tuple[Point, ...]
    name: str
    arrow: bool = False
    kind: Literal["sound", "silent", "detector"] = "sound"


LineKind: TypeAlias = Literal["detector", "silent", "out"]
"""Lines that are not solid: two kinds of wires, and the outline of what is out of the chain."""


@dataclass(frozen=True)
class Sample:
    """A piece of a line of some kind, beside which words say what it means; x, y is the middle of its left side."""

    x: float
    y: float
    width: float
    height: float
    kind: LineKind

    @property
    def rect(self) -> Rect:
        """The space it takes."""
        return self.x, self.y - self.height / 2, self.x + self.width, self.y + self.height / 2


@dataclass(frozen=True)
class Layout:
    """A drawing of the signal flow, ready to be drawn.

    Attributes
    ----------
    width, height : float
        From 0, 0; texts are to be drawn at their sizes when this width is about a page's.
    wire_names : tuple of str
        Names of the wires that are heard apart, in the order of the sound's way; of lanes only those that are not off.
    leads_out : str
        Which of them leads to the house.
    legend : tuple of Sample
        Of every kind of line in it that is not solid; what each means is among the labels.
    """

    width: float
    height: float
    boxes: tuple[Box, ...]
    triangles: tuple[Triangle, ...]
    circles: tuple[Circle, ...]
    wires: tuple[Wire, ...]
    labels: tuple[Label, ...]
    wire_names: tuple[str, ...]
    leads_out: str
    legend: tuple[Sample, ...] = ()
