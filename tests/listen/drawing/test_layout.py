"""The laid-out signal flow: nothing overlaps, every wire arrives, and it says what the sketch says."""

from __future__ import annotations

import math
from itertools import combinations, pairwise

import pytest
from hypothesis import HealthCheck, given, settings

from chainsim.block import block_type
from chainsim.graph.wiring import After, Signal, Silence, Sum, heard_at, wire
from chainsim.listen.drawing.layout import PAGE_WIDTH, lay_out, level_text, pan_words, setting_words
from chainsim.listen.drawing.shapes import Box, Circle, Layout, Point, Rect, Wire
from chainsim.listen.drawing.wires import WireFigures
from chainsim.sketch.chain import block_names
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import State
from tests.listen.drawing.random_chains import sketch_texts

few = settings(max_examples=25, derandomize=True, deadline=None, database=None, suppress_health_check=list(HealthCheck))
LEAST_TYPE = 12.0


def state_of(text: str) -> State:
    return parse_sketch(text).base


def figures_of(state: State) -> dict[str, WireFigures]:
    return {name: WireFigures(100.0 + i, -20.0 - i) for i, name in enumerate(lay_out(state).wire_names)}


def overlap(a: Rect, b: Rect, by: float = 0.01) -> bool:
    return a[0] < b[2] - by and b[0] < a[2] - by and a[1] < b[3] - by and b[1] < a[3] - by


def inside(a: Rect, b: Rect) -> bool:
    return a[0] >= b[0] and a[1] >= b[1] and a[2] <= b[2] and a[3] <= b[3]


def spans(drawn: Wire) -> list[Rect]:
    """The pieces of a wire as rectangles without breadth."""
    return [(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)) for (x0, y0), (x1, y1) in pairwise(drawn.points)]


def meet(piece: Rect, rect: Rect) -> bool:
    """Whether a piece of wire enters a rectangle."""
    return overlap((piece[0] - 0.1, piece[1] - 0.1, piece[2] + 0.1, piece[3] + 0.1), rect, by=0.2)


def run_together(a: Rect, b: Rect) -> bool:
    """Whether two pieces of wire lie on one another for some length."""
    for along in (0, 1):
        flat = a[1 - along] == a[3 - along] and b[1 - along] == b[3 - along]
        if (
            flat
            and abs(a[1 - along] - b[1 - along]) < 1.0
            and min(a[2 + along], b[2 + along]) - max(a[along], b[along]) > 1
        ):
            return True
    return False


def check(layout: Layout) -> None:
    solid = [*layout.legend, *layout.boxes, *layout.triangles, *(c for c in layout.circles if c.kind != "branch")]
    words = [label for label in layout.labels if not any(inside(label.rect, box.rect) for box in layout.boxes)]
    for a, b in combinations([*solid, *words], 2):
        assert not overlap(a.rect, b.rect), (a, b)
    page = (0.0, 0.0, layout.width, layout.height)
    for shape in (*solid, *layout.labels):
        assert inside(shape.rect, page), shape
    pieces = [(drawn, piece) for drawn in layout.wires for piece in spans(drawn)]
    for drawn, piece in pieces:
        assert inside(piece, page), drawn
        for shape in (*solid, *words):
            assert not meet(piece, shape.rect), (drawn, shape)
    for (one, a), (other, b) in combinations(pieces, 2):
        assert one is other or not run_together(a, b), (one, other)
    assert all(label.size >= LEAST_TYPE for label in layout.labels)


def places(shape: Box | Circle) -> list[Point]:
    left, top, right, bottom = shape.rect
    x, y = (left + right) / 2, (top + bottom) / 2
    return [(left, y), (right, y), (x, top), (x, bottom)]


def on(point: Point, drawn: Wire) -> bool:
    x, y = point
    return any(a - 0.1 <= x <= c + 0.1 and b - 0.1 <= y <= d + 0.1 for a, b, c, d in spans(drawn))


