"""The wiring sheet: cables worked by hand from small chains, and what holds for the cables of any chain."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.block import block_type, block_type_names
from chainsim.listen.sheets.block_words import BLOCK_WORDS
from chainsim.listen.sheets.document_page import document_page
from chainsim.listen.sheets.document_text import document_text
from chainsim.listen.sheets.wiring_sheet.as_document import wiring_document
from chainsim.listen.sheets.wiring_sheet.cables import Cable, cabling
from chainsim.listen.sheets.wiring_sheet.chain_changes import chain_changes
from chainsim.listen.sheets.wiring_sheet.sheet import WiringSheet, wiring_sheet
from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, Lane, LanesStep, block_names
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import BlockEntry

PLUGGED = """
title = "Two lamps"
chain = ["hush", { lanes = ["dry", { chain = ["fog"], level_db = -9, pan = 0.5 }] }, "hall"]
[blocks.hush]
type = "noise_gate"
listens_to = "input"
[blocks.fog]
type = "gain"
[blocks.hall]
type = "reverb"
"""


def sheet(text: str) -> WiringSheet:
    return wiring_sheet(parse_sketch(text))


def told(found: WiringSheet) -> list[tuple[int, str, str, str, int]]:
    return [(c.number, c.source.text, c.target.text, c.kind, c.channels) for c in found.cabling.cables]


def test_a_gate_that_listens_to_the_horn_lanes_and_a_reverb() -> None:
    found = sheet(PLUGGED)
    # The gate hears the horn at its own input already: no cable. Mono up to the mixer, whose panned lane makes stereo.
    assert told(found) == [
        (1, "microphone", "preamp, in", "microphone cable", 1),
        (2, "preamp, out", "hush, in", "signal cable", 1),
        (3, "hush, out", "splitter 1, in", "signal cable", 1),
        (4, "splitter 1, out 1", "mixer 1, channel 1", "signal cable", 1),
        (5, "splitter 1, out 2", "fog, in", "signal cable", 1),
        (6, "fog, out", "mixer 1, channel 2", "signal cable", 1),
        (7, "mixer 1, out", "hall, in", "signal cable", 2),
        (8, "hall, out", "direct box, in", "signal cable", 2),
        (9, "direct box, out", "desk", "microphone cable", 2),
    ]
    assert found.cabling.count() == {"microphone cable": 3, "signal cable": 9}  # 1 + 2; 1 + 1 + 1 + 1 + 1 + 2 + 2
    assert [(s.name, s.outputs) for s in found.cabling.splitters] == [("splitter 1", 2)]
    channels = [(c.lane, c.level_db, c.pan) for m in found.cabling.mixers for c in m.channels]
    assert channels == [("dry", 0.0, None), ("fog", -9.0, 0.5)]


def test_a_detector_that_listens_behind_another_box_has_a_cable_of_its_own() -> None:
    text = 'chain = ["tone", "grit", "hush"]\n[blocks.tone]\ntype = "equalizer"\n[blocks.grit]\ntype = "drive"\n'
    found = sheet(text + '[blocks.hush]\ntype = "noise_gate"\nlistens_to = "tone"')
    assert told(found)[2:7] == [
        (3, "tone, out", "splitter 1, in", "signal cable", 1),
        (4, "splitter 1, out 1", "grit, in", "signal cable", 1),
        (5, "grit, out", "hush, in", "signal cable", 1),
        (6, "splitter 1, out 2", "hush, side input", "side-chain cable", 1),
        (7, "hush, out", "direct box, in", "signal cable", 1),
    ]


def test_a_blender_has_a_send_and_a_return() -> None:
    text = 'chain = ["tone", { blender = "mix", wet = ["echo"] }]\n[blocks.tone]\ntype = "equalizer"\n'
    found = sheet(text + '[blocks.mix]\ntype = "blender"\n[blocks.echo]\ntype = "delay"')
    assert [(source, target) for _, source, target, _, _ in told(found)[2:5]] == [
        ("tone, out", "mix, in"),
        ("mix, send", "echo, in"),
        ("echo, out", "mix, return"),
    ]
    assert found.cabling.splitters == ()


def test_a_feed_in_mono_has_a_box_that_sums() -> None:
    found = sheet('feed = "mono"\nchain = ["hall"]\n[blocks.hall]\ntype = "reverb"')
    ends = [(source, target, channels) for _, source, target, _, channels in told(found)[2:]]
    assert ends == [
        ("hall, out", "mono sum, left and right", 2),
        ("mono sum, out", "direct box, in", 1),
        ("direct box, out", "desk", 1),
    ]
    assert [c.level_db for c in found.cabling.mixers[-1].channels] == [-6.0, -6.0]  # (L + R) / 2: 20 lg 0.5 = -6.02


def test_noise_is_no_box_and_names_of_blocks_stay_theirs() -> None:
    found = sheet('chain = ["floor", "desk"]\n[blocks.floor]\ntype = "noise"\n[blocks.desk]\ntype = "gain"')
    assert [target for _, _, target, _, _ in told(found)] == ["preamp, in", "desk, in", "direct box, in", "extra desk"]
    assert found.stands_for_noise == ("floor",)


def test_a_stereo_box_in_some_patch_is_a_stereo_box() -> None:
    text = 'chain = ["echo"]\n[blocks.echo]\ntype = "delay"\n[patches.wide.blocks.echo]\nstereo = "crossed"'
    assert sheet(text).cabling.out_channels == 2
    assert sheet(text.replace("crossed", "straight")).cabling.out_channels == 1


def test_pedals_and_midi_with_the_boxes_they_reach() -> None:
    text = (
        PLUGGED
        + """
