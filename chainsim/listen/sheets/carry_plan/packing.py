"""Boxes on a board: rectangles side by side, turned or not, with a gap between any two.

Rows come first, for hands find their way among them, and what a foot presses comes before what it does not. Where no
row will do, every box is pushed into the corner that
the others leave nearest to the player, in several orders. Where that fails too, an integer program settles it: of two
boxes one lies left of the other, right, before or behind it [1]_.

References
----------
.. [1] C. S. Chen, S. M. Lee, Q. S. Shen, "An analytical model for the container loading problem", European Journal of
   Operational Research 80 (1995), in two dimensions.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal, TypeAlias

from chainsim.listen.sheets.carry_plan.integer_program import IntegerProgram, SearchTooLargeError

MOST_SETTLED = 8
"""So many boxes at the most are put to the integer program."""
MOST_NODES = 500
STEP_MM = 10
_ROUNDING_MM = 1e-6

Size: TypeAlias = tuple[float, float]
Verdict: TypeAlias = Literal["laid out", "does not fit", "not settled"]


@dataclass(frozen=True)
class Place:
    """Where a box lies: its left front corner from the board's, its width and depth as it lies there, in mm."""

    left_mm: float
    front_mm: float
    width_mm: float
    depth_mm: float
    turned: bool


@dataclass(frozen=True)
class Packing:
    """What came of it; `places` in the order of the boxes, empty unless they are laid out."""

    verdict: Verdict
    places: tuple[Place, ...] = ()


def pack(sizes: Sequence[Size], board: Size, gap_mm: float, front: Sequence[bool] = ()) -> Packing:
    """Lay boxes out on a board.

    Parameters
    ----------
    sizes : sequence of (width, depth) in mm
    board : (width, depth) in mm
    gap_mm : float
        Between any two boxes; at the edge there need be none.
    front : sequence of bool
        Of each box, whether it should have none before it of those that need not be in front; empty: it is all the
        same. It decides between layouts, not whether there is one.

    Returns
    -------
    Packing
        "does not fit" is proven; "not settled" means that no layout was found, not that there is none.
    """
    # A gap between any two is a border right of and behind each, on a board so much larger.
    boxes = [(w + gap_mm, d + gap_mm) for w, d in sizes]
    wide, deep = board[0] + gap_mm + _ROUNDING_MM, board[1] + gap_mm + _ROUNDING_MM
    if not all(_goes(box, wide, deep) for box in boxes) or sum(w * d for w, d in boxes) > wide * deep:
        return Packing("does not fit")
    best = _in_some_order(sizes, boxes, wide, deep, front)
    if best is not None:
        return best
    if len(boxes) > MOST_SETTLED:
        return Packing("not settled")
    try:
        settled = _settled(boxes, wide, deep)
    except SearchTooLargeError:
        return Packing("not settled")
    return Packing("does not fit") if settled is None else _laid_out(sizes, settled)


def out_of_reach(places: Sequence[Place], front: Sequence[bool]) -> list[int]:
    """Which of the boxes that should be in front have others before them that need not be."""
    others = [place for place, is_front in zip(places, front, strict=True) if not is_front]
    return [i for i, place in enumerate(places) if front[i] and any(_before(other, place) for other in others)]


def _before(other: Place, place: Place) -> bool:
    """Whether it lies between a box and the player."""
    across = min(other.left_mm + other.width_mm, place.left_mm + place.width_mm) - max(other.left_mm, place.left_mm)
    return other.front_mm < place.front_mm and across > _ROUNDING_MM


def boards_that_do(sizes: Sequence[Size], board: Size, gap_mm: float) -> list[Size]:
    """Larger boards on which a layout is found: as wide and deeper, as deep and wider, or else larger both ways.

    In steps of 10 mm; a smaller one is not ruled out.
    """

    def find(across: bool, along: bool) -> Size | None:
        def at(steps: int) -> Size:
            wide, deep = ((math.floor(side / STEP_MM) + steps) * STEP_MM for side in board)
            return wide if across else board[0], deep if along else board[1]

        most = math.ceil(sum(max(size) + gap_mm for size in sizes) / STEP_MM)
        if not _goes_in(sizes, at(most), gap_mm):
            return None
        low, high = 0, most  # no layout was found with the one, and one was with the other
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if _goes_in(sizes, at(middle), gap_mm) else (middle, high)
        return at(high)

    either = [size for size in (find(False, True), find(True, False)) if size is not None]
    both = [] if either else [find(True, True)]
    return [*either, *(size for size in both if size is not None)]


def _goes_in(sizes: Sequence[Size], board: Size, gap_mm: float) -> bool:
    boxes = [(w + gap_mm, d + gap_mm) for w, d in sizes]
    wide, deep = board[0] + gap_mm + _ROUNDING_MM, board[1] + gap_mm + _ROUNDING_MM
    return all(_goes(box, wide, deep) for box in boxes) and _in_some_order(sizes, boxes, wide, deep, ()) is not None


def _in_some_order(
    sizes: Sequence[Size], boxes: Sequence[Size], wide: float, deep: float, front: Sequence[bool]
) -> Packing | None:
    """The layout that is best under a foot, or the first if nothing is to be in front; None if none is found."""
    best, least = None, (math.inf, math.inf, math.inf)
    for order, turns in _orders(boxes, wide, deep, front):
        for lay in (_in_rows, _in_corners):
            corners = lay([boxes[i][::-1] if turns[i] else boxes[i] for i in order], wide, deep)
            if corners is not None:
                at = dict(zip(order, corners, strict=True))
                found = _laid_out(sizes, [(*at[i], turns[i]) for i in range(len(sizes))])
                if not any(front):
                    return found
                worse = _under_foot(found.places, front)
                if worse < least:
                    best, least = found, worse
                if not any(least):
                    return best
    return best