def check_connected(layout: Layout) -> None:
    """From the horn everything that is engaged is reached along wires, and every wire begins and ends somewhere."""
    ports: dict[Point, int] = {}
    for i, box in enumerate(layout.boxes):
        ports |= dict.fromkeys(places(box), i)
    ports |= {point: 1000 + i for i, t in enumerate(layout.triangles) for point in ((t.x, t.y), t.corners[2])}
    ports |= {p: 2000 + i for i, c in enumerate(layout.circles) if c.kind != "branch" for p in places(c)}
    branches = {(c.x, c.y) for c in layout.circles if c.kind == "branch"}

    def at(point: Point) -> int | None:
        near = (n for (x, y), n in ports.items() if abs(x - point[0]) < 0.1 and abs(y - point[1]) < 0.1)
        return next(near, None)

    neighbours: dict[int, set[int]] = {}
    for number, drawn in enumerate(layout.wires):
        me = 5000 + number
        for end, point in (("start", drawn.points[0]), ("end", drawn.points[-1])):
            port = at(point)
            found = {port} if port is not None else set()
            if port is None and (end == "start" or drawn.kind != "detector"):
                others = [i for i, w in enumerate(layout.wires) if i != number and on(point, w)]
                assert any(abs(x - point[0]) < 0.1 and abs(y - point[1]) < 0.1 for x, y in branches) or others, drawn
                found = {5000 + i for i in others}
            if drawn.kind == "detector" and end == "end":
                boxes = [i for i, b in enumerate(layout.boxes) if b.x < point[0] < b.x + b.width and b.y == point[1]]
                assert len(boxes) == 1, drawn
                found = set(boxes)
            assert found, drawn
            for other in found:
                neighbours.setdefault(me, set()).add(other)
                neighbours.setdefault(other, set()).add(me)
    entry = next(2000 + i for i, c in enumerate(layout.circles) if c.kind == "end")
    reached, waiting = {entry}, [entry]
    while waiting:
        for other in neighbours.get(waiting.pop(), ()):
            if other not in reached:
                reached.add(other)
                waiting.append(other)
    engaged = {i for i, box in enumerate(layout.boxes) if box.engaged}
    others = {1000 + i for i in range(len(layout.triangles))}
    others |= {2000 + i for i, c in enumerate(layout.circles) if c.kind != "branch"}
    assert engaged | others <= reached


@few
@given(sketch_texts())
def test_nothing_overlaps_and_everything_is_connected(text: str) -> None:
    check_all(text)


@pytest.mark.thorough
@settings(few, max_examples=100)
@given(sketch_texts(depth=3))
def test_neither_does_in_deeper_nests(text: str) -> None:
    check_all(text)


def check_all(text: str) -> None:
    state = state_of(text)
    for figures in (None, figures_of(state)):
        layout = lay_out(state, figures, heading=None if figures is None else "Harbour day: gulls, in the chapel")
        check(layout)
        check_connected(layout)
        blocks = [b.name for b in layout.boxes if b.kind == "block"]
        blenders = {n for n in state.engaged if state.blocks[n].type_name == "blender"}
        assert sorted(blocks) == sorted(set(block_names(state.chain)) - blenders)
        points = {"input", *wire(state).points}
        assert set(layout.wire_names) <= points
        # Every line has a name that a probe knows, and is heard apart unless what leads to it is off or out.
        assert [w for w in layout.wires if w.name not in points] == []
        assert [w for w in layout.wires if w.kind == "sound" and w.name not in layout.wire_names] == []
        if figures is None:
            check_sounds(layout, state)


def check_sounds(layout: Layout, state: State) -> None:
    """What is drawn into each box is what the engine leads there, and dotted where nothing can sound."""
    wiring = wire(state)

    def silent(signal: Signal) -> bool:
        if isinstance(signal, Sum):
            return all(silent(term.signal) for term in signal.terms)
        if isinstance(signal, After):
            entry, ports = state.blocks[signal.block], wiring.ports[signal.block]
            if entry.type_name == "blender":
                moved = {key for name, key in state.drives if name == signal.block}
                off = {p for p in ports if f"{p}_db" not in moved and getattr(entry.settings, f"{p}_db") == -math.inf}
                return all(silent(ports[p]) for p in {"dry", "wet"} - off)
            return not block_type(entry.type_name).generates and silent(ports["in"])
        return isinstance(signal, Silence)

    def wires_to(*points: Point) -> list[Wire]:
        at = [w for w in layout.wires if any(math.dist(w.points[-1], point) < 0.1 for point in points)]
        return [w for w in at if w.kind != "detector"]

    for box in layout.boxes:
        if box.kind == "block" and box.engaged:
            (into,) = wires_to((box.x, box.y + box.height / 2))
            wanted = wiring.ports[box.name]["in"]
            assert (into.kind == "silent") == silent(wanted), box.name
            heard = heard_at(into.name, wiring)
            assert heard == wanted or (silent(heard) and silent(wanted)), box.name
    (leads_out,) = wires_to(*((c.x - c.radius, c.y) for c in layout.circles if c.kind == "end"))
    assert (leads_out.kind == "silent") == silent(wiring.out)
    heard = heard_at(leads_out.name, wiring)
    assert heard == wiring.out or (silent(heard) and silent(wiring.out))
    for drawn in (w for w in layout.wires if w.kind == "detector"):
        x, y = drawn.points[-1]
        (name,) = (b.name for b in layout.boxes if b.kind == "block" and b.y == y and b.x < x < b.x + b.width)
        assert heard_at(drawn.name, wiring) == wiring.ports[name]["detector"]