[controllers.swell]
type = "breakpoints"
points = [[0, 0], [1, 1]]
drives = [{ setting = "hall.wet_db", low = -30, high = -6 }]
[controllers.breath]
type = "envelope"
drives = [{ setting = "fog.gain_db", low = -6, high = 0 }, { setting = "hall.decay_s", low = 1, high = 2 }]
[patches.bare]
engage = []
midi_program = 3
[patches.full]
engage = ["fog", "hush", "hall"]
[[switches]]
name = "A"
press = "patch bare"
"""
    )
    found = sheet(text)
    assert [(c.source, c.boxes, c.kind, c.into) for c in found.control.cables] == [
        ("foot board (A)", ("hush", "fog", "hall"), "MIDI cable", "MIDI merger, in 1"),
        ("swell: expression pedal", ("hall",), "pedal cable", "hall, pedal input"),
        ("breath follower: the loudness of the horn", ("fog", "hall"), "MIDI cable", "MIDI merger, in 2"),
    ]
    assert "program changes call the patches" in found.control.cables[0].does
    # Two into the merger, one from it into hush, one from there into fog, one on into hall.
    assert found.control.midi is not None
    assert found.control.midi.boxes == ("hush", "fog", "hall")
    assert found.control.count() == {"MIDI cable": 5, "pedal cable": 1}
    words = " ".join(document_text(wiring_document(found)).split())
    assert "5 MIDI cables, 1 pedal cable, 1 MIDI merger" in words
    assert (
        "2 into the MIDI merger, one from it into hush, then 2 from box to box, out of thru: hush > fog > hall" in words
    )
    # The follower hears the horn by a cable, so that the preamp feeds two.
    assert ("splitter 1, out 2", "breath follower, in") in [
        (c.source.text, c.target.text) for c in found.cabling.cables
    ]


def test_one_sender_of_midi_needs_no_merger_and_a_pedal_that_moves_several_boxes_goes_into_the_foot_board() -> None:
    text = (
        PLUGGED
        + """
