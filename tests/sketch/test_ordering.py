"""Rules for orders: what is read, every fault in one line of its own, and how two sets of rules join."""

from __future__ import annotations

import tomllib

import jsonschema
import pytest

from chainsim.errors import SketchError
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.ordering import OrderRules
from chainsim.sketch.schema import sketch_schema

CHAIN = 'chain = ["gain", { lanes = ["dry", ["reverb"]] }, "tremolo", "pan"]\n[patches.p]\nchain = ["gain", "delay"]\n'
GOOD = """[orders]
move = ["gain", "reverb", "tremolo", "pan"]
first = ["gain"]
last = ["reverb", "pan"]
before = [["gain", "pan"], ["gain", "delay"]]
together = [["gain", "tremolo"]]
side_by_side = [["reverb", "pan"]]
"""


def test_rules_are_read_as_written() -> None:
    assert parse_sketch(CHAIN + GOOD).orders == OrderRules(
        move=("gain", "reverb", "tremolo", "pan"),
        first=("gain",),
        last=("reverb", "pan"),
        before=(("gain", "pan"), ("gain", "delay")),
        together=(("gain", "tremolo"),),
        side_by_side=(("reverb", "pan"),),
    )
    assert parse_sketch(CHAIN).orders == OrderRules()
    assert not parse_sketch(CHAIN).orders
    jsonschema.validate(tomllib.loads(CHAIN + GOOD), sketch_schema())


FAULTS = [
    ('[[orders]]\nfirst = ["gain"]', ["orders: allowed a table, such as [orders]"]),
    ('[orders]\nlost = ["gain"]', ['orders.lost: no setting "lost"; did you mean "last"?']),
    ('[orders]\nfirst = "gain"', ["orders.first = 'gain', allowed a list"]),
    ('[orders]\nbefore = ["gain", "pan"]', ["orders.before[0] = 'gain', allowed a list"]),
    ("[orders]\nbefore = [[1, 2]]", ["orders.before[0][0] = 1, allowed words in quotes"]),
    ('[orders]\nmove = ["gain"]', ['orders.move: only "gain", allowed two or more']),
    ('[orders]\ntogether = [["gain"]]', ['orders.together[0]: only "gain", allowed two or more']),
    ("[orders]\nside_by_side = [[]]", ["orders.side_by_side[0]: no names, allowed two or more"]),
    ('[orders]\nbefore = [["gain", "pan", "reverb"]]', ["orders.before[0]: 3 names, allowed two"]),
    (
        '[orders]\nfirst = ["gian"]\nlast = 3\ntogether = [["gain", "pan"], ["pan", "pan", "hall"]]',
        [
            'orders.first: "gian" is in no chain; did you mean "gain"?',
            "orders.last = 3, allowed a list",
            'orders.together[1]: "pan" stands there 2 times',
            'orders.together[1]: "hall" is in no chain',
        ],
    ),
]


@pytest.mark.parametrize(("text", "lines"), FAULTS)
def test_every_fault_has_a_line(text: str, lines: list[str]) -> None:
    with pytest.raises(SketchError) as caught:
        parse_sketch(CHAIN + text)
    for line in lines:
        assert any(line in fault for fault in caught.value.faults), caught.value.faults


def test_the_command_line_adds_and_says_what_moves() -> None:
    sketch = OrderRules(move=("a", "b"), first=("a",), last=("z",), before=(("a", "b"),), together=(("a", "b"),))
    line = OrderRules(move=("a", "b", "c"), first=("a", "b"), last=("c",), before=(("a", "b"), ("b", "c")))
    assert sketch.joined(line) == OrderRules(
        move=("a", "b", "c"),
        first=("a", "b"),
        last=("c", "z"),
        before=(("a", "b"), ("b", "c")),
        together=(("a", "b"),),
    )
    assert sketch.joined(OrderRules()) == OrderRules().joined(sketch) == sketch


@pytest.mark.parametrize(
    ("kind", "own", "given", "both"),
    [
        ("first", "ab", "b", "ab"),
        ("first", "ac", "abc", None),  # that b stands between them is not what the sketch says
        ("first", "ab", "ba", None),
        ("first", "a", "ba", None),
        ("last", "z", "yz", "yz"),
        ("last", "yz", "xy", "xyz"),
        ("last", "yz", "zy", None),
        ("last", "z", "zy", None),
    ],
)
def test_lists_keep_both_sequences_or_contradict_each_other(kind: str, own: str, given: str, both: str | None) -> None:
    sketch, line = OrderRules(**{kind: tuple(own)}), OrderRules(**{kind: tuple(given)})
    if both is not None:
        assert getattr(sketch.joined(line), kind) == tuple(both)
        return
    with pytest.raises(SketchError) as caught:
        sketch.joined(line)
    assert caught.value.faults == [
        f'{kind}: "{", ".join(given)}", but the sketch says "{", ".join(own)}"; these contradict each other'
    ]