def labels(layout: Layout) -> list[str]:
    return [label.text for label in layout.labels]


def solid_wires(layout: Layout) -> list[tuple[str | None, bool]]:
    return [(w.name, w.arrow) for w in layout.wires if w.kind == "sound"]


def test_series() -> None:
    layout = lay_out(state_of('chain = ["gain", "pan"]'))
    assert labels(layout) == ["the horn", "gain", "gain", "pan", "pan", "to the house"]
    assert solid_wires(layout) == [("input", True), ("gain", True), ("pan", True)]
    assert layout.wire_names == ("input", "gain", "pan")
    assert layout.boxes[0].x < layout.boxes[1].x
    assert layout.boxes[0].y == layout.boxes[1].y


def test_an_empty_chain_is_a_wire() -> None:
    layout = lay_out(state_of("chain = []"))
    assert solid_wires(layout) == [("input", True)]
    assert layout.boxes == ()


LANES = 'chain = [{ lanes = ["dry", ["gain"], { chain = ["pan"], level_db = -3, pan = 0.5 }] }]'


def test_lanes_meet_in_sums_of_two() -> None:
    layout = lay_out(state_of(LANES))
    # Three lanes are two branches and two sums, as in any adder of two inputs.
    assert [c.kind for c in layout.circles].count("sum") == 2
    assert [c.kind for c in layout.circles].count("branch") == 2
    assert len(layout.triangles) == 1
    assert {"\N{MINUS SIGN}3 dB", "pan", "50 % right", "sum 1"} <= set(labels(layout))
    assert layout.wire_names == ("input", "gain", "pan", "lane 1.3 before pan", "lane 1.3", "sum 1.2", "sum 1")
    gain, pan = (next(b for b in layout.boxes if b.name == name) for name in ("gain", "pan"))
    assert gain.y + gain.height < pan.y


def test_a_blender_is_two_gains_and_a_sum() -> None:
    text = (
        'chain = [{ blender = "mix", wet = ["echo"] }]\n[blocks.mix]\ntype = "blender"\ndry_db = -2\nwet_db = "off"\n'
    )
    layout = lay_out(state_of(text + '[blocks.echo]\ntype = "delay"'))
    assert {"mix", "blender", "\N{MINUS SIGN}2 dB", "off"} <= set(labels(layout))
    assert (len(layout.triangles), [c.kind for c in layout.circles].count("sum")) == (2, 1)
    assert [w.name for w in layout.wires if w.kind == "silent"] == ["mix wet"]  # from the triangle that is off
    assert layout.wire_names == ("input", "mix dry", "echo", "mix")


BLEND = 'chain = [{ blender = "mix", wet = ["echo"] }]\n[blocks.echo]\ntype = "delay"\n[blocks.mix]\ntype = "blender"\n'


def test_a_turned_wet_path_has_a_minus_where_it_is_summed() -> None:
    layout = lay_out(state_of(BLEND + "flip_wet = true"))
    (minus,) = (label for label in layout.labels if label.text == "\N{MINUS SIGN}")
    (adder,) = (c for c in layout.circles if c.kind == "sum")
    assert adder.x - 25 < minus.x < adder.x
    assert adder.y < minus.y < adder.y + 40
    assert "\N{MINUS SIGN}" not in labels(lay_out(state_of(BLEND)))
    check(layout)


def test_a_blender_that_is_out_is_gone_around() -> None:
    # With its dry level off, too: what comes in goes on as it is.
    layout = lay_out(state_of(BLEND + 'engaged = false\ndry_db = "off"'))
    assert (layout.triangles, [c.kind for c in layout.circles].count("sum")) == ((), 0)
    (box,) = (b for b in layout.boxes if b.name == "mix")
    assert not box.engaged
    out = max(layout.wires, key=lambda w: w.points[-1][0])
    assert (out.name, out.kind, out.arrow) == ("input", "sound", True)
    assert min(y for _, y in out.points) < box.y
    (wet,) = (w for w in layout.wires if w.name == "echo")
    assert (wet.points[-1], wet.arrow) == ((box.x + box.width / 2, box.y + box.height), False)
    assert (layout.wire_names, layout.leads_out) == (("input", "echo"), "input")