[controllers.swell]
type = "breakpoints"
points = [[0, 0], [1, 1]]
drives = [{ setting = "fog.gain_db", low = -6, high = 0 }, { setting = "hall.decay_s", low = 1, high = 2 }]
[patches.bare]
engage = []
[patches.full]
engage = ["fog"]
"""
    )
    plugged = sheet(text + '[[switches]]\nname = "A"\npress = "patch bare"\n')
    assert "a box that has a jack for one may have its own" in " ".join(document_text(wiring_document(plugged)).split())
    on_a_board = plugged.control
    assert [(c.kind, c.into) for c in on_a_board.cables] == [
        ("MIDI cable", "fog, MIDI in"),
        ("pedal cable", "foot board, pedal input"),
    ]
    assert on_a_board.count() == {
        "MIDI cable": 2,
        "pedal cable": 1,
    }  # into fog, and on into hall, which the pedal moves
    # Nothing to plug it into: the pedal sends for itself, and there are two senders.
    without = sheet(text).control
    assert [c.into for c in without.cables] == ["MIDI merger, in 1", "MIDI merger, in 2"]
    assert without.count() == {"MIDI cable": 4}


def test_power_comes_last_and_its_outlets_stand_elsewhere() -> None:
    power = {part.heading: part.lines for part in wiring_document(sheet(PLUGGED)).parts}["Power"]
    assert power[0].startswith("Supply cables go in last")
    assert "chainsim carry" in power[0]
    assert "POWER" not in document_text(wiring_document(sheet("chain = []")))


def test_the_converter_of_pitch_hears_the_horn_by_a_cable() -> None:
    text = 'chain = ["fog"]\n[blocks.fog]\ntype = "following_synth"\nsource = "tracked_midi"'
    found = sheet(text)
    assert ("splitter 1, out 2", "pitch converter, in") in [(source, target) for _, source, target, _, _ in told(found)]
    assert [(c.source, c.into) for c in found.control.cables] == [("pitch converter: the horn's notes", "fog, MIDI in")]
    assert found.control.count() == {"MIDI cable": 1}


def test_every_cell_that_heads_a_row_or_a_column_says_something() -> None:
    for document in (wiring_document(sheet(PLUGGED)), wiring_document(sheet('feed = "mono"\n' + PLUGGED))):
        tables = [part.table for part in document.parts if part.table is not None and part.table.rows]
        assert all(all(table.head) and all(row[0] for row in table.rows) for table in tables)


@pytest.mark.parametrize(
    ("chain", "moved", "left_out"),
    [
        ('["b", "c", "d", "a"]', ("a",), ()),  # one taken from the front to the end explains it
        ('["b", "a", "c", "d"]', ("a", "b"), ()),  # either of two neighbours does
        ('["a", "b", "c"]', (), ("d",)),
        ('["a", { lanes = ["b", "c"] }, "d"]', ("b", "c"), ()),  # beside each other in place of one behind the other
    ],
)
def test_which_boxes_need_a_loop_when_a_patch_has_another_chain(
    chain: str, moved: tuple[str, ...], left_out: tuple[str, ...]
) -> None:
    blocks = "\n".join(f'[blocks.{name}]\ntype = "gain"' for name in "abcd")
    sketch = parse_sketch(f'chain = ["a", "b", "c", "d"]\n{blocks}\n[patches.other]\nchain = {chain}')
    (change,) = chain_changes(sketch)
    assert (change.moved, change.left_out) == (moved, left_out)


def test_every_kind_of_block_has_its_words() -> None:
    assert sorted(BLOCK_WORDS) == block_type_names()


def test_levels_are_named_where_they_are_known() -> None:
    levels = {"input": -42.0, "hush": -20.0, "fog": -4.0}
    document = wiring_document(wiring_sheet(parse_sketch(PLUGGED), levels_dbu=levels))
    table = document.parts[0].table
    assert table is not None
    told_levels = {row[0]: row[table.head.index("level")] for row in table.rows}
    assert told_levels["1"] == ""
    assert told_levels["2"] == "-42 dBu, microphone level"
    assert told_levels["3"] == "-20 dBu, instrument level"
    assert told_levels["6"] == "-4 dBu, line level"


def test_text_is_no_wider_than_a_page_and_names_are_escaped() -> None:
    document = wiring_document(sheet(PLUGGED.replace("Two lamps", "<script>alert(1)</script>")))
    assert max(map(len, document_text(document).splitlines())) <= 80
    # An inventory may have one unit for several blocks: the counts are no shopping list.
    assert document.in_short[1].startswith(
        "Each block is a box of its own here: one unit that makes several needs fewer"
    )
    assert len(wiring_document(sheet('chain = ["gain"]')).in_short) == 1
    page = document_page(document)
    assert "<script" not in page
    assert "&lt;script&gt;" in page


NAMES = [f"box{i}" for i in range(8)]


@st.composite
def chains(draw: st.DrawFn) -> Chain:
    names = list(NAMES)

    def series(depth: int) -> Chain:
        steps: list[BlockStep | LanesStep | BlenderStep] = []
        for _ in range(draw(st.integers(0, 3))):
            kind = draw(st.sampled_from(["block", "lanes", "blender"])) if depth < 2 else "block"
            if not names:
                break
            if kind == "block":
                steps.append(BlockStep(names.pop()))
            elif kind == "blender":
                name = names.pop()
                steps.append(BlenderStep(name, series(depth + 1)))
            else:
                steps.append(LanesStep(tuple(Lane(series(depth + 1)) for _ in range(draw(st.integers(2, 3))))))
        return tuple(steps)

    return series(0)


def entries(chain: Chain) -> dict[str, list[BlockEntry]]:
    blenders = {name for name in block_names(chain) if name in _blenders(chain)}
    kinds = {name: "blender" if name in blenders else "gain" for name in block_names(chain)}
    return {name: [BlockEntry(name, kind, block_type(kind).settings_type())] for name, kind in kinds.items()}


def _blenders(chain: Chain) -> set[str]:
    found: set[str] = set()
    for step in chain:
        if isinstance(step, BlenderStep):
            found |= {step.name} | _blenders(step.wet)
        elif isinstance(step, LanesStep):
            found |= set().union(*(_blenders(lane.chain) for lane in step.lanes))
    return found


@settings(max_examples=60, deadline=None)
@given(chains())
def test_every_socket_has_one_cable_and_all_comes_to_the_desk(chain: Chain) -> None:
    found = cabling(chain, entries(chain))
    assert max(Counter(c.source for c in found.cables).values()) == 1
    assert max(Counter(c.target for c in found.cables).values()) == 1
    # In the order of plugging whatever goes out has come in: each box's cables follow one that reached it.
    reached = {found.names.microphone}
    for cable in found.cables:
        assert cable.source.box in reached, cable
        reached.add(cable.target.box)
    assert set(block_names(chain)) <= reached
    assert found.cables[-1].target.box == found.names.desk
    for splitter in found.splitters:
        assert _count(found.cables, splitter.name) == splitter.outputs >= 2
    assert len(found.mixers) == _lanes(chain)


def _count(cables: tuple[Cable, ...], box: str) -> int:
    return sum(1 for cable in cables if cable.source.box == box)


def _lanes(chain: Chain) -> int:
    """Forks into several lanes, counted by hand as it were."""
    return sum(
        (1 + sum(_lanes(lane.chain) for lane in step.lanes)) if isinstance(step, LanesStep)
        else _lanes(step.wet) if isinstance(step, BlenderStep)
        else 0
        for step in chain
    )  # fmt: skip
