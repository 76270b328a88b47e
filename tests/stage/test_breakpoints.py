"""Breakpoints in seconds and in bars, in a sketch and in files."""

from __future__ import annotations

import csv
import math
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from chainsim.block import Assets, Context
from chainsim.errors import SettingError
from chainsim.stage.breakpoint_files import read_breakpoints
from chainsim.stage.breakpoints import Breakpoints, BreakpointsSettings
from chainsim.stage.tempo import Tempo
from tests.stage.control_harness import RATE_HZ, prepared, run


def in_meter(meter: str, folder: Path | None = None, rate_hz: float = RATE_HZ, **settings: object) -> Breakpoints:
    block = Breakpoints(BreakpointsSettings(**settings))
    block.prepare(Context(rate_hz, {}, meter=meter, assets=Assets(folder)))
    return block


def tempo(changes: list[list[float]], frames: int) -> dict[str, np.ndarray]:
    return {"tempo": run(prepared(Tempo, changes=changes), frames)}


def test_seconds_against_another_library() -> None:
    times, positions = [0.05, 0.1, 0.25, 0.4], [0.5, 0.0, 1.0, 0.25]
    (y,) = run(prepared(Breakpoints, points=[list(p) for p in zip(times, positions, strict=True)]), 24_000)
    assert np.abs(y - np.interp(np.arange(24_000) / RATE_HZ, times, positions)).max() < 1e-12


def test_bars_are_straight_in_beats_and_move_with_the_tempo() -> None:
    points = [["1:1", 0.0], ["1:3", 1.0], ["2", 0.5]]
    block = in_meter("3/4", points=points)
    (y,) = run(block, 96_000, tempo([[0.0, 120.0]], 96_000))
    # At 120 a quarter lasts 24000 samples: up in two, down in one.
    assert [y[n] for n in (0, 24_000, 48_000, 60_000, 72_000, 95_999)] == pytest.approx([0, 0.5, 1, 0.75, 0.5, 0.5])
    # From the second quarter on twice as slow.
    rows = tempo([[0.0, 120.0], [0.5, 60.0]], 144_000)
    (slower,) = run(block, 144_000, rows)
    assert [slower[n] for n in (24_000, 48_000, 72_000, 96_000, 120_000)] == pytest.approx([0.5, 0.75, 1, 0.75, 0.5])
    assert np.abs(slower - np.interp(rows["tempo"][1], [0.0, 2.0, 3.0], [0.0, 1.0, 0.5])).max() < 1e-12


def test_before_the_first_beat_the_first_position_holds() -> None:
    beat = np.linspace(-2.0, 1.0, 3_001)
    (y,) = run(in_meter("4/4", points=[["1", 0.25], ["1:2", 1.0]]), 3_001, {"tempo": np.stack([beat, beat])})
    assert np.all(y[:2_001] == 0.25)
    assert y[3_000] == 1.0


@pytest.mark.parametrize(
    "points", [[[0.01, 0.2], [0.05, 1.0], [0.3, 0.0]], [["1:1.1", 0.2], ["1:2", 1.0], ["2:1", 0.0]]]
)
def test_any_cutting_and_any_beginning_give_the_same_bits(points: list[list[object]]) -> None:
    block, rows = in_meter("2/4", points=points), tempo([[0.0, 120.0], [0.3, 213.0]], 24_000)
    whole = run(block, 24_000, rows)
    for cuts in (range(1, 24_000, 509), [0, 0, 480, 481], np.random.default_rng(4).integers(0, 24_000, 40)):
        assert run(block, 24_000, rows, cuts=sorted(int(c) for c in cuts)).tobytes() == whole.tobytes()
    late = {"tempo": rows["tempo"][:, 480:10_480]}
    assert run(block, 10_000, late, n0=480).tobytes() == np.ascontiguousarray(whole[:, 480:10_480]).tobytes()


def test_the_tempo_is_asked_for_only_where_bars_may_be() -> None:
    assert Breakpoints.controls_for(BreakpointsSettings(points=[[0, 0.5]])) == ()
    assert Breakpoints.controls_for(BreakpointsSettings(points=[["1", 0.5]])) == ("tempo",)
    assert Breakpoints.controls_for(BreakpointsSettings(file="swell.csv")) == ("tempo",)