def test_of_nothing_comes_nothing() -> None:
    off = '{ chain = "dry", level_db = "off" }'
    layout = lay_out(state_of(f'chain = [{{ lanes = [{off}, {off}], align = true }}, "gain"]'))
    assert [w.name for w in layout.wires if w.kind == "sound"] == ["input", "input"]
    assert not [box for box in layout.boxes if box.kind == "wait"]
    assert layout.wire_names == ("input", "sum 1", "gain")
    hiss = lay_out(state_of(f'chain = [{{ lanes = [{off}] }}, "noise", "gain"]'))
    assert [w.name for w in hiss.wires if w.kind == "sound"] == ["input", "noise", "gain"]
    moved = (
        '[controllers.pedal]\ntype = "breakpoints"\npoints = [[0.0, 0.0]]\n'
        'drives = [{ setting = "mix.dry_db", low = -96, high = 0 }]\n'
    )
    silent = BLEND + 'dry_db = "off"\nwet_db = "off"\n'
    for text, kind in ((silent, "silent"), (silent + moved, "sound")):
        assert next(w.kind for w in lay_out(state_of(text)).wires if w.name == "mix") == kind


def test_what_is_out_of_the_chain() -> None:
    blocks = '[blocks.wah]\ntype = "phaser"\nengaged = false\n[blocks.synth]\ntype = "following_synth"\nengaged = false'
    layout = lay_out(state_of(f'chain = ["wah", "synth", "gain"]\n{blocks}'))
    assert [box.engaged for box in layout.boxes] == [False, False, True]
    # Around the phaser, which passes what comes in, and to the synth, which gives nothing.
    (around, nothing, behind) = layout.wires
    assert (around.name, around.arrow, len(around.points)) == ("input", False, 6)
    assert (nothing.name, nothing.kind) == ("synth", "silent")
    # A gain makes nothing of nothing.
    assert (behind.name, behind.kind) == ("gain", "silent")


def test_a_detector_hears_by_a_dashed_wire() -> None:
    text = 'chain = ["gain", "noise_gate", "envelope_filter"]\n[blocks.noise_gate]\nlistens_to = "input"\n'
    layout = lay_out(state_of(text + '[blocks.envelope_filter]\nlistens_to = "gain"'))
    dashed = [w for w in layout.wires if w.kind == "detector"]
    assert [w.name for w in dashed] == ["input", "gain"]
    for drawn, name in zip(dashed, ("noise_gate", "envelope_filter"), strict=True):
        box = next(b for b in layout.boxes if b.name == name)
        x, y = drawn.points[-1]
        assert (box.x < x < box.x + box.width, y) == (True, box.y)
        assert any(w.name == drawn.name and on(drawn.points[0], w) for w in layout.wires if w.kind == "sound")


def test_of_many_detectors_words_tell_what_they_hear() -> None:
    names = [f"gate{i}" for i in range(20)]
    blocks = "".join(f'[blocks.{n}]\ntype = "noise_gate"\nlistens_to = "input"\n' for n in names)
    layout = lay_out(state_of(f"chain = {names}\n{blocks}"))
    assert not [w for w in layout.wires if w.kind == "detector"]
    assert labels(layout).count("hears the horn") == 20


def test_a_long_chain_breaks_into_rows_that_a_page_holds() -> None:
    names = [f"b{i}" for i in range(40)]
    blocks = "".join(f'[blocks.{n}]\ntype = "gain"\n' for n in names)
    layout = lay_out(state_of(f"chain = {names}\n{blocks}"))
    assert layout.width <= PAGE_WIDTH
    lines = sorted({box.y for box in layout.boxes})
    assert len(lines) == 4  # 40 boxes of 51 with 38 between them, and words at both ends: 3.7 widths of a page
    check(layout)
    check_connected(layout)


def test_aligned_lanes_wait_for_the_latest() -> None:
    state = state_of('chain = [{ lanes = ["dry", ["gain"], { chain = "dry", level_db = "off" }], align = true }]')
    assert labels(lay_out(state)).count("to the latest") == 2
    # Levels and pans take no time, and of one lane that sounds none waits.
    for lanes in (
        '["dry", { chain = "dry", level_db = -6, pan = 1 }]',
        '[["gain"], { chain = "dry", level_db = "off" }]',
    ):
        assert not labels(lay_out(state_of(f"chain = [{{ lanes = {lanes}, align = true }}]"))).count("aligned")
    known = {"input": WireFigures(0.0, -20.0), "gain": WireFigures(3.0, -20.0, longest_ms=15.04)}
    told = labels(lay_out(state, known))
    assert (told.count("aligned"), told.count("15.0 ms later")) == (1, 1)


