"""The part of a drawing in which a wire branches into lanes that are summed again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

from chainsim.listen.drawing.canvas import LARGE, MINUS, SMALL, Canvas, OpenWire
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
WAIT_WIDTH = 98.0
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
    tail : callable
        Gives the length of a wire by its name.
    notes : sequence of str
        What stands there too.
    waits : sequence of str
        Of each lane the wire behind a box that shows that the earlier ones wait for the latest; none without boxes.
    part_sums : sequence of str
        The wires on which what lower lanes give is added to those above, from the second lane's on.
    is_block : bool
        Whether a block sums them, on which there is a probe whatever the lanes give.
    turned : bool
        Whether the last lane's polarity is turned.
    """

    def __init__(
        self, lanes: Sequence[Part], name: str, kind_words: str, gives: str, tail: Callable[[str], float], *,
        notes: Sequence[str] = (), waits: Sequence[str] = (), part_sums: Sequence[str] = (),
        is_block: bool = False, turned: bool = False,
    ) -> None:  # fmt: skip
        self._lanes, self._gives, self._waits, self._part_sums = lanes, gives, waits, part_sums
        self._is_block, self._turned = is_block, turned
        words = [(shortened(name, SMALL, LONGEST_WORDS, bold=bool(kind_words)), bool(kind_words)), (kind_words, False)]
        words += [(shortened(note, SMALL, LONGEST_WORDS), False) for note in notes]
        self._words = [(text, bold) for text, bold in words if text]
        widest = max((text_width(text, SMALL, bold=bold) for text, bold in self._words), default=0.0)
        self._before = LEAD + max(RADIUS, widest / 2) + waiting_width(map(tail, waits))
        self._beside = max(0.0, widest / 2 - RADIUS)
        self._behind = max([RADIUS + self._beside + tail(gives), *map(tail, part_sums)])
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
        if len(self._lanes) > 1:
            wire.to(dot_x, y)
        ends = []
        for i, (lane, line) in enumerate(zip(self._lanes, self._lines, strict=True)):
            if i == 0:
                inner = wire
            else:
                inner = wire.branch((dot_x, y + self._lines[i - 1]), (dot_x, y + line))
                canvas.circles.append(Circle(dot_x, y + self._lines[i - 1], 3.0, "branch"))
            ends.append(lane.put(canvas, x + MARGIN_OF_ROWS, y + line, inner))
        leaves = [y + line + lane.leave for line, lane in zip(self._lines, self._lanes, strict=True)]
        waiting = _words_of_waiting(canvas, ends) if self._waits else [None] * len(ends)
        for i, (words, leave) in enumerate(zip(waiting, leaves, strict=True)):
            # Lane by lane, from its own wire to the sum: so they are met by who goes from wire to wire.
            if words is not None:
                ends[i] = _waiting(
                    canvas, ends[i], self._waits[i], x + MARGIN_OF_ROWS + self._inner + LEAD, leave, words
                )
            self._lead_to_sum(canvas, sum_x, ends[i], i, leaves)
        self._add_up(canvas, sum_x, ends, leaves)
        for i, (text, bold) in enumerate(reversed(self._words)):
            canvas.labels.append(
                Label(sum_x, leaves[0] - RADIUS - 6.0 - LINE * i, text, SMALL, bold=bold, muted=not bold)
            )
        return canvas.begin(
            sum_x + RADIUS, leaves[0], self._gives, silent=all(end.silent for end in ends),
            cut=not self._is_block and all(end.cut for end in ends), beside=self._beside,
        )  # fmt: skip

    def _lead_to_sum(self, canvas: Canvas, x: float, end: OpenWire, lane: int, leaves: list[float]) -> None:
        """Lead a lane's end to a circle of its own, the last one up into the circle above it."""
        last = len(leaves) - 1
        if lane < last or last == 0:
            canvas.circles.append(Circle(x, leaves[lane], RADIUS, "sum"))
            canvas.end(end.to(x - RADIUS, leaves[lane]))
        else:
            canvas.end(end.to(x, leaves[lane]).to(x, leaves[lane - 1] + RADIUS))

    def _add_up(self, canvas: Canvas, x: float, ends: list[OpenWire], leaves: list[float]) -> None:
        """Lead each circle's wire to the one above it."""
        for i in range(len(ends) - 2, 0, -1):
            lower = canvas.begin_upward(
                x, leaves[i] - RADIUS, self._part_sums[i - 1], silent=all(end.silent for end in ends[i:]),
                cut=all(end.cut for end in ends[i:]),
            )  # fmt: skip
            canvas.end(lower.to(x, leaves[i - 1] + RADIUS))
        if self._turned:
            canvas.labels.append(Label(x - 8.0, leaves[0] + RADIUS + 17.0, MINUS, LARGE, "end", bold=True))


