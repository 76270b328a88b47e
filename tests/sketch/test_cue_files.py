"""Cues in files beside the sketch: CSV as spreadsheets write it, TOML; and damage of these and of MIDI files."""

from __future__ import annotations

import csv
import io
import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chainsim.errors import SketchError
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.timeline import timeline
from chainsim.stage.cues import Cue
from tests.sketch.cue_files import SET, control, faults_of, program, smf, tempo, with_file

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
