"""Dashed wires from what detectors listen to, led around everything else on a grid.

Each goes from the wire listened to, or from a dashed wire that comes from there already, to the top of its box: the
cheapest way by length, bends and crossings. It crosses wires at right angles only, never where they end or
branch, and runs along none.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from chainsim.listen.drawing.canvas import Canvas, Listener, OpenWire
from chainsim.listen.drawing.shapes import Circle, Point, Rect, Wire

PITCH = 8.0
CLEAR = 4.0
"""Least distance from boxes and letters."""
BESIDE = 6.0
"""Least distance from a wire of the same direction, and of a crossing from a wire's ends."""
BEND, CROSSING = 3.0, 4.0
"""What these cost, in steps of the grid."""
ARROW_ROOM = 12.0
"""Distance from the tip of an arrow."""
DOT = 2.5
ACROSS, ALONG = 0, 1
"""Directions: along x, along y."""

Node = tuple[int, int]
"""Column and row."""
Mask = npt.NDArray[np.bool_]


def route_listeners(canvas: Canvas, width: float, height: float) -> list[Listener]:
    """Lead a dashed wire to every listener of a canvas; return those that none can be led to."""
    grid = _Grid(canvas, width, height)
    trees: dict[str, _Tree] = {}
    stranded = []
    for listener in canvas.listeners:
        name = canvas.also.get(listener.source, listener.source)
        tree = trees.setdefault(name, _Tree(name, grid.starts(w for w in canvas.wires if w.name == name)))
        path = grid.path(tree, listener)
        if path is None:
            stranded.append(listener)
        else:
            grid.lay(canvas, tree, path, listener)
    return stranded


@dataclass
class _Tree:
    """Dashed wires from one source: nodes where one may begin on the wire itself, and nodes that one runs through."""

    name: str
    starts: dict[Node, tuple[Point, int]]
    nodes: set[Node] = field(default_factory=set)


