"""What is written over and under a drawing: a heading, and what its lines and figures mean."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from chainsim.listen.drawing.canvas import SMALL
from chainsim.listen.drawing.shapes import Label, Layout, LineKind, Sample, Wire
from chainsim.listen.drawing.text_width import shortened, text_width

HEADING = 18.0
HEADING_HEIGHT = 30.0
LEAST_HEADING = 400.0
"""A heading may make a drawing so wide."""
MARGIN = 16.0
LINE_HEIGHT = 20.0
SAMPLE_WIDTH, SAMPLE_HEIGHT = 30.0, 12.0
GAP, BETWEEN = 8.0, 24.0
MEANINGS: dict[LineKind, str] = {
    "detector": "what a block listens to",
    "silent": "nothing sounds on it",
    "out": "out of the chain",
}


def with_heading(layout: Layout, heading: str) -> Layout:
    """A drawing below a line of text."""
    room = max(layout.width - 2 * MARGIN, LEAST_HEADING)
    text = shortened(heading, HEADING, room, bold=True)
    width = max(layout.width, text_width(text, HEADING, bold=True) + 2 * MARGIN)
    lower = _moved_down(layout, HEADING_HEIGHT)
    label = Label(MARGIN, MARGIN + HEADING, text, HEADING, "start", bold=True)
    return replace(lower, width=width, labels=(*lower.labels, label))


def with_legend(layout: Layout) -> Layout:
    """A drawing over lines that say what its dashed and dotted lines mean, if it has such."""
    samples: list[Sample] = []
    labels: list[Label] = []
    x, y = MARGIN, layout.height
    width = layout.width
    for kind in _kinds(layout):
        text = MEANINGS[kind]
        wide = SAMPLE_WIDTH + GAP + text_width(text, SMALL)
        if samples and x + wide > layout.width - MARGIN:
            x, y = MARGIN, y + LINE_HEIGHT
        samples.append(Sample(x, y + LINE_HEIGHT / 2, SAMPLE_WIDTH, SAMPLE_HEIGHT, kind))
        labels.append(Label(x + SAMPLE_WIDTH + GAP, y + LINE_HEIGHT / 2 + 4.0, text, SMALL, "start", muted=True))
        width = max(width, x + wide + MARGIN)
        x += wide + BETWEEN
    if not samples:
        return layout
    return replace(
        layout, width=width, height=y + LINE_HEIGHT + MARGIN / 2, labels=(*layout.labels, *labels),
        legend=tuple(samples),
    )  # fmt: skip


def with_note(layout: Layout, text: str) -> Layout:
    """A drawing over a line of small letters."""
    label = Label(MARGIN, layout.height + 4.0, text, SMALL, "start", muted=True)
    width = max(layout.width, text_width(text, SMALL) + 2 * MARGIN)
    return replace(layout, width=width, height=layout.height + LINE_HEIGHT, labels=(*layout.labels, label))


def _kinds(layout: Layout) -> Iterator[LineKind]:
    kinds = {wire.kind for wire in layout.wires}
    if "detector" in kinds:
        yield "detector"
    if "silent" in kinds:
        yield "silent"
    if not all(box.engaged for box in layout.boxes):
        yield "out"


def _moved_down(layout: Layout, by: float) -> Layout:
    def moved(wire: Wire) -> Wire:
        return replace(wire, points=tuple((x, y + by) for x, y in wire.points))

    return replace(
        layout,
        height=layout.height + by,
        boxes=tuple(replace(box, y=box.y + by) for box in layout.boxes),
        triangles=tuple(replace(triangle, y=triangle.y + by) for triangle in layout.triangles),
        circles=tuple(replace(circle, y=circle.y + by) for circle in layout.circles),
        wires=tuple(map(moved, layout.wires)),
        labels=tuple(replace(label, y=label.y + by) for label in layout.labels),
        legend=tuple(replace(sample, y=sample.y + by) for sample in layout.legend),
    )
