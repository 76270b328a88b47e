"""Sketches: what is read, and that every fault is one line that names place, finding and what is allowed."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import pytest

from chainsim.block import block_type, block_type_names
from chainsim.errors import SketchError
from chainsim.graph.rendering import build_graph
from chainsim.settings import Settings
from chainsim.sketch.chain import BlenderStep, BlockStep, Lane, LanesStep
from chainsim.sketch.general_settings import Common, Header
from chainsim.sketch.loading import load_sketch, parse_sketch
from chainsim.sketch.reading import read_settings
from chainsim.sketch.timeline import timeline

GOOD = """
title = "Harbour waltz"
tempo_bpm = 138
chain = ["a", { lanes = ["dry", ["b", "c"], { chain = ["d"], level_db = -3, pan = 0.2 }, "e"], align = true },
         { blender = "mix", wet = ["f"] }, "gain"]
[blocks]
a = { type = "gain", gain_db = "off" }
b = { type = "gain" }
c = { type = "pan", pan = -1 }
d = { type = "gain", engaged = false, latency_ms = 3 }
e = { type = "gain" }
f = { type = "gain" }
mix = { type = "blender", wet_db = -6 }
"""

TABLES = [Header, Common, *(block_type(name).settings_type for name in block_type_names())]
KINDS = [*TABLES, *(spec.items for kind in TABLES for spec in kind.specs().values() if spec.items is not None)]
"""Whatever a sketch's settings may be."""


def test_a_sketch_is_read_as_written() -> None:
    sketch = parse_sketch(GOOD)
    assert sketch.title == "Harbour waltz"
    assert sketch.base.tempo_bpm == 138.0
    a, lanes, blender, last = sketch.base.chain
    assert a == BlockStep("a")
    assert lanes == LanesStep(
        (
            Lane(()),
            Lane((BlockStep("b"), BlockStep("c"))),
            Lane((BlockStep("d"),), -3.0, 0.2),
            Lane((BlockStep("e"),)),
        ),
        align=True,
    )
    assert blender == BlenderStep("mix", (BlockStep("f"),))
    assert last == BlockStep("gain")  # a bare type name is that block with its defaults
    assert sketch.base.blocks["a"].settings.model_dump() == {"gain_db": float("-inf")}
    assert sketch.base.blocks["d"].common.latency_ms == 3.0
    assert not sketch.base.blocks["d"].common.engaged
    assert [w.split(",")[0] for w in sketch.warnings] == ["2 lanes pass one sound on"]


