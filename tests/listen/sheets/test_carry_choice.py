"""The smallest choice, against every subset of an inventory with every way to share out the blocks.

What is checked here is written down anew, by the words of the inventory's settings, not by the program's own parts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations, permutations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.listen.sheets.carry_plan.choosing import By, most_patches, smallest
from chainsim.listen.sheets.carry_plan.inventory import Gear, Inventory, InventoryHeader, Limits, Outlet, Supply
from chainsim.listen.sheets.carry_plan.wants import Wants, wants_of
from chainsim.sketch.loading import parse_sketch

TYPES = {"grit": "drive", "echo": "delay", "hall": "reverb"}
CHAIN = list(TYPES)


def wants(patches: Mapping[str, Mapping[str, int]]) -> Wants:
    """Patches of a chain of three, each block on at one of some settings."""
    text = f"chain = {CHAIN}\n" + "".join(f'[blocks.{n}]\ntype = "{t}"\n' for n, t in TYPES.items())
    for name, blocks in patches.items():
        text += f"[patches.{name}]\nengage = {list(blocks)}\n"
        text += "".join(f"blocks.{block}.wet_db = {-6 - k}\n" for block, k in blocks.items() if block != "grit")
        text += "".join(f"blocks.{block}.drive_db = {6 + k}\n" for block, k in blocks.items() if block == "grit")
    return wants_of(parse_sketch(text))


def inventory(gear: list[Gear], supplies: list[Supply], limits: Limits) -> Inventory:
    return Inventory(InventoryHeader(), gear, supplies, limits)


def assignments(asked: list[tuple[str, int]], boxes: list[Gear]) -> Iterator[dict[tuple[str, int], int]]:
    able = [[g for g, box in enumerate(boxes) if TYPES[block] in box.makes] for block, _ in asked]
    for chosen in product(*able):
        yield dict(zip(asked, chosen, strict=True))


def is_good(
    box_of: Mapping[tuple[str, int], int], boxes: list[Gear], patches: list[dict[str, int]], limits: Limits
) -> bool:
    order = set()
    for blocks in patches:
        path = [box_of[block, blocks[block]] for block in CHAIN if block in blocks]
        entered = [g for k, g in enumerate(path) if k == 0 or path[k - 1] != g]
        if len(set(entered)) < len(entered):  # one way in, one way out
            return False
        if sum(boxes[g].latency_ms for g in entered) > (limits.latency_ms or 0.0):
            return False
        order |= set(combinations(entered, 2))
    if any(pair[::-1] in order for pair in order):  # wired once
        return False
    for g, box in enumerate(boxes):
        scenes = [{(b, k) for b, k in blocks.items() if box_of[b, k] == g} for blocks in patches]
        if any(len(scene) > box.at_once for scene in scenes):
            return False
        if len(set().union(*scenes)) <= box.at_once:
            continue
        whole = [
            s for i, s in enumerate(scenes) if s and s not in scenes[:i] and not any(s < other for other in scenes)
        ]
        if len(whole) > box.programs:
            return False
    return True


def can_be_fed(boxes: list[Gear], supplies: list[Supply]) -> bool:
    outlets = [outlet for supply in supplies for outlet in supply.outlets]
    return any(
        all(
            o.voltage_v == b.voltage_v and (o.current_ma or 0) >= (b.current_ma or 0)
            for o, b in zip(way, boxes, strict=True)
        )
        for way in permutations(outlets, len(boxes))
    )


def best_by_trying(stock: Inventory, patches: list[dict[str, int]], by: By) -> tuple[float, ...] | None:
    """Boxes, mass and price of the best of all subsets, in the order of what counts."""
    asked = sorted({pair for blocks in patches for pair in blocks.items()})
    best = None
    for count in range(len(stock.gear) + 1):
        for boxes in combinations(stock.gear, count):
            for supplies in (s for k in range(len(stock.supplies) + 1) for s in combinations(stock.supplies, k)):
                mass = sum(i.mass_g or 0.0 for i in (*boxes, *supplies))
                price = sum(i.price or 0.0 for i in (*boxes, *supplies) if not i.owned)
                figures = {"boxes": float(count + len(supplies)), "mass": mass, "price": price}
                goal = (figures.pop(by), *figures.values())
                if mass > (stock.limits.mass_g or 0.0) or price > (stock.limits.budget or 0.0):
                    continue
                if (best is None or goal < best) and can_be_fed(list(boxes), list(supplies)):
                    ways = assignments(asked, list(boxes))
                    if any(is_good(way, list(boxes), patches, stock.limits) for way in ways):
                        best = goal
    return best


BOX = st.builds(
    Gear,
    name=st.just("box"),
    makes=st.lists(st.sampled_from(list(TYPES.values())), min_size=1, max_size=3, unique=True),
    at_once=st.integers(1, 2),
    programs=st.integers(1, 2),
    latency_ms=st.sampled_from([0.0, 3.0, 5.0]),
    mass_g=st.sampled_from([200.0, 300.0, 500.0]),
    price=st.sampled_from([50.0, 80.0]),
    owned=st.booleans(),
    voltage_v=st.sampled_from([9.0, 12.0]),
    current_ma=st.sampled_from([50.0, 150.0]),
)
OUTLET = st.builds(Outlet, voltage_v=st.sampled_from([9.0, 12.0]), current_ma=st.sampled_from([100.0, 200.0]))
SUPPLY = st.builds(
    Supply,
    name=st.just("supply"),
    outlets=st.lists(OUTLET, min_size=2, max_size=4),
    mass_g=st.just(250.0),
    price=st.just(40.0),
    owned=st.booleans(),
)
PATCH = st.dictionaries(st.sampled_from(CHAIN), st.integers(0, 1), min_size=1, max_size=3)
LIMITS = st.builds(
    Limits,
    mass_g=st.sampled_from([1100.0, 2500.0]),
    budget=st.sampled_from([140.0, 400.0]),
    latency_ms=st.sampled_from([6.0, 15.0]),
)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(
    st.lists(BOX, min_size=2, max_size=4),
    st.lists(SUPPLY, min_size=1, max_size=2),
    st.lists(PATCH, min_size=1, max_size=3),
    LIMITS,
    st.sampled_from(["boxes", "mass", "price"]),
)
def test_it_is_the_smallest_of_all_subsets(
    boxes: list[Gear], supplies: list[Supply], patches: list[dict[str, int]], limits: Limits, by: By
) -> None:
    gear = [box.model_copy(update={"name": f"box {k}"}) for k, box in enumerate(boxes)]
    stock = inventory(gear, supplies, limits)
    asked = wants({f"p{k}": blocks for k, blocks in enumerate(patches)})
    best = best_by_trying(stock, patches, by)
    choice = smallest(stock, asked, by=by)
    assert (choice is None) == (best is None)
    if choice is None:
        made = most_patches(stock, asked).made
        possible = [
            some
            for k in range(len(patches))
            for some in combinations(range(len(patches)), k)
            if best_by_trying(stock, [patches[i] for i in some], "boxes") is not None
        ]
        assert len(made) == max(map(len, possible))
        return
    items = [stock.items[i] for i in choice.carried]
    figures = {
        "boxes": float(len(items)),
        "mass": sum(i.mass_g or 0.0 for i in items),
        "price": sum(i.price or 0.0 for i in items if not i.owned),
    }
    assert (figures.pop(by), *figures.values()) == pytest.approx(best, abs=1e-6)
