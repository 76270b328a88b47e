"""Where parts of a drawing put their shapes, and the wire that leads from one part to the next."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from chainsim.listen.drawing.shapes import Box, Circle, Label, Point, Triangle, Wire
from chainsim.listen.drawing.text_width import text_width

if TYPE_CHECKING:
    from chainsim.listen.drawing.wires import WireFigures

SMALL = 12.0
"""Type size of everything but names: none is smaller."""
LARGE = 14.0
MINUS = "\N{MINUS SIGN}"
TAIL = 12.0
"""Length of a wire behind what it comes from, where no figure stands on it."""


@dataclass
class OpenWire:
    """A wire on its way: where it has been, and what is heard on it.

    Attributes
    ----------
    points : list of (x, y)
    name : str
        As probes call it; empty where nothing is drawn yet.
    since : str or None
        The last wire before it that may be later or earlier than others: levels and pans take no time.
    silent : bool
        Nothing sounds on it.
    cut : bool
        Nor can anything ever: it leads from a level that is off, or from what is out of the chain and gives nothing.
    """

    points: list[Point]
    name: str
    since: str | None = None
    silent: bool = False
    cut: bool = False

    def branch(self, *points: Point) -> OpenWire:
        """Another line of the same wire."""
        return replace(self, points=list(points))

    def to(self, x: float, y: float) -> OpenWire:
        """Go on to a point; what lies on a straight way between is left out."""
        if self.points[-1] == (x, y):
            return self
        if len(self.points) > 1:
            (x0, y0), (x1, y1) = self.points[-2:]
            if (x0 == x1 == x and (y1 - y0) * (y - y1) > 0) or (y0 == y1 == y and (x1 - x0) * (x - x1) > 0):
                self.points.pop()
        self.points.append((x, y))
        return self


@dataclass
class Listener:
    """A block's detector, waiting for its wire: what it listens to, and where on the box the wire is to end."""

    name: str
    source: str
    x: float
    y: float


@dataclass
class Canvas:
    """Shapes so far.

    Attributes
    ----------
    names : list of str
        Of wires that are heard apart, as they began; of lanes only those that are not off.
    also : dict of str
        The wire on which a block is heard whose output is no wire of its own, since it is out of the chain.
    leads_out : str
        Name of the wire that has arrived at the house.
    """

    figures: Mapping[str, WireFigures] = field(default_factory=dict)
    boxes: list[Box] = field(default_factory=list)
    triangles: list[Triangle] = field(default_factory=list)
    circles: list[Circle] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    listeners: list[Listener] = field(default_factory=list)
    also: dict[str, str] = field(default_factory=dict)
    leads_out: str = ""

    def end(self, wire: OpenWire, *, arrow: bool = True) -> None:
        """Put down a wire that has arrived."""
        if len(wire.points) > 1:
            kind: Literal["sound", "silent"] = "silent" if wire.silent else "sound"
            self.wires.append(Wire(tuple(wire.points), wire.name, arrow and not wire.silent, kind))

    def begin(
        self, x: float, y: float, name: str, *, since: str | None = None, silent: bool = False,
        cut: bool = False, beside: float = 0.0,
    ) -> OpenWire:  # fmt: skip
        """Begin a wire where something gives it; its figures are put on it, so far behind as letters reach over it."""
        if since is None or not cut:
            self.names.append(name)
        self._figures(name, x + beside + 6.0, y - 7.0, y + 16.0)
        return OpenWire([(x, y)], name, name if since is None else since, silent, cut)

    def begin_upward(self, x: float, y: float, name: str, *, silent: bool, cut: bool) -> OpenWire:
        """Begin a wire that leads straight up from where lower lanes have met; its figures stand beside it."""
        if not cut:
            self.names.append(name)
        self._figures(name, x + 6.0, y - 22.0, y - 6.0)
        return OpenWire([(x, y)], name, name, silent, cut)

    def _figures(self, name: str, x: float, level_y: float, latency_y: float) -> None:
        if name in self.figures:
            for text, y in zip(figure_texts(self.figures[name]), (level_y, latency_y), strict=True):
                self.labels.append(Label(x, y, text, SMALL, "start", muted=True, about=name))


def figure_texts(figures: WireFigures) -> tuple[str, str]:
    """Level and latency, as they stand above and below a wire."""
    level = (
        f"{figures.loudness_lufs:.1f} LUFS".replace("-", MINUS) if math.isfinite(figures.loudness_lufs) else "silent"
    )
    least = f"{figures.latency_ms:.1f}"
    most = least if figures.longest_ms is None else f"{figures.longest_ms:.1f}"
    return level, f"{least} ms" if most == least else f"{least} to {most} ms"


def tail_length(name: str, figures: Mapping[str, WireFigures]) -> float:
    """How long a wire must be behind what gives it, so that its figures have room."""
    if name not in figures:
        return TAIL
    return 10.0 + max(text_width(text, SMALL) for text in figure_texts(figures[name]))