FAULTS = [
    ('titel = "x"\nchain = []', 'titel: no setting "titel"; did you mean "title"?'),
    ("tempo_bpm = 120", "chain: missing"),
    ("tempo_bpm = 4\nchain = []", "tempo_bpm = 4 bpm, allowed 20 ... 400 bpm"),
    ("format = 2\nchain = []", "format = 2, allowed 1 ... 1"),
    ('chain = ["ehco"]\n[blocks.echo]\ntype = "gain"', 'chain: no block "ehco"; did you mean "echo"?'),
    ('chain = ["a", "a"]\n[blocks.a]\ntype = "gain"', 'chain: "a" stands in the chain 2 times'),
    ("chain = [3]", "chain[0]: found 3, allowed a block's name"),
    ("chain = [{ lanes = [] }]", "chain[0].lanes: found a list, allowed a list of at least one lane"),
    ('chain = [{ lanes = ["dry"], pan = 1 }]', 'chain[0]: no entry "pan", allowed lanes, align'),
    ('chain = [{ lanes = [{ chain = ["gain"], pan = 2 }] }]', "chain[0].lanes[0].pan: found 2, allowed -1 ... 1"),
    ('chain = [{ lanes = [{ chain = ["gain"], level_db = 90 }] }]', "level_db: found 90, allowed -96 ... 24 dB"),
    ('chain = ["dry"]', '"dry" is not a block'),
    ('chain = ["blender"]', '"blender" is a blender and needs a wet chain'),
    ('chain = [{ blender = "gain", wet = ["pan"] }]', '"gain" is of type gain, a fork needs a blender'),
    ('chain = [{ blender = "blender" }]', "a blender needs its wet chain"),
    ('chain = []\n[blocks.a]\ntype = "echo"', 'blocks.a.type: no block type "echo"; did you mean "delay"?'),
    ('chain = []\n[blocks.a]\ntype = "gian"', 'blocks.a.type: no block type "gian"; did you mean "gain"?'),
    ("chain = []\n[blocks.a]\ntype = 5", "blocks.a.type: found 5"),
    ('chain = []\n[blocks.input]\ntype = "gain"', 'blocks.input: "input" has a meaning of its own'),
    (
        'chain = ["a"]\n[blocks.a]\ntype = "gain"\ngain_db = 99',
        'blocks.a.gain_db = 99 dB, allowed -96 ... 48 dB or "off"',
    ),
    ('chain = ["a"]\n[blocks.a]\ntype = "gain"\ngain_db = nan', "blocks.a.gain_db = nan dB, allowed"),
    ('chain = ["a"]\n[blocks.a]\ntype = "gain"\ngain_db = true', "blocks.a.gain_db = True, allowed"),
    ('chain = ["a"]\n[blocks.a]\ntype = "gain"\ngain = 1', 'blocks.a.gain: no setting "gain"; did you mean "gain_db"?'),
    ('chain = ["a"]\n[blocks.a]\ntype = "gain"\nlistens_to = "input"', "blocks.a.listens_to: a gain has no detector"),
    (
        'chain = ["a"]\n[blocks.a]\ntype = "gain"\ntails = "long"',
        'blocks.a.tails = "long", allowed by_kind | ring | cut',
    ),
    ('pitch_names = "written"\nkey = "C major"\nchain = []', "needs an instrument"),
    ("chain = []\nblocks = 3", "blocks: allowed are tables only"),
    ('chain = []\n[[cues]]\nat_s = -1\npatch = "p"\n[patches.p]', "cues[0].at_s = -1 s, allowed 0 ... 86400 s"),
    ('chain = []\n[[cues]]\nat_s = 1\npatch = "q"\n[patches.p]', 'cues[0].patch: no patch "q"'),
    ("chain = []\n[patches.p]\nengaged = []", 'patches.p.engaged: no setting "engaged"; did you mean "engage"?'),
    ('chain = ["gain"]\n[patches.p]\nengage = ["gane"]', '"gane" is not in the chain; did you mean "gain"?'),
    (
        'chain = ["gain"]\n[controllers.c]\ntype = "breakpoints"\npoints = [[1, 0], [0, 1]]',
        "controllers.c.points: [1]: 0.0, allowed times that rise",
    ),
    (
        'chain = ["blender"]\n[blocks.blender]\n[controllers.c]\ntype = "breakpoints"\npoints = [[0, 0]]\n'
        'drives = [{ setting = "blender.flip_wet" }]',
        '"flip_wet" is fixed and cannot be driven',
    ),
    ('chain = []\n[[cues]]\nat_s = 1\npatch = ["x"]\n[patches.p]', "cues[0].patch = ['x'], allowed words in quotes"),
    ('chain = []\n[controllers.c]\ntype = ["x"]', "controllers.c.type = ['x'], allowed breakpoints, control_change"),
    ('chain = []\n[controllers.c]\ntype = "envelope"\nlistens_to = ["x"]', "controllers.c.listens_to"),
    (
        'chain = []\n[controllers.c]\ntype = "breakpoints"\npoints = [[0, 0], [nan, 1]]',
        "controllers.c.points: [1]: time nan, allowed seconds from 0",
    ),
    ("chain = [" + ", ".join(['{ lanes = ["dry"] }'] * 1000) + "]", "1000 forks, at most 64 are allowed"),
    ("chain = [{ lanes = [{ level_db = -3 }] }]", "a lane needs its chain"),
    ('chain = []\n[blocks."a.b"]\ntype = "gain"', "a block's name has letters, digits, _ and - only"),
    ('chain = []\n[blocks.out]\ntype = "gain"', '"out" has a meaning of its own'),
    ("chain = [", "not valid TOML"),
    ("tempo_bpm = 90 bpm\nchain = []", "numbers have a decimal point and no unit, words stand in quotes"),
    ('tempo_bpm = "90"\nchain = []', "tempo_bpm = '90', allowed 20 ... 400 bpm, a number without quotes"),
    ("chain = " + "[" * 3000 + "]" * 3000, "nested"),
    ("chain = [" + "{ lanes = [[" * 40 + '"gain"' + "]] }" * 40 + "]", "nested more than 16 forks deep"),
    ("chain = [" + ", ".join(f'"g{i}"' for i in range(300)) + "]", "300 blocks, at most 200 are allowed"),
]

