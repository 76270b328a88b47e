"""Cues in files beside the sketch: CSV as spreadsheets write it, TOML, MIDI as two libraries write it, and damage."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Sequence
from pathlib import Path

import mido
import pretty_midi
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chainsim.errors import SketchError
from chainsim.sketch.loading import load_sketch, parse_sketch
from chainsim.sketch.model import Sketch
from chainsim.sketch.timeline import timeline
from chainsim.stage.cues import Cue

SET = """
chain = ["tone", "echo"]
[blocks.tone]
type = "gain"
[blocks.echo]
type = "delay"
[patches.plain]
engage = []
midi_program = 0
[patches.answered]
engage = ["echo"]
midi_program = 7
[patches."second act"]
midi_program = 7
midi_bank = 133
[[switches]]
name = "A"
press = "patch plain"
midi_cc = 80
[[switches]]
name = "B"
press = "block echo"
hold = "mute"
midi_cc = 81
"""


def with_file(folder: Path, name: str, content: bytes | str, head: str = "") -> Sketch:
    (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    (folder / "evening.toml").write_text(f'cue_file = "{name}"\n{head}{SET}', encoding="utf-8")
    return load_sketch(folder / "evening.toml")


def faults_of(folder: Path, name: str, content: bytes | str) -> list[str]:
    with pytest.raises(SketchError) as caught:
        with_file(folder, name, content)
    assert all(f.startswith("evening.toml: ") and f.isprintable() for f in caught.value.faults), caught.value.faults
    return [f.removeprefix("evening.toml: ") for f in caught.value.faults]


# CSV

TWO = (Cue(1.0, "patch", "answered"), Cue(2.5, "mute"))
TABLES = {
    "plain": "at_s,patch,mute\n1,answered,\n2.5,,true\n",
    "other order of columns": "mute,at_s,patch\n,1,answered\nTrue,2.5\n",
    "other order of lines": "at_s,patch,mute\n2.5,,true\n1,answered\n",
    "byte order mark and CRLF": "\ufeffat_s,patch,mute\r\n1,answered,\r\n2.5,,true\r\n",
    "old line ends": "at_s,patch,mute\r1,answered,\r2.5,,true\r",
    "quotes": '"at_s","patch","mute"\n"1","answered",""\n"2.5",,"ON"\n',
    "blanks": " at_s , patch , mute \n\n 1 , answered , \n   \n2.5,, true \n\n\n",
    "filled up with empty cells": ",,,,\nat_s,patch,mute,,\n1,answered,,,\n,,,,\n2.5,,true,,\n,,,,\n",
    "no end of line": "at_s,patch,mute\n1,answered\n2.5,,true",
    "exponents": "at_s,patch,mute\n1e0,answered\n25e-1,,true",
}


@pytest.mark.parametrize("text", TABLES.values(), ids=TABLES)
def test_tables_as_spreadsheets_write_them(tmp_path: Path, text: str) -> None:
    sketch = with_file(tmp_path, "cues.CSV", text)
    assert sketch.cues == TWO
    assert sketch.warnings == ()


def test_every_column(tmp_path: Path) -> None:
    text = (
        "at_s,at_bar,patch,press,hold,on,off,mute,dry\n"
        "0,,second act\n,2,,A\n,2:3,,,B\n4,,,,,tone\n5,,,,,,echo\n"
        "6,,,,,,,on\n7,,,,,,,off\n8,,,,,,,,true\n9,,,,,,,,false\n"
    )
    assert with_file(tmp_path, "cues.csv", text).cues == (
        Cue(0.0, "patch", "second act"),
        Cue(2.0, "press", "A", bar="2"),  # 4 quarters at 120
        Cue(3.0, "hold", "B", bar="2:3"),
        Cue(4.0, "block", "tone"),
        Cue(5.0, "block", "echo", on=False),
        Cue(6.0, "mute"),
        Cue(7.0, "mute", on=False),
        Cue(8.0, "dry"),
        Cue(9.0, "dry", on=False),
    )


def test_names_with_commas_quotes_and_letters_of_any_kind(tmp_path: Path) -> None:
    name = 'Späte "Fähre", 2. Akt'
    buffer = io.StringIO()
    csv.writer(buffer).writerows([["at_s", "patch"], [3, name]])
    quoted = name.replace('"', '\\"')
    (tmp_path / "cues.csv").write_text(buffer.getvalue(), encoding="utf-8")
    sketch = parse_sketch(f'cue_file = "cues.csv"\nchain = ["gain"]\n[patches."{quoted}"]', folder=tmp_path)
    assert sketch.cues == (Cue(3.0, "patch", name),)


BAD_TABLES = [
    ("", "cue_file: cues.csv: its first line names the columns, such as at_s,patch; allowed at_s, at_bar, patch"),
    ("\n\n,,\n", "cue_file: cues.csv: its first line names the columns"),
    ("at_s\n1\n", "cue_file: cues.csv: its first line names the columns"),
    ("patch\nplain\n", "cue_file: cues.csv: its first line names the columns"),
    ("1,plain\n2,answered\n", 'cue_file: cues.csv: no column "1"; allowed at_s, at_bar, patch, press'),
    ("At_s,Patch\n1,plain\n", 'cue_file: cues.csv: no column "At_s"; did you mean "at_s"?'),
    ("at_s,,patch\n1,,plain\n", 'cue_file: cues.csv: no column ""; allowed at_s'),
    ("at_s,patch,patch\n1,plain,answered\n", 'cue_file: cues.csv: 2 columns are named "patch"'),
    ("at_s;patch\n1;plain\n", 'cue_file: cues.csv: "at_s;patch", allowed columns that commas part, such as at_s,patch'),
    ("at_s\tpatch\n1\tplain\n", 'cue_file: cues.csv: "at_s\\tpatch", allowed columns that commas part'),
    ("at_s,patch\n1,5,plain\n", "cues.csv: line 2: 3 cells under 2 columns; decimals take a point, not a comma"),
    ('at_s,patch\n"1,5",plain\n', 'cues.csv: line 2: at_s = "1,5", allowed seconds, with a point for decimals'),
    ("at_s,patch\n0:31,plain\n", 'cues.csv: line 2: at_s = "0:31", allowed seconds, with a point for decimals'),
    ("at_s,patch\nnan,plain\n", "cues.csv: line 2: at_s = nan s, allowed 0 ... 86400 s"),
    ("at_s,patch\n\n\n-inf,plain\n", "cues.csv: line 4: at_s = -inf s, allowed 0 ... 86400 s"),
    ("at_s,patch\n-0.1,plain\n", "cues.csv: line 2: at_s = -0.1 s, allowed 0 ... 86400 s"),
    ("at_s,patch\n1e400,plain\n", "cues.csv: line 2: at_s = inf s, allowed 0 ... 86400 s"),
    ("at_s,patch\n1,plane\n", 'cues.csv: line 2: patch: no patch "plane"; did you mean "plain"?'),
    ('at_s,patch\n1,"two\nlines"\n', 'cues.csv: line 3: patch: no patch "two\\nlines"'),
    ("at_s,patch\n1,pl\x00ain\n", 'cues.csv: line 2: patch: no patch "pl\\x00ain"'),
    ("at_s,patch\n1,\x1b[2Jplain\n", 'cues.csv: line 2: patch: no patch "\\x1b[2Jplain"'),
    ("at_s,patch\n1\n", "cues.csv: line 2: does not say what happens, allowed one of patch"),
    ("at_s,at_bar,patch\n1,2,plain\n", "cues.csv: line 2: says at_s and at_bar, allowed one of at_s, at_bar"),
    ("at_s,at_bar,patch\n,,plain\n", "cues.csv: line 2: does not say when, allowed one of at_s, at_bar"),
    ("at_s,patch,mute\n1,plain,on\n", "cues.csv: line 2: says patch and mute, allowed one of"),
    ("at_s,mute\n1,maybe\n", "cues.csv: line 2: mute = 'maybe', allowed true or false"),
    ("at_bar,patch\n17:02:00,plain\n", 'cues.csv: line 2: at_bar: no place "17:02:00", allowed "BAR:BEAT"'),
    ('at_s,patch\n1,"plain\n', "cue_file: cues.csv: line 2: not valid CSV: unexpected end of data"),
    ('at_s,patch\n1,"pl"ain\n', "cue_file: cues.csv: line 2: not valid CSV: "),
    ("at_s,patch\n1," + "x" * 200_000, "cue_file: cues.csv: line 2: not valid CSV: field larger than field limit"),
    ("at_s,patch\n" + "1,plain\n" * 130_000, "cue_file: cues.csv: 1040011 bytes, at most 1000000 are allowed"),
]


@pytest.mark.parametrize(("text", "line"), BAD_TABLES, ids=range(len(BAD_TABLES)))
def test_a_table_that_cannot_be_read_is_one_line(tmp_path: Path, text: str, line: str) -> None:
    (found,) = faults_of(tmp_path, "cues.csv", text)
    assert line in found
    assert len(found) < 200


def test_all_faults_of_a_table_are_told_together(tmp_path: Path) -> None:
    text = "at_s,patch\n1,plane\n2,plain\nsoon,plain\n-3,plain\n4,5,plain\n"
    assert [f.split(":")[1] for f in faults_of(tmp_path, "cues.csv", text)] == [f" line {n}" for n in (2, 4, 5, 6)]


@pytest.mark.parametrize(
    "content", ["at_s,patch\n1,plain\n".encode("utf-16"), b"at_s,patch\n1,\xe9\n", b"\xff\xfe\x00"]
)
@pytest.mark.parametrize("name", ["cues.csv", "cues.toml"])
def test_sound_or_another_encoding_is_no_text(tmp_path: Path, name: str, content: bytes) -> None:
    assert faults_of(tmp_path, name, content) == [f"cue_file: {name}: cannot be read as a text in UTF-8"]


# TOML


def test_cues_in_toml_are_those_of_a_sketch(tmp_path: Path) -> None:
    cues = '[[cues]]\nat_s = 1\npatch = "answered"\n[[cues]]\nat_bar = "3:2"\nmute = true\n'
    assert with_file(tmp_path, "cues.toml", "\ufeff" + cues).cues == parse_sketch(SET + cues).cues


BAD_TOML = [
    ("[[cues]]\nat_s = 1\npatch = 'plane'", 'cues.toml: cues[0].patch: no patch "plane"; did you mean "plain"?'),
    ("[[cues]]\nat_s = nan\npatch = 'plain'", "cues.toml: cues[0].at_s = nan s, allowed 0 ... 86400 s"),
    ("[cues]\nat_s = 1", "cue_file: cues.toml: allowed a list of cues and nothing else: [[cues]]"),
    ("title = 'x'", "cue_file: cues.toml: allowed a list of cues and nothing else: [[cues]]"),
    ("cues = [1]", "cue_file: cues.toml: allowed a list of cues and nothing else: [[cues]]"),
    ("[[cues]\nat_s = 1", "cue_file: cues.toml: not valid TOML: "),
    ("[[cues]]\nat_s = 1" + "0" * 5_000, "cue_file: cues.toml: not valid TOML: "),
    ("cues = " + "[" * 100_000 + "]" * 100_000, "cue_file: cues.toml: nested too deep to be read"),
    ("# " + "x" * 1_000_000, "cue_file: cues.toml: 1000002 bytes, at most 1000000 are allowed"),
]


@pytest.mark.parametrize(("text", "line"), BAD_TOML, ids=range(len(BAD_TOML)))
def test_a_list_in_toml_that_cannot_be_read_is_one_line(tmp_path: Path, text: str, line: str) -> None:
    (found,) = faults_of(tmp_path, "cues.toml", text)
    assert line in found


# Files of any kind


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("", 'cue_file = "", allowed .csv, .toml, .mid, .midi'),
        ("cues", 'cue_file = "cues", allowed .csv'),
        ("cues.tml", 'cue_file = "cues.tml", allowed .csv, .toml, .mid, .midi; did you mean ".toml"?'),
        ("absent.csv", 'cue_file: file "absent.csv": not found in '),
        ("folder.csv", "cue_file: "),
        ("../secret.csv", 'cue_file: file "../secret.csv": lies outside the sketch\'s own folder'),
        ("/etc/secret.csv", 'cue_file: file "/etc/secret.csv": lies outside the sketch\'s own folder'),
        ("link.csv", 'cue_file: file "link.csv": lies outside the sketch\'s own folder'),
    ],
)
def test_a_file_that_is_not_there_or_not_the_sketchs(tmp_path: Path, name: str, line: str) -> None:
    folder = tmp_path / "sketches"
    (folder / "folder.csv").mkdir(parents=True)
    (tmp_path / "secret.csv").write_text("at_s,patch\n1,plain\n")
    (folder / "link.csv").symlink_to(tmp_path / "secret.csv")
    with pytest.raises(SketchError) as caught:
        parse_sketch(f'cue_file = "{name}"\n{SET}', folder=folder)
    (found,) = caught.value.faults
    assert line in found


def test_cues_of_the_sketch_come_before_those_of_the_file(tmp_path: Path) -> None:
    """Of two at one time the last counts: that of the file."""
    sketch = with_file(tmp_path, "cues.csv", "at_s,patch\n1,plain\n")
    both = parse_sketch(
        (tmp_path / "evening.toml").read_text() + "[[cues]]\nat_s = 1\npatch = 'answered'", folder=tmp_path
    )
    assert both.cues == sketch.cues
    assert both.warnings == ("cues: patch answered and patch plain, both at 1 s: the last one counts",)


@pytest.mark.parametrize("name", ["cues.csv", "cues.toml", "cues.mid"])
def test_any_damage_is_told_or_gives_cues(tmp_path: Path, name: str) -> None:
    good = {
        "cues.csv": b"\xef\xbb\xbfat_s,at_bar,patch,press,mute\n1,,plain\n2.5,,,A\n,9:2,,,true\n" * 2,
        "cues.toml": b'[[cues]]\nat_s = 1\npatch = "plain"\n[[cues]]\nat_bar = "9:2"\nmute = true\n',
        "cues.mid": smf(
            [program(0, 100), control(81, 127, 300), control(81, 0, 300), tempo(400_000, 7), program(7, 9)]
        ),
    }[name]
    likely = range(256) if name == "cues.mid" else b"0123456789-.,:;'\" =[]\n\r\x00ae\xff"
    rng, told = random.Random(11), []
    for _ in range(100):
        damaged = bytearray(good)
        for _ in range(rng.randint(1, 2)):
            damaged[rng.randrange(len(good))] = rng.choice(likely)
        if rng.random() < 0.2:
            del damaged[rng.randrange(len(good)) :]
        try:
            found = with_file(tmp_path, name, bytes(damaged))
        except SketchError as error:
            told += error.faults
            continue
        assert all(c.at_s >= 0.0 for c in found.cues)
        timeline(found)
    assert len(told) > 20
    assert all(fault.isprintable() and len(fault) < 300 for fault in told)


# MIDI

Sent = mido.Message | mido.MetaMessage


def smf(*tracks: Sequence[Sent], ticks: int = 500, says_tempo: bool = True) -> bytes:
    """A file of format 1, its tempo in a track of its own; at 120 and 500 ticks a quarter a tick is a millisecond."""
    file = mido.MidiFile(type=1, ticks_per_beat=ticks)
    conductor = [[tempo(500_000)]] if says_tempo else []
    file.tracks.extend(mido.MidiTrack(t) for t in (*conductor, *tracks))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def tempo(microseconds: int, time: int = 0) -> mido.MetaMessage:
    return mido.MetaMessage("set_tempo", tempo=microseconds, time=time)


def control(number: int, value: int, time: int = 0, channel: int = 0) -> mido.Message:
    return mido.Message("control_change", control=number, value=value, time=time, channel=channel)


def program(number: int, time: int = 0, channel: int = 0) -> mido.Message:
    return mido.Message("program_change", program=number, time=time, channel=channel)


def test_programs_call_patches_with_the_bank_last_selected(tmp_path: Path) -> None:
    """Bank 133 is 128 x 1 + 5 (MIDI 1.0: controllers 0 and 32); what comes over MIDI costs the foot nothing."""
    sent = [program(7, 1000), control(0, 1, 500), control(32, 5), program(7, 500), control(0, 0, 10), control(32, 0)]
    sketch = with_file(tmp_path, "cues.mid", smf([*sent, program(0, 990)]))
    assert sketch.cues == (
        Cue(1.0, "patch", "answered", by_foot=False),
        Cue(2.0, "patch", "second act", by_foot=False),
        Cue(3.0, "patch", "plain", by_foot=False),
    )
    assert sketch.warnings == ()


def test_a_program_that_calls_nothing_is_told_once(tmp_path: Path) -> None:
    sketch = with_file(tmp_path, "cues.mid", smf([program(5, 10), program(5, 10), control(0, 1), program(7, 10)]))
    assert sketch.cues == ()
    assert sketch.warnings == (
        "cues.mid: program 5 of bank 0 calls no patch: midi_program, midi_bank",
        "cues.mid: program 7 of bank 128 calls no patch: midi_program, midi_bank",
    )


PRESSES: dict[str, tuple[list[Sent], list[Cue]]] = {
    "down from 64 on": ([control(80, 63, 100), control(80, 64, 100)], [Cue(0.2, "press", "A")]),
    "pressed when it goes down": ([control(80, 127, 1000), control(80, 0, 900)], [Cue(1.0, "press", "A")]),
    "down only once": ([control(80, 100, 100), control(80, 127, 100), control(80, 0, 100)], [Cue(0.1, "press", "A")]),
    "up alone": ([control(80, 0, 100)], []),
    "twice": (
        [control(80, 127, 100), control(80, 0, 100), control(80, 127, 300)],
        [Cue(0.1, "press", "A"), Cue(0.5, "press", "A")],
    ),
    # A switch that can be held acts when it is let go, 0.12 s after a press begins, or after 0.6 s.
    "short": ([control(81, 127, 1000), control(81, 0, 50)], [Cue(1.0, "press", "B")]),
    "let go after 0.3 s": ([control(81, 127, 1000), control(81, 0, 300)], [Cue(1.18, "press", "B")]),
    "held": ([control(81, 127, 1000), control(81, 0, 600)], [Cue(1.0, "hold", "B")]),
    "never let go": ([control(81, 127, 1000)], [Cue(1.0, "hold", "B")]),
    "another controller": ([control(82, 127, 1000), program(0)], [Cue(1.0, "patch", "plain", by_foot=False)]),
}


@pytest.mark.parametrize(("sent", "expected"), PRESSES.values(), ids=PRESSES)
def test_a_switchs_controller_presses_it(tmp_path: Path, sent: list[Sent], expected: list[Cue]) -> None:
    found = with_file(tmp_path, "cues.mid", smf(sent)).cues
    assert [(c.kind, c.name, c.by_foot) for c in found] == [(c.kind, c.name, c.by_foot) for c in expected]
    assert [c.at_s for c in found] == pytest.approx([c.at_s for c in expected], abs=1e-9)


def test_a_press_acts_when_the_switch_is_let_go(tmp_path: Path) -> None:
    """Down at 1 s, up at 1.3 s: the echo goes then; held from 2 s on, the mute comes 0.6 s later."""
    sent = [control(81, 127, 1000), control(81, 0, 300), control(81, 127, 700), control(81, 0, 2000)]
    found = timeline(with_file(tmp_path, "cues.mid", smf(sent)))
    assert [at_s for at_s, _ in found] == pytest.approx([0.0, 1.3, 2.6], abs=1e-9)
    assert [(state.blocks["echo"].common.engaged, state.muted) for _, state in found] == [
        (True, False), (False, False), (False, True),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("sent", "engaged"),
    [
        # the press of A chooses plain, without the echo; program 7 chooses the patch with it; B switches it
        ([program(7, 1000), control(80, 127)], []),
        ([control(80, 127, 1000), program(7)], ["echo"]),
        ([control(80, 127, 1000), program(7), program(0), program(7)], ["echo"]),
    ],
)
def test_what_is_sent_at_one_time_acts_in_the_order_of_the_file(
    tmp_path: Path, sent: list[Sent], engaged: list[str]
) -> None:
    assert sorted(timeline(with_file(tmp_path, "cues.mid", smf(sent)))[-1][1].engaged) == engaged


def test_one_channel_is_read_or_all(tmp_path: Path) -> None:
    content = smf([program(0, 1000), program(7, 1000, channel=4)], [control(80, 127, 1500, channel=4)])
    assert [c.text for c in with_file(tmp_path, "cues.mid", content).cues] == [
        "patch plain", "press A", "patch answered",
    ]  # fmt: skip
    fifth = with_file(tmp_path, "cues.mid", content, "cue_channel = 5\n")
    assert [c.text for c in fifth.cues] == ["press A", "patch answered"]
    assert fifth.warnings == ()
    none = with_file(tmp_path, "cues.mid", content, "cue_channel = 9\n")
    assert none.cues == ()
    assert none.warnings == (
        "cues.mid: calls no patch and presses no switch on channel 9: midi_program, midi_cc",
    )  # fmt: skip


def test_a_file_without_a_tempo_is_read_at_120_and_says_so(tmp_path: Path) -> None:
    sketch = with_file(tmp_path, "cues.mid", smf([program(0, 1500)], says_tempo=False), "tempo_bpm = 60\n")
    assert sketch.cues[0].at_s == 1.5  # 3 quarters at 120 (Standard MIDI Files 1.0), whatever the sketch's own tempo
    assert sketch.warnings == (
        "cues.mid: says no tempo; read at 120 quarters a minute, as Standard MIDI Files 1.0 has it",
    )  # fmt: skip


def test_an_empty_song_is_told(tmp_path: Path) -> None:
    sketch = with_file(tmp_path, "cues.mid", smf([]))
    assert sketch.cues == ()
    assert sketch.warnings == ("cues.mid: calls no patch and presses no switch: midi_program, midi_cc",)


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"", "cues.mid: is empty (0 bytes)"),
        (b"at_s,patch\n1,plain\n", "cues.mid: not a Standard MIDI File"),
        (smf([program(0, 10)])[:-5], "cues.mid: is damaged"),
    ],
)
def test_a_midi_file_that_cannot_be_read_is_one_line(tmp_path: Path, content: bytes, line: str) -> None:
    (found,) = faults_of(tmp_path, "cues.mid", content)
    assert found.startswith("cue_file: ")
    assert line in found


def test_what_another_library_writes_calls_and_presses(tmp_path: Path) -> None:
    """It sends programs at the beginning, and controllers at their times, to a tick of 60 / 90 / 960 s."""
    song = pretty_midi.PrettyMIDI(resolution=960, initial_tempo=90.0)
    instrument = pretty_midi.Instrument(7)
    instrument.notes.append(pretty_midi.Note(80, 60, 0.5, 1.0))
    for at_s, value in ((3.217, 127), (3.3, 0), (5.001, 127), (5.9, 0)):
        instrument.control_changes.append(pretty_midi.ControlChange(81, value, at_s))
    song.instruments.append(instrument)
    song.write(str(tmp_path / "song.mid"))
    sketch = with_file(tmp_path, "cues.mid", (tmp_path / "song.mid").read_bytes())
    assert [(c.kind, c.name) for c in sketch.cues] == [("patch", "answered"), ("press", "B"), ("hold", "B")]
    assert [c.at_s for c in sketch.cues] == pytest.approx([0.0, 3.217, 5.001], abs=60.0 / 90.0 / 960.0)
    assert sketch.warnings == ()


def test_changes_of_tempo_are_followed_as_the_other_library_does(tmp_path: Path) -> None:
    rng = random.Random(3)
    track: list[Sent] = []
    for _ in range(30):
        track += [tempo(rng.randint(200_000, 1_500_000), rng.randint(1, 700)), control(80, 127, rng.randint(1, 700))]
        track += [control(80, 0, 30)]
    note = [mido.Message("note_on", note=60, velocity=9), mido.Message("note_off", note=60, time=5)]
    sketch = with_file(tmp_path, "cues.mid", smf([*track, *note], ticks=480, says_tempo=False))
    song = pretty_midi.PrettyMIDI(str(tmp_path / "cues.mid"))
    expected = [c.time for c in song.instruments[0].control_changes if c.value >= 64]
    assert len(expected) == 30
    assert [c.at_s for c in sketch.cues] == pytest.approx(expected, abs=1e-6)


few = settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
WRITTEN = st.lists(
    st.tuples(
        st.integers(0, 600_000).map(lambda ms: ms / 1000.0),
        st.sampled_from(
            [
                ("patch", "plain"),
                ("patch", "second act"),
                ("press", "A"),
                ("hold", "B"),
                ("on", "echo"),
                ("off", "tone"),
            ]
        ),
    ),
    max_size=12,
    unique_by=lambda cue: cue[0],
)


@few
@given(WRITTEN)
def test_the_same_cues_are_read_from_csv_toml_and_the_sketch(
    tmp_path: Path, written: list[tuple[float, tuple[str, str]]]
) -> None:
    buffer = io.StringIO()
    rows = csv.DictWriter(buffer, ["at_s", "patch", "press", "hold", "on", "off"])
    rows.writeheader()
    rows.writerows({"at_s": at_s, key: value} for at_s, (key, value) in written)
    toml = "".join(f'[[cues]]\nat_s = {at_s}\n{key} = "{value}"\n' for at_s, (key, value) in written)
    expected = parse_sketch(SET + toml).cues
    assert [c.at_s for c in expected] == sorted(at_s for at_s, _ in written)
    assert with_file(tmp_path, "cues.csv", buffer.getvalue()).cues == expected
    assert with_file(tmp_path, "cues.toml", toml).cues == expected