def waiting_width(tails: Iterable[float]) -> float:
    """How much wider a fork is where lanes wait, by the lengths of the wires behind the boxes."""
    return max((WAIT_WIDTH + max(LEAD, tail) for tail in tails), default=0.0)


def _words_of_waiting(canvas: Canvas, ends: Sequence[OpenWire]) -> list[str | None]:
    """How long each lane waits for the latest, if that is known; None of one that does not wait."""
    times_ms = [_time_ms(canvas, end) for end in ends]
    latest_ms = max((time_ms for time_ms in times_ms if time_ms is not None), default=0.0)
    alike = len({end.since for end in ends if not end.cut}) == 1
    found: list[str | None] = []
    for end, time_ms in zip(ends, times_ms, strict=True):
        wait_ms = None if time_ms is None else latest_ms - time_ms
        waits = not (end.cut or alike or (wait_ms is not None and wait_ms < LEAST_WAIT_MS))
        found.append(("to the latest" if wait_ms is None else f"{wait_ms:.1f} ms later") if waits else None)
    return found


def _time_ms(canvas: Canvas, end: OpenWire) -> float | None:
    """How late a lane ends, if that is known and matters."""
    known = None if end.cut else canvas.figures.get(end.name)
    return None if known is None else known.latency_ms if known.longest_ms is None else known.longest_ms


def _waiting(canvas: Canvas, end: OpenWire, name: str, x: float, y: float, words: str) -> OpenWire:
    """Lead a lane through a box that says that it waits."""
    canvas.end(end.to(x, y))
    canvas.boxes.append(Box(x, y - BOX_HEIGHT / 2, WAIT_WIDTH, BOX_HEIGHT, "wait", "aligned", words))
    canvas.labels.append(Label(x + WAIT_WIDTH / 2, y - 4.0, "aligned", SMALL))
    canvas.labels.append(Label(x + WAIT_WIDTH / 2, y + 13.0, words, SMALL, muted=True))
    return canvas.begin(x + WAIT_WIDTH, y, name, silent=end.silent)


class OutOfChain:
    """A blender that is out of the chain: the wire goes around it, and its wet path ends there.

    Attributes
    ----------
    wet : Part
    box : Part
        The blender itself.
    """

    def __init__(self, wet: Part, box: Part) -> None:
        self._wet, self._box = wet, box
        self._line = box.down + LANE_GAP + wet.up
        self.width = MARGIN_OF_ROWS + wet.width + box.width
        self.leave = 0.0
        self.up, self.down = box.up, self._line + wet.down

    def put(self, canvas: Canvas, x: float, y: float, wire: OpenWire) -> OpenWire:
        dot_x, box_x = x + MARGIN_OF_ROWS - 4.0, x + MARGIN_OF_ROWS + self._wet.width
        inner = wire.branch((dot_x, y), (dot_x, y + self._line))
        canvas.circles.append(Circle(dot_x, y, 3.0, "branch"))
        end = self._wet.put(canvas, x + MARGIN_OF_ROWS, y + self._line, inner)
        after = self._box.put(canvas, box_x, y, wire.to(dot_x, y))
        box = canvas.boxes[-1]
        middle = box.x + box.width / 2
        canvas.end(end.to(middle, end.points[-1][1]).to(middle, box.y + box.height), arrow=False)
        return after