CURLY_QUOTES = 'has a curly quote, {}, as phones and word processors write it; a straight one is "'
NOT_CLOSED = "has no closing quote; a word in quotes ends where its line ends"
THREE_QUOTES = "a text that three quotes open has no three quotes at its end"
QUOTES = [
    ("chain = [\N{LEFT DOUBLE QUOTATION MARK}gain\N{RIGHT DOUBLE QUOTATION MARK}]", f"line 1 {CURLY_QUOTES}", 0x201C),
    (
        "chain = []\ntitle = \N{LEFT SINGLE QUOTATION MARK}a\N{RIGHT SINGLE QUOTATION MARK}",
        f"line 2 {CURLY_QUOTES}",
        0x2018,
    ),
    ("[blocks.\N{DOUBLE LOW-9 QUOTATION MARK}a\N{LEFT DOUBLE QUOTATION MARK}]", f"line 1 {CURLY_QUOTES}", 0x201E),
    ('[blocks.a]\ntype = "gain\N{RIGHT DOUBLE QUOTATION MARK}\nb = 1', f"line 2 {CURLY_QUOTES}", 0x201D),
    ('title = "Low water\nchain = []', f"line 1 {NOT_CLOSED}", 0),
    ('title = "It\N{RIGHT SINGLE QUOTATION MARK}s low water\nchain = []', f"line 1 {NOT_CLOSED}", 0),
    ('title = "It\N{RIGHT SINGLE QUOTATION MARK}s", "low\nchain = []', "not valid TOML: Expected newline", 0),
    ('chain = []\ntitle = "It\N{RIGHT SINGLE QUOTATION MARK}s" 5', "not valid TOML: Expected newline", 0),
    ('chain = []\ntitle = "Low water', f"a word {NOT_CLOSED}", 0),
    ("chain = []\r\ntitle = 'Low water\r\n", f"a word {NOT_CLOSED}", 0),
    ('chain = []\ntitle = """Low water\n', THREE_QUOTES, 0),
    ("chain = []\ntitle = '''Low water\n", THREE_QUOTES, 0),
    ('title = "a" # """ opens a text\nchain = ["gain"', "Unclosed array", 0),
    ('key = """C major"""\ntitle = "Low water', f"a word {NOT_CLOSED}", 0),
    ('chain = ["late_gate, "echo"]', "a quote at both ends of each word", 0),
]
"""Text, what is told, and the quote that it names."""
FAULTS += [(text, told.format(chr(quote))) for text, told, quote in QUOTES]

VOICES = 'chain = ["late"]\n[blocks.late]\ntype = "pitch_shifter"\nvoices = '
IN_A_LIST = [
    ('[{ intervall = "P5 above" }]', '[0].intervall: no setting "intervall"; did you mean "interval"?'),
    (
        "[{}, { xyzzy = 1 }]",
        '[1].xyzzy: no setting "xyzzy"; allowed cents, delay_ms, drift_cents, interval, level_db, pan, pitch',
    ),
    ("[{ commit_ms = 60 }]", '[0].commit_ms: no setting "commit_ms"; allowed cents, '),  # the block has it, no voice
    ('[{ cents = "7" }]', "[0].cents = '7', allowed -100 ... 100 cents, a number without quotes"),
    ("[{ interval = 7 }]", "[0].interval = 7, allowed words in quotes"),
    ('["P5 above"]', "[0] = 'P5 above', allowed a table, such as { interval = \"P5 above\" }"),
    ('[{}, "P5 abov"]', "[1] = 'P5 abov', allowed a table, such as { interval = \"unison\" }"),
    ("3", ' = 3, allowed a list of tables, such as [{ interval = "unison" }]'),
    ('"P5 above"', " = 'P5 above', allowed a list of tables, such as [{ interval = \"P5 above\" }]"),
    ("{ pan = 1 }", " = {'pan': 1}, allowed a list of tables, such as ["),
]
FAULTS += [(VOICES + voices, f"blocks.late.voices{line}") for voices, line in IN_A_LIST]


