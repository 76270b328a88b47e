"""Arrow heads at the ends of wires."""

from __future__ import annotations

import math

from chainsim.listen.drawing.shapes import Point

LENGTH, HALF_WIDTH = 9.0, 4.0


def arrow_head(points: tuple[Point, ...]) -> tuple[Point, Point, Point]:
    """Corners of the arrow at the end of a line, its tip first."""
    (x0, y0), (x, y) = points[-2:]
    length = math.hypot(x - x0, y - y0)
    dx, dy = (x - x0) / length, (y - y0) / length
    back_x, back_y = x - LENGTH * dx, y - LENGTH * dy
    return (
        (x, y),
        (back_x - HALF_WIDTH * dy, back_y + HALF_WIDTH * dx),
        (back_x + HALF_WIDTH * dy, back_y - HALF_WIDTH * dx),
    )


def shaft(points: tuple[Point, ...]) -> tuple[Point, ...]:
    """A line as far as its arrow's head."""
    _, (x0, y0), (x1, y1) = arrow_head(points)
    return (*points[:-1], ((x0 + x1) / 2, (y0 + y1) / 2))
