"""The drawing as SVG: well-formed, escaped, readable without eyes, its wires places to press."""

from __future__ import annotations

import io
from xml.etree import ElementTree

import pytest
from hypothesis import HealthCheck, given, settings
from matplotlib.image import imread

from chainsim.listen.drawing.layout import lay_out
from chainsim.listen.drawing.png import DOTS, draw_png
from chainsim.listen.drawing.svg import draw_svg
from chainsim.listen.drawing.wires import WireFigures
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import State
from tests.listen.drawing.random_chains import sketch_texts

SVG = "{http://www.w3.org/2000/svg}"
TEXT = """
chain = ["tone", { lanes = ["dry", { chain = ["echo"], level_db = -3 }] }, "late_gate"]
[blocks.tone]
type = "equalizer"
[blocks.echo]
type = "delay"
[blocks.late_gate]
type = "noise_gate"
listens_to = "input"
"""

few = settings(max_examples=8, derandomize=True, deadline=None, database=None, suppress_health_check=list(HealthCheck))


@pytest.fixture(scope="module")
def state() -> State:
    return parse_sketch(TEXT).base


def parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def texts(root: ElementTree.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


@few
@given(sketch_texts())
def test_it_is_xml_and_shows_every_label(text: str) -> None:
    state = parse_sketch(text).base
    root = parsed(draw_svg(state, title="all of it"))
    layout = lay_out(state)
    assert texts(root) == [label.text for label in layout.labels]
    samples = [e.attrib["class"].split()[1] for e in root.iter() if e.get("class", "").startswith("sample ")]
    assert samples == [sample.kind for sample in layout.legend]
    assert len(list(root.iter(f"{SVG}rect"))) == len(layout.boxes) + samples.count("out")
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    assert (width, height) == (pytest.approx(layout.width, abs=0.1), pytest.approx(layout.height, abs=0.1))


def test_it_needs_no_style_and_no_script(state: State) -> None:
    root = parsed(draw_svg(state, title="plain"))
    names = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert names == {"svg", "title", "desc", "g", "path", "polygon", "rect", "circle", "text"}
    attributes = {name for element in root.iter() for name in element.attrib}
    # A page's content security policy forbids style attributes; equal drawings must not share an id.
    assert not attributes & {"style", "id", "href", "onclick"}
    colours = {element.attrib[a] for element in root.iter() for a in ("fill", "stroke") if a in element.attrib}
    assert colours == {"currentColor", "none"}


def test_a_file_of_its_own_brings_paper_and_ink(state: State) -> None:
    root = parsed(draw_svg(state, title="alone", standalone=True))
    (style,) = root.iter(f"{SVG}style")
    assert "prefers-color-scheme: dark" in (style.text or "")


def test_readers_that_do_not_see_are_told(state: State) -> None:
    root = parsed(draw_svg(state, title="Signal flow of Lantern parade"))
    assert root.attrib["aria-label"] == root.findtext(f"{SVG}title") == "Signal flow of Lantern parade"
    told = "From the horn to the house: tone (equalizer), echo (delay), late_gate (noise gate)."
    assert root.findtext(f"{SVG}desc") == told


def test_they_are_told_of_a_wet_path_that_is_turned() -> None:
    blend = 'chain = [{ blender = "mix", wet = ["gain"] }]\n[blocks.mix]\ntype = "blender"\nflip_wet = true'
    told = "gain (gain), mix (blender, the polarity of its wet path turned)."
    assert told in draw_svg(parse_sketch(blend).base, title="turned")
    assert "mix (blender, out of the chain)." in draw_svg(parse_sketch(f"{blend}\nengaged = false").base, title="out")


@pytest.mark.parametrize("title", ["<script>alert(1)</script>", "a & b", "\"quoted\" 'twice'", "\x01 \ufffe bell"])
def test_titles_are_text(title: str, state: State) -> None:
    svg = draw_svg(state, title=title, heading=title, sounds={"echo": f'"><script>{title}'})
    assert "<script" not in svg
    root = parsed(svg)
    shown = title.replace("\x01", "\ufffd").replace("\ufffe", "\ufffd")
    assert root.attrib["aria-label"] == root.findtext(f"{SVG}title") == shown


def test_wires_that_can_be_heard_are_places_to_press(state: State) -> None:
    root = parsed(draw_svg(state, title="heard", sounds={"input": "w-input", "lane 1.2": "w-lane", "nowhere": "w"}))
    pressed = [element for element in root.iter() if "data-sound" in element.attrib]
    assert [(p.attrib["data-sound"], p.attrib["aria-label"]) for p in pressed] == [
        ("w-input", "hear input"),
        ("w-lane", "hear lane 1.2"),
    ]
    for element in pressed:
        assert (element.attrib["role"], element.attrib["tabindex"]) == ("button", "0")
        (hit,) = (path for path in element.iter(f"{SVG}path") if path.attrib["class"] == "hit")
        assert float(hit.attrib["stroke-width"]) >= 16


def test_the_dashed_wire_is_no_second_place_to_press(state: State) -> None:
    root = parsed(draw_svg(state, title="heard", sounds={"input": "w-input"}))
    kinds = [(e.attrib["class"], "data-sound" in e.attrib) for e in root.iter() if e.get("data-wire") == "input"]
    assert sorted(kinds) == [("wire detector", False), ("wire sound", True)]


def test_figures_name_their_wire(state: State) -> None:
    root = parsed(draw_svg(state, title="measured", figures={"echo": WireFigures(1.25, -31.0)}))
    told = [(e.attrib["data-figure-of"], e.text) for e in root.iter() if "data-figure-of" in e.attrib]
    assert told == [("echo", "\N{MINUS SIGN}31.0 LUFS"), ("echo", "1.2 ms")]


def test_the_picture_has_two_dots_a_unit_and_ink_on_it(state: State) -> None:
    layout = lay_out(state)
    picture = imread(io.BytesIO(draw_png(state)))
    size = (layout.height * DOTS, layout.width * DOTS)
    assert picture.shape[:2] == pytest.approx(size, abs=1.0)
    # The middle of the tone's left side is ink; a unit inside of it is paper.
    box = layout.boxes[0]
    y, x = round((box.y + 8.0) * DOTS), round(box.x * DOTS)
    assert picture[y, x, :3].max() < 0.4
    assert picture[y, x + 8, :3].min() > 0.9