@pytest.mark.parametrize(("text", "line"), FAULTS, ids=range(len(FAULTS)))
def test_a_fault_is_one_line(text: str, line: str) -> None:
    with pytest.raises(SketchError) as caught:
        parse_sketch(text, name="parade.toml")
    assert any(line in fault for fault in caught.value.faults), caught.value.faults
    assert all(fault.startswith("parade.toml: ") and "\n" not in fault for fault in caught.value.faults)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_what_is_of_a_wrong_kind_is_told_in_our_own_words(kind: type[Settings]) -> None:
    """Of the library that checks, no message is let through: these speak of inputs, of instances, of what is valid."""
    faults: list[str] = []
    for name, found in itertools.product(kind.specs(), (3, 2.5, "x", True, [], {}, [3], ["x"])):
        read_settings(kind, {name: found}, "here", faults)
    assert len(faults) > len(kind.specs())  # each setting refuses some of them
    assert [f for f in faults if not f.startswith(("here.", "here: ")) or re.search("Input|valid|instance", f)] == []


def test_all_faults_are_told_together() -> None:
    text = 'titel = "x"\nchain = ["a"]\n[blocks.a]\ntype = "gain"\ngain_db = 99\n[blocks.b]\ntype = "pan"\npan = 7'
    with pytest.raises(SketchError) as caught:
        parse_sketch(text)
    assert len(caught.value.faults) == 3


def test_a_declared_block_that_does_nothing_is_warned_of() -> None:
    sketch = parse_sketch('chain = ["gain"]\n[blocks.spare]\ntype = "pan"')
    assert sketch.warnings == ("blocks.spare: declared but in no chain; it does nothing",)


@pytest.mark.parametrize(
    ("make", "line"),
    [
        (lambda p: None, "cannot be read"),
        (lambda p: p.mkdir(), "cannot be read"),
        (lambda p: p.write_bytes(b"\xff\xfe\x00"), "not a text file"),
        (
            lambda p: p.write_bytes(b"RIFF\x24\xff\x00\x00WAVE"),
            "this is a recording, not a sketch; the sketch comes first",
        ),
        (lambda p: p.write_bytes(b"\x00\x00\x00\x20ftypM4A " + bytes(1_000_001)), "this is a recording, not a sketch"),
        (lambda p: p.write_text("#" * 1_000_001), "a sketch has at most 1000000"),
    ],
    ids=["missing", "folder", "binary", "recording", "large recording", "huge"],
)
def test_a_file_that_cannot_be_a_sketch(tmp_path: Path, make: object, line: str) -> None:
    path = tmp_path / "parade.toml"
    make(path)  # type: ignore[operator]
    with pytest.raises(SketchError, match=line):
        load_sketch(path)


def test_patches_override_and_engage() -> None:
    text = """
chain = ["a", "b"]
[blocks.a]
type = "gain"
gain_db = 1
[blocks.b]
type = "gain"
[patches.p]
engage = ["b"]
tempo_bpm = 90
[patches.p.blocks.a]
gain_db = 2
[[cues]]
at_s = 3
patch = "p"
"""
    sketch = parse_sketch(text)
    patch = sketch.patches["p"].state
    assert not patch.blocks["a"].common.engaged
    assert patch.blocks["b"].common.engaged
    assert patch.blocks["a"].settings.model_dump() == {"gain_db": 2.0}
    assert [(t, s.tempo_bpm) for t, s in timeline(sketch)] == [(0.0, 120.0), (3.0, 90.0)]