class _Grid:
    def __init__(self, canvas: Canvas, width: float, height: float) -> None:
        self._columns, self._rows = int(width / PITCH), int(height / PITCH)
        self._x = PITCH / 2 + PITCH * np.arange(self._columns)
        self._y = PITCH / 2 + PITCH * np.arange(self._rows)
        shape = (self._columns, self._rows)
        self._blocked: Mask = np.zeros(shape, np.bool_)
        self._shut = (np.zeros(shape, np.bool_), np.zeros(shape, np.bool_))
        """Steps to the next column and to the next row that are not allowed."""
        self._crossings = (np.zeros(shape, np.int64), np.zeros(shape, np.int64))
        for rect in _rects(canvas):
            self._block(rect)
        for wire in canvas.wires:
            for number, (start, end) in enumerate(pairwise(wire.points)):
                self._add_wire(start, end, ARROW_ROOM if _is_head(wire, number) else BESIDE)

    def _block(self, rect: Rect) -> None:
        left, top, right, bottom = rect
        columns = (self._x > left - CLEAR) & (self._x < right + CLEAR)
        rows = (self._y > top - CLEAR) & (self._y < bottom + CLEAR)
        self._blocked |= columns[:, np.newaxis] & rows

    def _add_wire(self, start: Point, end: Point, room: float) -> None:
        """Forbid steps along a piece of wire and across its ends, `room` from the second; count those across it."""
        direction = ACROSS if start[1] == end[1] else ALONG
        low, high = sorted((start[direction], end[direction]))
        at = start[1 - direction]
        along, beside = (self._x, self._y) if direction == ACROSS else (self._y, self._x)
        near = (along > low - PITCH - BESIDE) & (along < high + BESIDE)
        self._shut[direction][...] |= _crossed(near, np.abs(beside - at) < BESIDE, direction)
        stepped_over = (beside <= at) & (at < beside + PITCH)
        self._crossings[1 - direction][...] += _crossed((along >= low) & (along <= high), stepped_over, direction)
        ends = (np.abs(along - start[direction]) < BESIDE) | (np.abs(along - end[direction]) < room)
        self._shut[1 - direction][...] |= _crossed(ends, stepped_over, direction)

    def starts(self, wires: Iterable[Wire]) -> dict[Node, tuple[Point, int]]:
        """Free nodes beside wires, each with the point of the wire it is reached from and the direction."""
        found: dict[Node, tuple[Point, int]] = {}
        for wire in wires:
            for number, (start, end) in enumerate(pairwise(wire.points)):
                direction = ACROSS if start[1] == end[1] else ALONG
                low, high = sorted((start[direction], end[direction]))
                room = ARROW_ROOM if _is_head(wire, number) else BESIDE
                along, beside = (self._x, self._y) if direction == ACROSS else (self._y, self._x)
                at = start[1 - direction]
                sides = np.flatnonzero((np.abs(beside - at) >= BESIDE) & (np.abs(beside - at) < BESIDE + PITCH))
                inside = (along > low + BESIDE) & (along < high - BESIDE) & (np.abs(along - end[direction]) > room)
                for i in np.flatnonzero(inside):
                    for j in sides:
                        node, point = (int(i), int(j)), (float(along[i]), at)
                        if direction == ALONG:
                            node, point = (node[1], node[0]), (point[1], point[0])
                        if not self._blocked[node]:
                            found.setdefault(node, (point, 1 - direction))
        return found

    def path(self, tree: _Tree, listener: Listener) -> list[Node] | None:
        """Cheapest way from a tree to over a listener; None if there is none.

        A* with the distance to the goal. A state is a node and the direction in which it was reached, as one number.
        """
        goal_column, goal_row = goal = self._goal(listener)
        rows, columns = self._rows, self._columns
        blocked = self._blocked.ravel().tolist()
        shut = [mask.ravel().tolist() for mask in self._shut]
        crossings = [counts.ravel().tolist() for counts in self._crossings]
        strides = (rows, 1)
        costs = [math.inf] * (2 * rows * columns)
        before: dict[int, int] = {}
        waiting: list[tuple[float, int]] = []

        def reach(cost: float, state: int, origin: int) -> None:
            if cost < costs[state]:
                costs[state], before[state] = cost, origin
                column, row = divmod(state >> 1, rows)
                heapq.heappush(waiting, (cost + abs(column - goal_column) + abs(row - goal_row), state))

        if tree.nodes:
            begins = [(node, direction) for node in tree.nodes for direction in (ACROSS, ALONG)]
        else:
            begins = [(node, direction) for node, (_, direction) in tree.starts.items()]
        for (column, row), direction in begins:
            reach(0.0, 2 * (column * rows + row) + direction, -1)
        end = 2 * (goal[0] * rows + goal[1]) + ALONG
        done = bytearray(len(costs))
        while waiting:
            _, state = heapq.heappop(waiting)
            if done[state]:
                continue
            done[state] = 1
            if state == end:
                return [divmod(node, rows) for node in _traced(before, end)]
            node, direction = state >> 1, state & 1
            cost = costs[state]
            reach(cost + BEND, state ^ 1, state)
            place, limit = (node // rows, columns) if direction == ACROSS else (node % rows, rows)
            stride = strides[direction]
            for first, target, inside in (
                (node, node + stride, place + 1 < limit),
                (node - stride, node - stride, place > 0),
            ):
                if inside and not blocked[target] and not shut[direction][first]:
                    reach(cost + 1.0 + CROSSING * crossings[direction][first], 2 * target + direction, state)
        return None

    def _goal(self, listener: Listener) -> Node:
        """The node from which the dashed wire goes down into the listener's box."""
        column = int(np.argmin(np.abs(self._x - listener.x)))
        return column, int(np.flatnonzero(self._y <= listener.y - ARROW_ROOM)[-1])

    def lay(self, canvas: Canvas, tree: _Tree, path: list[Node], listener: Listener) -> None:
        """Put down a dashed wire, and keep those of other sources from running along it."""
        points = [(float(self._x[i]), float(self._y[j])) for i, j in path]
        if not tree.nodes:
            points.insert(0, tree.starts[path[0]][0])
        x = points[-1][0]
        points.append((x, listener.y))
        wire = OpenWire(points[:1], tree.name)
        for point in points[1:]:
            wire.to(*point)
        canvas.wires.append(Wire(tuple(wire.points), tree.name, arrow=True, kind="detector"))
        canvas.circles.append(Circle(*points[0], DOT, "branch"))
        tree.nodes.update(path)
        for start, end in pairwise(wire.points):
            self._shut_along(start, end)
        for corner in wire.points[1:-1]:
            self._block((*corner, *corner))

    def _shut_along(self, start: Point, end: Point) -> None:
        """Forbid steps that lie on a piece of a dashed wire."""
        direction = ACROSS if start[1] == end[1] else ALONG
        low, high = sorted((start[direction], end[direction]))
        along, beside = (self._x, self._y) if direction == ACROSS else (self._y, self._x)
        on_it = (along > low - PITCH) & (along < high)
        self._shut[direction][...] |= _crossed(on_it, np.abs(beside - start[1 - direction]) < PITCH / 2, direction)


def _rects(canvas: Canvas) -> list[Rect]:
    shapes = (canvas.boxes, canvas.triangles, canvas.circles, canvas.labels)
    return [shape.rect for kind in shapes for shape in kind]


def _is_head(wire: Wire, number: int) -> bool:
    """Whether the arrow is on this piece of a wire."""
    return wire.arrow and number == len(wire.points) - 2


def _crossed(along: Mask, beside: Mask, direction: int) -> Mask:
    """Nodes that lie in one range along a direction and in another beside it."""
    return along[:, np.newaxis] & beside if direction == ACROSS else beside[:, np.newaxis] & along


def _traced(before: dict[int, int], end: int) -> list[int]:
    """Nodes on the way to a state, each once."""
    path: list[int] = []
    state = end
    while state >= 0:
        if not path or path[-1] != state >> 1:
            path.append(state >> 1)
        state = before[state]
    return path[::-1]
