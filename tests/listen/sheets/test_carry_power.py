"""Outlets and boxes: against every way to plug them in."""

from __future__ import annotations

from itertools import permutations

from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.listen.sheets.carry_plan.inventory import Gear, Outlet, Supply, feeds
from chainsim.listen.sheets.carry_plan.power import feeds_of

VOLTS, MILLIAMPERES = st.sampled_from([9.0, 12.0]), st.sampled_from([50.0, 100.0, 300.0])


def most_fed(boxes: list[Gear], outlets: list[Outlet]) -> int:
    """How many boxes can be fed, by trying every order of the outlets."""
    free: list[Outlet | None] = [*outlets, *[None] * len(boxes)]
    ways = ([free[k] for k in order] for order in permutations(range(len(free)), len(boxes)))
    return max(sum(o is not None and feeds(o, b) for o, b in zip(way, boxes, strict=True)) for way in ways)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(VOLTS, MILLIAMPERES), max_size=3),
    st.lists(st.tuples(VOLTS, MILLIAMPERES), max_size=3),
)
def test_as_many_are_fed_as_can_be(drawn: list[tuple[float, float]], given_: list[tuple[float, float]]) -> None:
    boxes = [Gear(name=f"box {k}", voltage_v=v, current_ma=ma) for k, (v, ma) in enumerate(drawn)]
    outlets = [Outlet(voltage_v=v, current_ma=ma) for v, ma in given_]
    found, unfed = feeds_of(boxes, [Supply(name="supply", outlets=outlets)])
    assert len(found) == (most_fed(boxes, outlets) if boxes else 0)
    assert len(found) + len(unfed) == len(boxes)
    assert len({feed.outlet for feed in found}) == len(found)
    for feed in found:
        assert feed.draws_ma <= feed.gives_ma
        assert outlets[feed.outlet - 1].voltage_v == feed.voltage_v


def test_the_outlet_with_least_to_spare_is_taken() -> None:
    boxes = [Gear(name="small", voltage_v=9.0, current_ma=20.0), Gear(name="large", voltage_v=9.0, current_ma=250.0)]
    outlets = [Outlet(voltage_v=9.0, current_ma=500.0), Outlet(voltage_v=9.0, current_ma=100.0)]
    found, _ = feeds_of(boxes, [Supply(name="supply", outlets=outlets)])
    assert [(feed.box, feed.outlet) for feed in found] == [("small", 2), ("large", 1)]


def test_voltage_kind_and_polarity_are_equal_or_there_is_no_feed() -> None:
    box = Gear(name="box", voltage_v=9.0, current_ma=20.0)
    wrong = [
        Outlet(voltage_v=12.0, current_ma=500.0),
        Outlet(voltage_v=9.0, current_ma=500.0, current="AC"),
        Outlet(voltage_v=9.0, current_ma=500.0, polarity="centre plus"),
        Outlet(voltage_v=9.0, current_ma=19.0),
    ]
    assert feeds_of([box], [Supply(name="supply", outlets=wrong)]) == ((), (box,))
    right = Outlet(voltage_v=9.0, current_ma=20.0, polarity="centre minus")
    assert len(feeds_of([box], [Supply(name="supply", outlets=[right])])[0]) == 1


def test_what_has_a_battery_needs_no_outlet() -> None:
    assert feeds_of([Gear(name="box", power="battery")], []) == ((), ())