def test_assets_stay_inside_the_sketchs_folder(tmp_path: Path) -> None:
    inside = tmp_path / "sketches"
    inside.mkdir()
    (inside / "room.wav").write_bytes(b"x")
    (tmp_path / "secret.wav").write_bytes(b"x")
    (inside / "link.wav").symlink_to(tmp_path / "secret.wav")
    (inside / "s.toml").write_text("chain = []")
    assets = load_sketch(inside / "s.toml").assets
    assert assets.path("room.wav") == inside / "room.wav"
    for name in ("../secret.wav", str(tmp_path / "secret.wav"), "link.wav"):
        with pytest.raises(ValueError, match="outside the sketch's own folder"):
            assets.path(name)
    with pytest.raises(ValueError, match="not found"):
        assets.path("hall.wav")


@pytest.mark.parametrize(
    ("names", "key"),
    [("sounding", "D minor"), ("written", "C minor")],  # a Bb horn sounds a whole tone (or an octave more) lower
)
def test_written_keys_are_transposed_for_the_horn(names: str, key: str) -> None:
    text = f'pitch_names = "{names}"\ninstrument = "tenor saxophone"\nkey = "D minor"\nchain = []'
    assert parse_sketch(text).base.key == key


def test_a_bad_horn_and_a_bad_key_are_both_told() -> None:
    with pytest.raises(SketchError) as caught:
        parse_sketch('instrument = "tenor sox"\nkey = "H major"\nchain = []')
    assert [f.split(":")[1].strip() for f in caught.value.faults] == ["instrument", "key"]


def test_a_block_engaged_without_its_blender_is_warned_of() -> None:
    text = """
chain = [{ blender = "mix", wet = ["side"] }, "last"]
[blocks.mix]
type = "blender"
[blocks.side]
type = "gain"
[blocks.last]
type = "gain"
[patches.p]
engage = ["side"]
"""
    assert parse_sketch(text).warnings == ('patches.p: "side" is engaged but not heard: its blender "mix" is not',)


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_bytes(b"\xef\xbb\xbfchain = []")
    assert load_sketch(tmp_path / "s.toml").base.chain == ()


def test_many_forks_in_series_are_built_once_each() -> None:
    """Every fork reads the one before twice; built anew for each read, 60 of them would never end."""
    forks = ", ".join(['{ lanes = ["dry", { chain = "dry", pan = 0.1 }] }'] * 60)
    graph = build_graph(parse_sketch(f"chain = [{forks}]"), 48_000.0)
    assert sum(n.kind == "junction" for n in graph.nodes) == 61


def test_a_patch_may_put_a_note_value_in_the_place_of_a_time() -> None:
    text = 'chain = ["delay"]\n[blocks.delay]\n{a}\nwet_db = -3\n[patches.p.blocks.delay]\n{b}'
    by_note = parse_sketch(text.format(a="time_ms = 200", b='note = "1/8"')).patches["p"].state.blocks["delay"].settings
    assert by_note.model_dump(exclude_unset=True) == {"note": "1/8", "wet_db": -3.0}
    by_time = parse_sketch(text.format(a='note = "1/8"', b="time_ms = 200")).patches["p"].state.blocks["delay"].settings
    assert by_time.model_dump(exclude_unset=True) == {"time_ms": 200.0, "wet_db": -3.0}


def test_a_patch_chain_may_name_a_bare_type() -> None:
    sketch = parse_sketch('chain = []\n[patches.p]\nchain = ["reverb"]')
    assert sketch.patches["p"].state.blocks["reverb"].type_name == "reverb"


def test_what_a_controller_overrules_is_warned_of() -> None:
    text = """
chain = ["delay"]
[blocks.delay]
note = "1/8"
[controllers.c]
type = "breakpoints"
points = [[0, 0]]
drives = [{ setting = "delay.time_ms" }, { setting = "delay.wet_db" }]
[patches.p.blocks.delay]
wet_db = -20
"""
    assert parse_sketch(text).warnings == (
        "controllers.c: delay.time_ms does nothing beside note",
        'patches.p.blocks.delay.wet_db: does nothing, since the controller "c" drives it',
    )


