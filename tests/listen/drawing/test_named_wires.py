"""The names of wires: all that a probe may ask for, and what is told of each."""

from __future__ import annotations

from xml.etree import ElementTree

from hypothesis import HealthCheck, given, settings

from chainsim.graph.wiring import heard_at, wire
from chainsim.listen.drawing.layout import OUT, lay_out
from chainsim.listen.drawing.named_wires import named_wires
from chainsim.listen.drawing.svg import draw_svg
from chainsim.sketch.chain import INPUT
from chainsim.sketch.loading import parse_sketch
from tests.listen.drawing.random_chains import sketch_texts

SVG = "{http://www.w3.org/2000/svg}"
TEXT = """
trim_db = -2
chain = ["late", { lanes = ["dry", { chain = ["echo"], level_db = -3, pan = 0.25 }, ["gone"]], align = true },
         { blender = "mix", wet = [] }]
[blocks.late]
type = "noise_gate"
[blocks.echo]
type = "delay"
[blocks.gone]
type = "gain"
engaged = false
[blocks.mix]
type = "blender"
wet_db = -3
flip_wet = true
"""
TOLD = {
    "input": "the horn, as it comes",
    "late": "noise gate",
    "lane 1.1": "as late",
    "echo": "delay",
    "lane 1.2 before pan": "echo, -3 dB",
    "lane 1.2": "lane 1.2 before pan, panned: 25 % right",
    "gone": "as late: gain, out of the chain",
    "lane 1.3": "as late",
    "lane 1.1 aligned": "lane 1.1, in time with the latest lane",
    "lane 1.2 aligned": "lane 1.2, in time with the latest lane",
    "lane 1.3 aligned": "lane 1.3, in time with the latest lane",
    "sum 1.2": "lanes 1.2 and 1.3 together",
    "sum 1": "lanes 1.1 to 1.3 together",
    "mix dry": "sum 1, +0 dB",
    "mix wet": "sum 1, -3 dB, polarity turned",
    "mix": "mix dry and mix wet together",
    "out": "to the house, trimmed by -2 dB: what a render gives",
}

few = settings(max_examples=25, derandomize=True, deadline=None, database=None, suppress_health_check=list(HealthCheck))


@few
@given(sketch_texts())
def test_there_are_all_that_a_probe_may_ask_for_in_the_order_of_the_drawing(text: str) -> None:
    state = parse_sketch(text).base
    wires = named_wires(state)
    names = [one.name for one in wires]
    wiring = wire(state)
    assert len(set(names)) == len(names)
    assert set(names) == {INPUT, *wiring.points}
    drawn = lay_out(state).wire_names
    assert [name for name in names if name in drawn] == list(drawn)
    for one in wires:
        if one.same_as is not None:
            assert heard_at(one.name, wiring) == heard_at(one.same_as, wiring)


def test_what_runs_on_each_is_told() -> None:
    state = parse_sketch(TEXT).base
    assert {one.name: one.what for one in named_wires(state)} == TOLD
    assert [one.name for one in named_wires(state)] == list(TOLD)
    assert OUT not in wire(state).points


def test_a_wire_of_an_svg_tells_its_names() -> None:
    root = ElementTree.fromstring(draw_svg(parse_sketch(TEXT).base, title="named", sounds={"echo": "w-echo"}))
    groups = [element for element in root.iter() if element.get("data-wire")]
    told = {group.attrib["data-wire"]: group.findtext(f"{SVG}title") for group in groups}
    assert told["sum 1.2"] == "sum 1.2: lanes 1.2 and 1.3 together"
    assert told["late"] == "late: noise gate; also lane 1.1; also gone; also lane 1.3"
    assert told["echo"] == "hear echo"
    assert all(told.values())