def test_deep_nests_say_at_the_sum_that_lanes_wait() -> None:
    chain, blocks = '"gain"', "[blocks.gain]"
    for i in range(4):
        chain = f'{{ lanes = ["dry", ["delay{i}", {chain}]], align = true }}'
        blocks += f'\n[blocks.delay{i}]\ntype = "delay"'
    layout = lay_out(state_of(f"chain = [{chain}]\n{blocks}"))
    assert layout.width <= PAGE_WIDTH
    assert labels(layout).count("aligned") == 4
    assert not [box for box in layout.boxes if box.kind == "wait"]
    check(layout)


def test_figures_stand_on_wires() -> None:
    known = {"input": WireFigures(0.0, -23.04, 0.04), "gain": WireFigures(2.26, float("-inf"), 14.96)}
    told = [(label.text, label.about) for label in lay_out(state_of('chain = ["gain"]'), known).labels if label.about]
    minus = "\N{MINUS SIGN}23.0 LUFS"
    assert told == [(minus, "input"), ("0.0 ms", "input"), ("silent", "gain"), ("2.3 to 15.0 ms", "gain")]


def test_controllers_and_the_trim() -> None:
    moved = '[controllers.pedal]\ntype = "breakpoints"\npoints = [[0.0, 0.0]]\n'
    drive = 'drives = [{ setting = "delay.feedback_percent", low = 0, high = 50 }]'
    told = labels(lay_out(state_of(f'trim_db = -2.5\nchain = ["delay"]\n{moved}{drive}')))
    assert "pedal moves feedback" in told
    assert "trim \N{MINUS SIGN}2.5 dB" in told


def test_what_dashes_and_dots_mean_is_said_where_they_stand() -> None:
    assert lay_out(state_of('chain = ["gain"]')).legend == ()
    hears = 'chain = ["gain", "noise_gate"]\n[blocks.noise_gate]\nlistens_to = "input"\n'
    muted = "[blocks.gain]\nengaged = false"
    layout = lay_out(state_of(hears + muted))
    assert [sample.kind for sample in layout.legend] == ["detector", "out"]
    assert labels(layout)[-2:] == ["what a block listens to", "out of the chain"]
    assert min(sample.y for sample in layout.legend) > max(box.rect[3] for box in layout.boxes)
    off = lay_out(state_of('chain = [{ lanes = ["dry", { chain = "dry", level_db = "off" }] }]'))
    assert [(sample.kind, off.labels[-1].text) for sample in off.legend] == [("silent", "nothing sounds on it")]


def test_a_heading_stands_over_everything() -> None:
    state = state_of('chain = ["gain"]')
    plain, headed = lay_out(state), lay_out(state, heading="Harbour day: a patch with a long name")
    heading = headed.labels[-1]
    assert heading.text == "Harbour day: a patch with a long name"
    assert max(label.rect[1] for label in headed.labels[:-1]) > heading.rect[3]
    assert headed.width >= heading.rect[2] > plain.width
    check(headed)
    # A title without end does not make the drawing wider than a page.
    assert lay_out(state, heading="wide " * 99).width < PAGE_WIDTH


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (level_text(0.0), "0 dB"),
        (level_text(2.0), "+2 dB"),
        (level_text(float("-inf")), "off"),
        (pan_words(0.0), "centre"),
        (pan_words(-1.0), "hard left"),
        (pan_words(0.2), "20 % right"),
        (setting_words("cutoff_hz"), "cutoff"),
        (setting_words("modulation_depth_ms"), "modulation depth"),
    ],
)
def test_words(found: str, words: str) -> None:
    assert found == words


def test_wires_come_lane_by_lane_also_where_the_latest_does_not_wait() -> None:
    """In this order keys go from one to the next."""
    text = 'chain = [{ lanes = ["b", "c", "dry"], align = true }]\n[blocks]\nb.type = "gain"\nc.type = "gain"'
    known = {name: WireFigures(5.0 if name == "b" else 0.0, -20.0) for name in ("input", "b", "c")}
    wires = lay_out(parse_sketch(text).base, known).wires
    names = list(dict.fromkeys(w.name for w in wires if w.name != "input"))
    assert names == ["b", "c", "lane 1.2 aligned", "lane 1.3 aligned", "sum 1.2", "sum 1"]