FILES = {
    "seconds.csv": ("at_s,position\r\n0,0\r\n1.5,1\r\n", [(0.0, 0.0), (1.5, 1.0)]),
    "spaces.csv": ("\ufeffat_s, position\n\n 0.5 , 0.25 \n,\n\n1e0,1\n", [(0.5, 0.25), (1.0, 1.0)]),
    "bars.csv": ('at_bar,position\n"1:1",0\n3,0.5\n3:2.5,1\n', [("1:1", 0.0), ("3", 0.5), ("3:2.5", 1.0)]),
    "CAPITALS.CSV": ("at_s,position\n0,1", [(0.0, 1.0)]),
    "seconds.toml": ("points = [[0, 0.0], [1.5, 1]]", [(0.0, 0.0), (1.5, 1.0)]),
    "bars.toml": ('points = [["1:1", 0.0],\n["3", 0.5]] # up', [("1:1", 0.0), ("3", 0.5)]),
}


@pytest.mark.parametrize(("name", "text", "points"), [(n, *f) for n, f in FILES.items()])
def test_files_are_read(tmp_path: Path, name: str, text: str, points: list[tuple[object, float]]) -> None:
    (tmp_path / name).write_bytes(text.encode())
    assert read_breakpoints(tmp_path / name) == points


@pytest.mark.parametrize("name", ["swell.csv", "swell.toml"])
def test_a_file_plays_as_the_points_in_it(tmp_path: Path, name: str) -> None:
    points = [["1:1", 0.0], ["1:2.5", 1.0], ["2:1", 0.25]]
    lines = {"swell.csv": "at_bar,position\n1:1,0\n1:2.5,1\n2:1,0.25\n", "swell.toml": f"points = {points}"}
    (tmp_path / name).write_text(lines[name])
    rows = tempo([[0.0, 190.0]], 60_000)
    wanted = run(in_meter("3/4", points=points), 60_000, rows)
    assert run(in_meter("3/4", tmp_path, file=name), 60_000, rows).tobytes() == wanted.tobytes()


POINTS = st.lists(st.tuples(st.floats(0.0, 1e5), st.floats(0.0, 1.0)), min_size=1, unique_by=lambda p: p[0]).map(sorted)


@given(POINTS)
def test_what_the_library_writes_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, points: list[tuple[float, float]]
) -> None:
    path = tmp_path_factory.mktemp("swell") / "swell.csv"
    with path.open("w", newline="") as file:
        csv.writer(file).writerows([("at_s", "position"), *points])
    assert read_breakpoints(path) == points


HEAD = "at_s,position\n"
CANNOT = {
    "empty": ("x.csv", "", "holds no points"),
    "header only": ("x.csv", HEAD, "holds no points"),
    "no header": ("x.csv", "0,0\n1,1\n", 'line 1: "0,0", allowed as the first line at_s,position or at_bar,position'),
    "other header": ("x.csv", "\ntime,position\n", 'line 2: "time,position", allowed as the first line'),
    "semicolons": ("x.csv", "at_s;position\n0;0\n", 'line 1: "at_s;position", allowed as the first line'),
    "three values": ("x.csv", HEAD + "0,0\n1,0,5\n", 'line 3: "1,0,5", allowed two values: at_s,position'),
    "decimal comma": ("x.csv", HEAD + '0,0\n1,"0,5"\n', 'line 3: "0,5", allowed a number, with a point'),
    "words": ("x.csv", HEAD + "soon,0\n", 'line 2: "soon", allowed a number'),
    "bars under seconds": ("x.csv", HEAD + "1:1,0\n", 'line 2: "1:1", allowed a number'),
    "no bar": ("x.csv", "at_bar,position\n0:1,0\n", 'line 2: no place "0:1", allowed "BAR:BEAT"'),
    "not a number": ("x.csv", HEAD + "0,nan\n", "line 2: position nan, allowed 0 ... 1"),
    "never": ("x.csv", HEAD + "inf,0\n", "line 2: time inf, allowed seconds from 0 to 1e+06"),
    "negative": ("x.csv", HEAD + "-1,0\n", "line 2: time -1.0, allowed seconds from 0"),
    "falling": ("x.csv", HEAD + "0,0\n2,0\n\n1,0\n", "line 5: 1.0, allowed times that rise; the one before is 2.0"),
    "bars twice": ("x.csv", "at_bar,position\n2,0\n2:1,1\n", "line 3: '2:1', allowed times that rise"),
    "too high": ("x.csv", HEAD + "0,1.5\n", "line 2: position 1.5, allowed 0 ... 1"),
    "open quote": ("x.csv", HEAD + '"0,0\n', "line 2: "),
    "endless cell": ("x.csv", HEAD + "1" * 200_000, "line 2: "),
    "escapes": ("x.csv", HEAD + "\x1b[2J\n", r'line 2: "\x1b[2J", allowed two values'),
    "no bar for escapes": ("x.toml", r'points = [["\u001b\n", 0]]', r"points[0]: time '\x1b\n', allowed seconds"),
    "long bar": ("x.toml", f'points = [["{"1" * 9_000}", 0]]', "points[0]: time '1111"),
    "long words": ("x.csv", "a" * 9_000, f'line 1: "{"a" * 60}..."'),
    "huge": ("x.csv", HEAD + "0,0\n" * 300_000, "over 1 MB, too large for breakpoints"),
    "no toml": ("x.toml", "points = [[0, 0]", "not valid TOML: "),
    "no points": ("x.toml", "", "allowed points = [[SECONDS, POSITION], ...]"),
    "more than points": ("x.toml", "points = [[0, 0]]\nmeter = 3", "allowed points = "),
    "flat": ("x.toml", "points = [0, 0]", "points[0]: 0, allowed a time and a position"),
    "mixed": ("x.toml", 'points = [[0, 0], ["2", 1]]', "points[1]: '2', allowed times that are all in seconds or all"),
    "yes": ("x.toml", "points = [[0, true]]", "points[0]: position True, allowed 0 ... 1"),
    "quoted": ("x.toml", 'points = [[0, "1"]]', "points[0]: position '1', allowed 0 ... 1"),
    "long number": ("x.toml", f"points = [[{'9' * 400}, 0]]", "points[0]: time 9999"),
    "longest number": ("x.toml", f"points = [[{'9' * 9_000}, 0]]", "not valid TOML: "),
    "deep": ("x.toml", "points = " + "[" * 100_000, "nested too deep"),
}


