"""The part of a drawing in which a wire branches into lanes that are summed again."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from chainsim.listen.drawing.canvas import SMALL, Canvas, OpenWire
from chainsim.listen.drawing.parts import (
    BOX_HEIGHT,
    LEAD,
    LEAST_HALF,
    LINE,
    LONGEST_WORDS,
    MARGIN_OF_ROWS,
    Part,
)
from chainsim.listen.drawing.shapes import Box, Circle, Label
from chainsim.listen.drawing.text_width import shortened, text_width

RADIUS = 10.0
LANE_GAP = 26.0
WAIT_WIDTH = 112.0
LEAST_WAIT_MS = 0.05
"""Of what is shown: less reads as 0.0 ms."""


class Fork:
    """A wire that branches into lanes, one below the other, which are summed one by one, the lowest first.

    Attributes
    ----------
    name, kind_words : str
        What stands over the sum; either may be empty.
    gives : str
        Name of the wire behind the sum.
    tail : float
        Length of that wire.
    engaged : bool
        If not, what comes in goes on.
    notes : sequence of str
        What stands there too.
    aligned : bool
        Whether the earlier lanes wait for the latest.
    """

    def __init__(
        self, lanes: Sequence[Part], name: str, kind_words: str, gives: str, tail: float, engaged: bool = True, *,
        notes: Sequence[str] = (), aligned: bool = False,
    ) -> None:  # fmt: skip
        self._lanes, self._gives, self._engaged, self._aligned = lanes, gives, engaged, aligned
        words = [(shortened(name, SMALL, LONGEST_WORDS, bold=bool(kind_words)), bool(kind_words)), (kind_words, False)]
        words += [(shortened(note, SMALL, LONGEST_WORDS), False) for note in notes]
        self._words = [(text, bold) for text, bold in words if text]
        widest = max((text_width(text, SMALL, bold=bold) for text, bold in self._words), default=0.0)
        self._before = LEAD + max(RADIUS, widest / 2) + (LEAD + WAIT_WIDTH if aligned else 0.0)
        self._beside = max(0.0, widest / 2 - RADIUS)
        self._behind = RADIUS + self._beside + tail
        self._inner = max(lane.width for lane in lanes)
        self.width = MARGIN_OF_ROWS + self._inner + self._before + self._behind
        self._lines = [0.0]
        for lane, following in pairwise(lanes):
            self._lines.append(self._lines[-1] + lane.down + LANE_GAP + following.up)
        over_sum = RADIUS + 5.0 + LINE * len(self._words)
        self.leave = lanes[0].leave
        self.up = max(lanes[0].up, over_sum - self.leave, LEAST_HALF)
        self.down = max(self._lines[-1] + lanes[-1].down, self.leave + LEAST_HALF)

    def put(self, canvas: Canvas, x: float, y: float, wire: OpenWire) -> OpenWire:
        dot_x = x + MARGIN_OF_ROWS - 4.0
        sum_x = x + MARGIN_OF_ROWS + self._inner + self._before
        source = wire.name
        if len(self._lanes) > 1:
            wire.to(dot_x, y)
        ends = []
        for i, (lane, line) in enumerate(zip(self._lanes, self._lines, strict=True)):
            if i == 0:
                inner = wire
            else:
                inner = OpenWire([(dot_x, y + self._lines[i - 1]), (dot_x, y + line)], source, wire.silent)
                canvas.circles.append(Circle(dot_x, y + self._lines[i - 1], 3.0, "branch"))
            ends.append(lane.put(canvas, x + MARGIN_OF_ROWS, y + line, inner))
        leaves = [y + line + lane.leave for line, lane in zip(self._lines, self._lanes, strict=True)]
        if self._aligned:
            ends = _aligned(canvas, ends, x + MARGIN_OF_ROWS + self._inner + LEAD, leaves)
        self._sum(canvas, sum_x, ends, leaves)
        for i, (text, bold) in enumerate(reversed(self._words)):
            canvas.labels.append(
                Label(sum_x, leaves[0] - RADIUS - 6.0 - LINE * i, text, SMALL, bold=bold, muted=not bold)
            )
        if self._engaged:
            return canvas.begin(sum_x + RADIUS, leaves[0], self._gives, beside=self._beside)
        if source is not None:
            canvas.also[self._gives] = source
        return OpenWire([(sum_x + RADIUS, leaves[0])], source)

    def _sum(self, canvas: Canvas, x: float, ends: list[OpenWire], leaves: list[float]) -> None:
        """Lead every lane's end to a circle of its own, the last one up into the circle above it."""
        last = len(ends) - 1
        for i, (end, y) in enumerate(zip(ends, leaves, strict=True)):
            if i < last or last == 0:
                canvas.circles.append(Circle(x, y, RADIUS, "sum", self._engaged))
                canvas.end(end.to(x - RADIUS, y))
                if i > 0:
                    canvas.end(OpenWire([(x, y - RADIUS), (x, leaves[i - 1] + RADIUS)], None))
            else:
                end.silent = end.silent or not self._engaged
                canvas.end(end.to(x, y).to(x, leaves[i - 1] + RADIUS))


def _aligned(canvas: Canvas, ends: list[OpenWire], x: float, leaves: list[float]) -> list[OpenWire]:
    """Lead the lanes that wait for the latest through a box that says so, and for how long if that is known."""
    known = [canvas.figures.get(end.name or "") for end in ends]
    times_ms = [None if f is None else f.latency_ms if f.longest_ms is None else f.longest_ms for f in known]
    heard_ms = [t for t, end in zip(times_ms, ends, strict=True) if not end.silent and t is not None]
    found = []
    for end, y, time_ms in zip(ends, leaves, times_ms, strict=True):
        wait_ms = None if time_ms is None else max(heard_ms, default=0.0) - time_ms
        if end.silent or (wait_ms is not None and wait_ms < LEAST_WAIT_MS):
            found.append(end)
        else:
            found.append(_waiting(canvas, end, x, y, "to the latest" if wait_ms is None else f"{wait_ms:.1f} ms later"))
    return found


def _waiting(canvas: Canvas, end: OpenWire, x: float, y: float, words: str) -> OpenWire:
    canvas.end(end.to(x, y))
    canvas.boxes.append(Box(x, y - BOX_HEIGHT / 2, WAIT_WIDTH, BOX_HEIGHT, "wait", "aligned", words))
    canvas.labels.append(Label(x + WAIT_WIDTH / 2, y - 4.0, "aligned", SMALL))
    canvas.labels.append(Label(x + WAIT_WIDTH / 2, y + 13.0, words, SMALL, muted=True))
    return canvas.begin(x + WAIT_WIDTH, y, None)