SHIFTER = 'chain = ["mates"]\n[blocks.mates]\ntype = "pitch_shifter"\n'
BASS = 'chain = ["deep"]\n[blocks.deep]\ntype = "wandering_bass"\n'
SEVERAL = 'notes = "several"\n'
WITH_SEVERAL = 'does nothing beside notes = "several"'
DRIVEN = '[controllers.foot]\ntype = "breakpoints"\npoints = [[0, 0]]\ndrives = [{ setting = "mates.unpitched_db" }]\n'
IDLE = [
    (SHIFTER + SEVERAL + 'formant = 0.5\nlowest_note = "E3"\nlevel_db = -3', ()),  # these it goes by
    (SHIFTER + SEVERAL + 'unpitched_db = "off"', (f"blocks.mates.unpitched_db: {WITH_SEVERAL}",)),
    (
        SHIFTER + SEVERAL + 'source = "tracked_midi"\nconverter_latency_ms = 9\nlistens_to = "input"\ncommit_ms = 90',
        tuple(
            f"blocks.mates.{name}: {WITH_SEVERAL}"
            for name in ("source", "converter_latency_ms", "listens_to", "commit_ms")
        ),
    ),
    (SHIFTER + SEVERAL + DRIVEN, (f"controllers.foot: mates.unpitched_db {WITH_SEVERAL}",)),
    (SHIFTER + DRIVEN, ()),
    (SHIFTER + 'unpitched_db = "off"\nlistens_to = "input"', ()),
    (
        SHIFTER + 'commit_ms = 90\nvoices = [{ interval = "P5 above" }, { pitch = "E3" }]',
        ("blocks.mates.commit_ms: does nothing without a voice in the key",),
    ),
    (SHIFTER + 'commit_ms = 90\nvoices = [{}, { interval = "third above" }]', ()),
    # a patch may give it something to do, or write it in vain itself
    (SHIFTER + SEVERAL + 'unpitched_db = -9\n[patches.solo.blocks.mates]\nnotes = "single"', ()),
    (SHIFTER + SEVERAL + DRIVEN + '[patches.solo.blocks.mates]\nnotes = "single"', ()),
    (SHIFTER + 'unpitched_db = -9\n[patches.duet.blocks.mates]\nnotes = "several"', ()),
    (
        SHIFTER + 'unpitched_db = -9\n[patches.duet.blocks.mates]\nnotes = "several"\nunpitched_db = -20',
        (f"patches.duet.blocks.mates.unpitched_db: {WITH_SEVERAL}",),
    ),
    (SHIFTER + "midi_channel = 3", ('blocks.mates.midi_channel: does nothing beside source = "track"',)),
    (
        SHIFTER + 'source = "tracked_midi"\nmidi_channel = 3\nconverter_latency_ms = 9\nlistens_to = "input"',
        ('blocks.mates.midi_channel: does nothing beside source = "tracked_midi"',),
    ),
    (
        SHIFTER + 'source = "part.mid"\nmidi_channel = 3\nconverter_latency_ms = 9\nlistens_to = "input"',
        tuple(
            f'blocks.mates.{name}: does nothing beside source = "part.mid"'
            for name in ("converter_latency_ms", "listens_to")
        ),
    ),
    (BASS + "swing_percent = 60", ('blocks.deep.swing_percent: does nothing beside every = "1/4"',)),
    (BASS + "width = 0.3", ('blocks.deep.width: does nothing beside waveform = "saw"',)),
    (BASS + 'every = "1/8 swung"\nswing_percent = 60\nwaveform = "pulse"\nwidth = 0.3', ()),
]


@pytest.mark.parametrize(("text", "warnings"), IDLE, ids=range(len(IDLE)))
def test_a_setting_that_does_nothing_beside_another_is_warned_of(text: str, warnings: tuple[str, ...]) -> None:
    assert parse_sketch(text).warnings == warnings


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_only_settings_that_exist_are_said_to_do_nothing(kind: type[Settings]) -> None:
    assert set(kind().idle()) <= {*kind.specs(), *Common.specs()}
