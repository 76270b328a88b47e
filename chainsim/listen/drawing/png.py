"""The signal flow as a picture of dots, twice as fine as its units."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from chainsim.listen.drawing.arrows import arrow_head, shaft
from chainsim.listen.drawing.layout import lay_out
from chainsim.listen.drawing.shapes import Box, Circle, Label, Rect, Sample, Triangle, Wire
from chainsim.sketch.model import State

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from chainsim.listen.drawing.wires import WireFigures

DOTS = 2.0
"""A unit of the layout in dots."""
POINTS_PER_INCH = 72.0
PAPER, INK, PALE_INK = "#fffdf8", "#1d1a16", "#5b5348"
LINE_WIDTH, THIN_WIDTH = 1.6, 1.3
DASHES: dict[str, Any] = {"sound": "solid", "silent": (0, (1, 4)), "detector": (0, (5, 3.5)), "out": (0, (4, 3))}


def draw_png(state: State, *, heading: str | None = None, figures: Mapping[str, WireFigures] | None = None) -> bytes:
    """Draw the signal flow of a state as a PNG file; arguments as for `draw_svg`."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    layout = lay_out(state, figures, heading=heading)
    # One unit of the layout is one point, so that widths of lines and sizes of letters are those of the layout.
    size = (layout.width / POINTS_PER_INCH, layout.height / POINTS_PER_INCH)
    figure = Figure(figsize=size, dpi=DOTS * POINTS_PER_INCH, facecolor=PAPER)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, layout.width)
    axes.set_ylim(layout.height, 0.0)
    axes.axis("off")
    for wire in layout.wires:
        _draw_wire(axes, wire)
    for box in layout.boxes:
        _draw_box(axes, box)
    for triangle in layout.triangles:
        _draw_triangle(axes, triangle)
    for circle in layout.circles:
        _draw_circle(axes, circle)
    for label in layout.labels:
        _draw_label(axes, label)
    for sample in layout.legend:
        _draw_sample(axes, sample)
    file = io.BytesIO()
    figure.savefig(file, format="png", facecolor=PAPER)
    return file.getvalue()


def _draw_wire(axes: Axes, wire: Wire) -> None:
    from matplotlib.patches import Polygon

    points = shaft(wire.points) if wire.arrow else wire.points
    width = LINE_WIDTH if wire.kind == "sound" else THIN_WIDTH
    axes.plot(*zip(*points, strict=True), color=INK, lw=width, ls=DASHES[wire.kind], solid_capstyle="butt")
    if wire.arrow:
        axes.add_patch(Polygon(arrow_head(wire.points), facecolor=INK, lw=0.0))


def _draw_box(axes: Axes, box: Box) -> None:
    radius = box.height / 2 if box.kind == "pan" else 3.0
    _draw_outline(axes, box.rect, radius, "solid" if box.engaged else DASHES["out"])


def _draw_outline(axes: Axes, rect: Rect, radius: float, line: Any) -> None:
    from matplotlib.patches import FancyBboxPatch

    left, top, right, bottom = rect
    style = f"round,pad=0,rounding_size={radius}"
    axes.add_patch(
        FancyBboxPatch(
            (left, top), right - left, bottom - top, boxstyle=style, facecolor="none", edgecolor=INK, lw=LINE_WIDTH,
            ls=line,
        )
    )  # fmt: skip


def _draw_triangle(axes: Axes, triangle: Triangle) -> None:
    from matplotlib.patches import Polygon

    axes.add_patch(Polygon(triangle.corners, facecolor="none", edgecolor=INK, lw=LINE_WIDTH, joinstyle="round"))


def _draw_circle(axes: Axes, circle: Circle) -> None:
    from matplotlib.patches import Circle as Round

    filled = circle.kind == "branch"
    axes.add_patch(
        Round(
            (circle.x, circle.y), circle.radius, facecolor=INK if filled else "none", edgecolor=INK,
            lw=0.0 if filled else LINE_WIDTH,
        )
    )  # fmt: skip
    if circle.kind == "sum":
        arm = circle.radius - 4.0
        axes.plot([circle.x - arm, circle.x + arm], [circle.y, circle.y], color=INK, lw=LINE_WIDTH)
        axes.plot([circle.x, circle.x], [circle.y - arm, circle.y + arm], color=INK, lw=LINE_WIDTH)


def _draw_sample(axes: Axes, sample: Sample) -> None:
    left, _, right, _ = sample.rect
    if sample.kind == "out":
        _draw_outline(axes, sample.rect, 3.0, DASHES["out"])
    else:
        axes.plot([left, right], [sample.y, sample.y], color=INK, lw=THIN_WIDTH, ls=DASHES[sample.kind])


def _draw_label(axes: Axes, label: Label) -> None:
    align = {"start": "left", "middle": "center", "end": "right"}[label.anchor]
    axes.text(
        label.x, label.y, label.text, fontsize=label.size, ha=align, va="baseline", parse_math=False,
        color=PALE_INK if label.muted else INK, fontweight="bold" if label.bold else "normal", family="DejaVu Sans",
    )  # fmt: skip
