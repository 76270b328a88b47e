"""A drawing read as what it says: what is heard on the wires into each sum and gain makes what is heard behind it."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import assume, example, given

from chainsim.graph.rendering import render
from chainsim.listen.drawing.canvas import MINUS
from chainsim.listen.drawing.layout import lay_out
from chainsim.listen.drawing.shapes import Circle, Layout, Point
from chainsim.sketch.loading import parse_sketch
from tests.listen.drawing.random_chains import sketch_texts
from tests.listen.drawing.test_layout import few

RATE_HZ = 8_000.0
TAKE = np.random.default_rng(3).standard_normal((200, 1))

EVERYTHING = """
chain = [{ lanes = ["dry", { chain = ["late"], level_db = -6, pan = 0.5 },
                    { chain = [{ blender = "mix", wet = ["later"] }], level_db = -3 },
                    { chain = "dry", level_db = "off" }, "later2"], align = true }]
[blocks]
late = { type = "gain", latency_ms = 3 }
mix = { type = "blender", dry_db = -3, wet_db = -5, flip_wet = true }
later = { type = "gain", latency_ms = 4 }
later2 = { type = "gain", gain_db = -2, latency_ms = 5 }
"""


@few
@given(sketch_texts(types=("gain", "delay")))
@example(EVERYTHING)
def test_what_comes_into_sums_and_gains_is_what_comes_out(text: str) -> None:
    sketch = parse_sketch(text)
    layout = lay_out(sketch.base)
    boxed = [label for label in layout.labels if label.text == "aligned"]
    assume(len(boxed) == sum(box.kind == "wait" for box in layout.boxes))  # else the sum itself aligns
    heard = render(sketch, TAKE, RATE_HZ, probes={w.name for w in layout.wires if w.name}).probes
    for circle in layout.circles:
        if circle.kind == "sum":
            into = [
                np.asarray(heard[name]) * (-1.0 if turned(layout, circle, end) else 1.0)
                for name, end in ending(layout, (circle.x, circle.y), circle.radius)
            ]
            np.testing.assert_allclose(
                sum(into) + 0.0 * heard[out(layout, circle)], heard[out(layout, circle)], atol=1e-12
            )
    for triangle in layout.triangles:
        ((before, _),) = ending(layout, (triangle.x, triangle.y), 0.0)
        (behind,) = (w.name for w in layout.wires if math.dist(w.points[0], triangle.corners[2]) < 0.1)
        (level,) = (
            label.text for label in layout.labels
            if abs(label.x - triangle.x - triangle.width / 2) < 0.1 and 0.0 < triangle.y - label.y < 20.0
        )  # fmt: skip
        np.testing.assert_allclose(heard[behind], gain_of(level) * heard[before], rtol=1e-12)


def ending(layout: Layout, at: Point, distance: float) -> list[tuple[str, Point]]:
    """Name and end of every wire that arrives so far from a point."""
    arrived = [(w.name, w.points[-1]) for w in layout.wires if w.kind != "detector"]
    return [(name, end) for name, end in arrived if abs(math.dist(end, at) - distance) < 0.1]


def out(layout: Layout, circle: Circle) -> str:
    """The wire that a sum gives."""
    (name,) = {w.name for w in layout.wires if abs(math.dist(w.points[0], (circle.x, circle.y)) - circle.radius) < 0.1}
    return name


def turned(layout: Layout, circle: Circle, end: Point) -> bool:
    """Whether a minus stands beside the arrow from below into a sum."""
    minuses = [label for label in layout.labels if label.text == MINUS]
    near = any(0.0 < circle.x - m.x < 20.0 and 0.0 < m.y - circle.y < 40.0 for m in minuses)
    return near and end[1] > circle.y


def gain_of(level: str) -> float:
    return 0.0 if level == "off" else 10.0 ** (float(level.removesuffix(" dB").replace(MINUS, "-")) / 20.0)