def _under_foot(places: Sequence[Place], front: Sequence[bool]) -> tuple[float, float, float]:
    """Of what should be in front how many are out of reach, how many turned, and how far away they are, added up."""
    pressed = [place for place, is_front in zip(places, front, strict=True) if is_front]
    away_mm = sum(place.front_mm for place in pressed)
    return len(out_of_reach(places, front)), sum(place.turned for place in pressed), away_mm


def _laid_out(sizes: Sequence[Size], found: Sequence[tuple[float, float, bool]]) -> Packing:
    places = []
    for (width, depth), (left, front, turned) in zip(sizes, found, strict=True):
        sides = (depth, width) if turned else (width, depth)
        places.append(Place(round(left, 3) + 0.0, round(front, 3) + 0.0, *sides, turned))
    return Packing("laid out", tuple(places))


def _goes(box: Size, wide: float, deep: float) -> bool:
    return (box[0] <= wide and box[1] <= deep) or (box[1] <= wide and box[0] <= deep)


def _orders(
    boxes: Sequence[Size], wide: float, deep: float, front: Sequence[bool]
) -> Iterator[tuple[list[int], list[bool]]]:
    """Orders in which to lay them, and which to turn: as they are read, then lying, then standing.

    First those that begin with what should be in front, then, if that is not all the same, any.
    """
    measures: tuple[Callable[[Size], float], ...] = (
        lambda box: -box[1],
        lambda box: -box[0] * box[1],
        lambda box: -box[0],
        lambda box: -max(box),
    )
    wanted: tuple[Callable[[Size], bool], ...] = (
        lambda box: False,
        lambda box: box[1] > box[0],
        lambda box: box[0] > box[1],
    )
    none = [False] * len(boxes)
    for first in (front, none) if any(front) else (none,):
        for turn in wanted:
            turns = [_turned(box, turn(box), wide, deep) for box in boxes]
            lying = [box[::-1] if turned else box for box, turned in zip(boxes, turns, strict=True)]
            for measure in measures:
                keys = [(not is_front, measure(box)) for is_front, box in zip(first, lying, strict=True)]
                yield sorted(range(len(boxes)), key=keys.__getitem__), turns


def _turned(box: Size, wanted: bool, wide: float, deep: float) -> bool:
    """Turned as wanted, if the board has room for it so."""
    width, depth = box[::-1] if wanted else box
    return wanted if width <= wide and depth <= deep else not wanted


def _in_rows(boxes: Sequence[Size], wide: float, deep: float) -> list[Size] | None:
    """First fit: each box goes into the first row in which it finds room, or begins one behind the last."""
    rows: list[list[float]] = []  # front, depth, width taken
    corners = []
    for width, depth in boxes:
        row = next((r for r in rows if depth <= r[1] and r[2] + width <= wide), None)
        if row is None:
            row = [sum(r[1] for r in rows), depth, 0.0]
            if row[0] + depth > deep:
                return None
            rows.append(row)
        corners.append((row[2], row[0]))
        row[2] += width
    return corners


def _in_corners(boxes: Sequence[Size], wide: float, deep: float) -> list[Size] | None:
    """Each box goes where it lies furthest to the front, then furthest left, with its sides against others'."""
    laid: list[tuple[float, float, float, float]] = []
    for width, depth in boxes:
        lefts = {0.0, *(left + w for left, _, w, _ in laid)}
        fronts = {0.0, *(front + d for _, front, _, d in laid)}
        spots = (
            (front, left)
            for front in fronts
            for left in lefts
            if left + width <= wide
            and front + depth <= deep
            and all(left + width <= x or x + w <= left or front + depth <= y or y + d <= front for x, y, w, d in laid)
        )
        spot = min(spots, default=None)
        if spot is None:
            return None
        laid.append((spot[1], spot[0], width, depth))
    return [(left, front) for left, front, _, _ in laid]


def _settled(boxes: Sequence[Size], wide: float, deep: float) -> list[tuple[float, float, bool]] | None:
    """Left front corners, and which box is turned, by an integer program; None if there are none."""
    program = IntegerProgram()
    unit = max(wide, deep)
    boxes, wide, deep = [(w / unit, d / unit) for w, d in boxes], wide / unit, deep / unit
    lefts = [program.variable(high=wide, whole=False) for _ in boxes]
    fronts = [program.variable(high=deep, whole=False) for _ in boxes]
    turns = [program.variable() for _ in boxes]
    for (w, d), left, front, turn in zip(boxes, lefts, fronts, turns, strict=True):
        program.row({left: 1.0, turn: d - w}, high=wide - w)
        program.row({front: 1.0, turn: w - d}, high=deep - d)
    for i, j in combinations(range(len(boxes)), 2):
        sides = [program.variable() for _ in range(4)]
        program.row(dict.fromkeys(sides, 1.0), low=1.0)
        for (a, b), across, along in (((i, j), sides[0], sides[1]), ((j, i), sides[2], sides[3])):
            w, d = boxes[a]
            program.row({lefts[a]: 1.0, lefts[b]: -1.0, turns[a]: d - w, across: wide}, high=wide - w)
            program.row({fronts[a]: 1.0, fronts[b]: -1.0, turns[a]: w - d, along: deep}, high=deep - d)
    solution = program.minimise(dict.fromkeys(fronts, 1.0), most_nodes=MOST_NODES)
    if solution is None:
        return None
    found = solution.values
    corners = zip(lefts, fronts, turns, strict=True)
    return [(float(found[x]) * unit, float(found[y]) * unit, bool(found[t])) for x, y, t in corners]