@pytest.mark.parametrize(("name", "text", "told"), CANNOT.values(), ids=CANNOT)
def test_what_cannot_be_followed_is_told_in_one_line(tmp_path: Path, name: str, text: str, told: str) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(SettingError) as caught:
        read_breakpoints(tmp_path / name)
    assert str(caught.value).startswith(f"{tmp_path / name}: {told}")
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("name", ["x.csv", "x.toml"])
def test_sound_is_no_text(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"RIFF\xff\xfe\x00\x9c")
    with pytest.raises(SettingError, match="not a text file in UTF-8"):
        read_breakpoints(tmp_path / name)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="cannot be read: No such file"):
        read_breakpoints(tmp_path / "none.csv")
    for file, told in (("none.csv", "not found in"), ("../none.csv", "lies outside the sketch's own folder")):
        with pytest.raises(SettingError, match=told):
            in_meter("4/4", tmp_path, file=file)


@pytest.mark.parametrize("name", ["x.csv", "x.toml"])
def test_any_damage_is_a_setting_error_or_points(tmp_path: Path, name: str) -> None:
    good = b"at_bar,position\n1:1,0.5\n2:3,1\n17:2.5,0\n" if name == "x.csv" else b'points = [["1:1", 0.5], ["2", 1]]'
    rng, told = random.Random(5), list[str]()
    for _ in range(500):
        damaged = bytearray(good)
        for _ in range(rng.randint(1, 3)):
            damaged[rng.randrange(len(good))] = rng.randrange(256)
        (tmp_path / name).write_bytes(bytes(damaged))
        try:
            points = read_breakpoints(tmp_path / name)
        except SettingError as error:
            told.append(str(error))
            continue
        assert all(0.0 <= p <= 1.0 and (isinstance(at, str) or math.isfinite(at)) for at, p in points)
    assert 250 < len(told) < 500
    assert all(message.isprintable() for message in told)


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({}, "allowed exactly one of points and file"),
        ({"points": [[0.0, 1.0]], "file": "x.csv"}, "allowed exactly one of points and file"),
        ({"points": []}, "allowed at least one point"),
        ({"points": [[0.0, 1.0], [1.0]]}, r"\[1\]: \[1.0\], allowed a time and a position"),
        ({"points": [[0.0, 1.0], [0.0, 0.5]]}, r"\[1\]: 0.0, allowed times that rise"),
        ({"points": [["1", 1.0], [2.0, 0.5]]}, r"\[1\]: 2.0, allowed times that are all in seconds or all in bars"),
        ({"points": [["1:x", 1.0]]}, r'\[0\]: no place "1:x"'),
        ({"points": [[0.0, 1.01]]}, r"\[0\]: position 1.01, allowed 0 ... 1"),
        ({"file": "x.txt"}, '"x.txt", allowed the name of a .csv or .toml file'),
    ],
)
def test_bad_settings_are_refused(settings: dict[str, object], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        BreakpointsSettings(**settings)


def test_a_beat_that_the_meter_has_not_is_refused() -> None:
    with pytest.raises(SettingError, match='no place "2:4" in 3/4, allowed beats from 1'):
        in_meter("3/4", points=[["2:4", 0.5]])
