"""Boxes on a board: against every placement on a grid, and layouts that are known."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.listen.sheets.carry_plan.inventory import is_pressed
from chainsim.listen.sheets.carry_plan.packing import Packing, Place, Size, boards_that_do, out_of_reach, pack
from chainsim.listen.sheets.carry_plan.planning import carry_plan
from chainsim.listen.sheets.carry_plan.reading import parse_inventory
from chainsim.listen.sheets.carry_plan.rows import alarms
from chainsim.sketch.loading import parse_sketch


def fits_on_grid(sizes: list[tuple[int, int]], board: tuple[int, int], taken: int = 0) -> bool:
    """Whether boxes of whole sizes go on a board, by trying every cell: pushed front and left, all lie on those."""
    if not sizes:
        return True
    wide, deep = board
    for width, depth in {sizes[0], sizes[0][::-1]}:
        for left, front in product(range(wide - width + 1), range(deep - depth + 1)):
            cells = sum(1 << (x + wide * y) for x, y in product(range(left, left + width), range(front, front + depth)))
            if not cells & taken and fits_on_grid(sizes[1:], board, taken | cells):
                return True
    return False


def check_layout(packing: Packing, sizes: list[Size], board: Size, gap_mm: float) -> None:
    """Every box is as large as it is, on the board, and a gap from every other."""
    assert len(packing.places) == len(sizes)
    for place, size in zip(packing.places, sizes, strict=True):
        assert (place.width_mm, place.depth_mm) == (size[::-1] if place.turned else size)
        assert min(place.left_mm, place.front_mm) >= -1e-3
        assert place.left_mm + place.width_mm <= board[0] + 1e-3
        assert place.front_mm + place.depth_mm <= board[1] + 1e-3
    for i, p in enumerate(packing.places):
        assert all(apart(p, q) >= gap_mm - 2e-3 for q in packing.places[:i])


def apart(p: Place, q: Place) -> float:
    return max(
        p.left_mm - q.left_mm - q.width_mm,
        q.left_mm - p.left_mm - p.width_mm,
        p.front_mm - q.front_mm - q.depth_mm,
        q.front_mm - p.front_mm - p.depth_mm,
    )


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.integers(1, 3), st.integers(1, 3)), min_size=1, max_size=5),
    st.tuples(st.integers(3, 5), st.integers(3, 5)),
)
def test_small_boards_against_every_placement(sizes: list[tuple[int, int]], board: tuple[int, int]) -> None:
    packing = pack([(float(w), float(d)) for w, d in sizes], board, 0.0)
    assert packing.verdict == ("laid out" if fits_on_grid(sizes, board) else "does not fit")
    if packing.places:
        check_layout(packing, [(float(w), float(d)) for w, d in sizes], board, 0.0)


def test_four_lie_round_a_hole_where_no_rows_do() -> None:
    sizes = [(3.0, 2.0)] * 4 + [(1.0, 1.0)]  # a pinwheel fills 5 x 5 without remainder
    packing = pack(sizes, (5.0, 5.0), 0.0)
    assert packing.verdict == "laid out"
    check_layout(packing, sizes, (5.0, 5.0), 0.0)


@pytest.mark.parametrize(
    ("gap_mm", "verdict"),
    [(10.0, "laid out"), (10.5, "does not fit")],  # 3 x 100 and two gaps are 320
)
def test_gaps_count_between_boxes_and_not_at_the_edge(gap_mm: float, verdict: str) -> None:
    packing = pack([(100.0, 60.0)] * 3, (320.0, 60.0), gap_mm)
    assert packing.verdict == verdict


def test_a_long_box_is_turned() -> None:
    (place,) = pack([(400.0, 80.0)], (100.0, 420.0), 0.0).places
    assert (place.width_mm, place.depth_mm, place.turned) == (80.0, 400.0, True)


def test_what_a_foot_presses_lies_in_front() -> None:
    # The deepest box would begin the first row; the switcher of 420 x 90 mm is to lie before it.
    sizes = [(300.0, 180.0), (170.0, 130.0), (420.0, 90.0)]
    assert out_of_reach(pack(sizes, (660.0, 380.0), 12.0).places, [False, False, True]) == [2]
    packing = pack(sizes, (660.0, 380.0), 12.0, [False, False, True])
    check_layout(packing, sizes, (660.0, 380.0), 12.0)
    assert packing.places[2].front_mm == 0.0
    assert out_of_reach(packing.places, [False, False, True]) == []


def test_of_what_a_foot_presses_the_shallow_lies_before_the_deep() -> None:
    # 420 and 300 mm are not side by side on 660: with the switcher behind, its front edge would be at 192 mm.
    packing = pack([(300.0, 180.0), (420.0, 90.0)], (660.0, 380.0), 12.0, [True, True])
    assert [place.front_mm for place in packing.places] == [102.0, 0.0]


def test_where_only_one_of_two_can_be_in_front_both_are_laid_out() -> None:
    # Turned or not, two boxes of 10 x 10 mm on a board of 10 x 20 mm lie behind each other.
    packing = pack([(10.0, 10.0)] * 2, (10.0, 20.0), 0.0, [False, True])
    assert [place.front_mm for place in packing.places] == [10.0, 0.0]


@pytest.mark.parametrize(
    ("figures", "pressed"),
    [
        ("", False),
        ("loops = 2", True),
        ("programs = 2", True),
        ("loops = 2\nfront = false", False),
        ("front = true", True),
    ],
)
def test_a_foot_presses_what_has_loops_or_recalls_settings_unless_it_is_said(figures: str, pressed: bool) -> None:
    inventory = parse_inventory(f'[[gear]]\nname = "box"\npower = "none"\n{figures}')
    assert is_pressed(inventory.gear[0]) == pressed


def test_what_is_pressed_and_lies_behind_is_told() -> None:
    # Two boxes as wide as the board lie behind each other: as they are laid, then the other way round.
    text = "[limits]\nboard_width_mm = 100\nboard_depth_mm = 100\n" + "".join(
        f'[[gear]]\nname = "{name}"\nmakes = ["{makes}"]\npower = "none"\nwidth_mm = 100\ndepth_mm = {deep}\n'
        f"front = {front}\n"
        for name, makes, deep, front in (("echo box", "delay", 60, "false"), ("hall box", "reverb", 40, "true"))
    )
    plan = carry_plan(parse_sketch('title = "x"\nchain = ["delay", "reverb"]'), parse_inventory(text))
    assert not alarms(plan)
    first, last = plan.layout
    turned = replace(
        plan, layout=(replace(first, place=last.place), replace(last, place=replace(first.place, front_mm=40.0)))
    )
    assert alarms(turned) == [
        "hall box is pressed by foot and lies behind what is not: no layout was found with it in front"
    ]


@pytest.mark.parametrize(
    ("sizes", "board", "larger"),
    [
        # Side by side 2 x 100 and a gap of 10 are 210 wide, behind each other 2 x 60 and a gap 130 deep.
        ([(100.0, 60.0)] * 2, (105.0, 65.0), [(105.0, 130.0), (210.0, 65.0)]),
        ([(100.0, 60.0)], (50.0, 70.0), [(100.0, 70.0)]),  # no depth makes room for a box wider than the board
        ([(100.0, 100.0)], (50.0, 50.0), [(100.0, 100.0)]),
    ],
)
def test_boards_that_would_do(sizes: list[Size], board: Size, larger: list[Size]) -> None:
    assert boards_that_do(sizes, board, 10.0) == larger


def test_what_is_not_found_is_not_said_to_be_impossible() -> None:
    # 17 boxes fill 85 cells without remainder: too many to be settled.
    packing = pack([(3.0, 3.0)] * 4 + [(2.0, 2.0)] * 12 + [(1.0, 1.0)], (17.0, 5.0), 0.0)
    assert packing.verdict in ("laid out", "not settled")
