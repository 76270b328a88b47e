"""Values tried one after the other: read as a sketch would, checked by the sketch's own reader."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chainsim import load_sketch, parse_sketch
from chainsim.batch.matrix.sweeping import plain_vary, read_vary, sweep, without_effect
from chainsim.errors import ChainsimError, SettingError, SketchError

TEXT = """
tempo_bpm = 96  # slow
chain = ["tone", "echo", "gain"]
[blocks.tone]
type = "equalizer"
bands = [{ shape = "bell", freq_hz = 800, gain_db = 3 }]
[blocks.echo]
type = "delay"
time_ms = 250
[controllers.pedal]
type = "lfo"
drives = [{ setting = "echo.wet_db", low = -20, high = -6 }]
[patches.near]
engage = ["tone", "echo"]
[patches.far]
engage = ["echo", "gain"]
tempo_bpm = 120
[patches.far.blocks.echo]
feedback_percent = 20
"""


@pytest.mark.parametrize(
    ("text", "name", "values"),
    [
        ("wah.q=0.7,2,5", "wah.q", [0.7, 2, 5]),
        (" wah.q = 0.7 , 2", "wah.q", [0.7, 2]),
        ("echo.note=1/8 dotted,1/4", "echo.note", ["1/8 dotted", "1/4"]),
        ("key=E minor,G dorian", "key", ["E minor", "G dorian"]),
        ('key="E minor","G dorian"', "key", ["E minor", "G dorian"]),
        ("echo.wet_db=off,-6,-3.5", "echo.wet_db", ["off", -6, -3.5]),
        ("gate.engaged=true,false", "gate.engaged", [True, False]),
        ("echo.pattern=[1, 2],[3]", "echo.pattern", [[1, 2], [3]]),
        ("tone.bands=[{freq_hz=800}],[]", "tone.bands", [[{"freq_hz": 800}], []]),
        ('grit.shape=soft,"x, y",fold', "grit.shape", ["soft", "x, y", "fold"]),
        ("title=it's,off", "title", ["it's", "off"]),
        ("title='a, b',off", "title", ["a, b", "off"]),
        ("echo.pattern=off,[1, 2],[3]", "echo.pattern", ["off", [1, 2], [3]]),
        ("key=F# minor,G", "key", ["F# minor", "G"]),
        ("wah.q=1 # narrow", "wah.q", ["1 # narrow"]),  # no comment, and no value that a sketch takes
        ("key=2024-01-01,x", "key", ["2024-01-01", "x"]),
        ("key=2024-01-01", "key", ["2024-01-01"]),  # a date in TOML, and no value that sketches have
        ("key=1]\nchain = [2", "key", ["1]\nchain = [2"]),
    ],
)
def test_values_are_spelled_as_in_a_sketch(text: str, name: str, values: list[Any]) -> None:
    assert read_vary(text) == (name, values)


@pytest.mark.parametrize("text", ["wah.q", "wah.q=", "=1,2", "", "wah.q= "])
def test_what_has_no_values_is_told(text: str) -> None:
    with pytest.raises(SettingError, match="write it as BLOCK"):
        read_vary(text)


def test_an_empty_value_is_told() -> None:
    with pytest.raises(SettingError, match="value 2 is empty"):
        read_vary("echo.note=1/8,,1/4")


def test_values_may_be_numpys_but_not_twice_the_same() -> None:
    plain = plain_vary({"a": np.linspace(0.0, 1.0, 3), "b": np.arange(2), "c": (x for x in "xy")})
    assert plain == {"a": [0.0, 0.5, 1.0], "b": [0, 1], "c": ["x", "y"]}
    assert [type(v) for v in plain["b"]] == [int, int]
    for wrong, said in [
        ([], "allowed a list"),
        ("0.7", "found '0.7', allowed a list"),
        (3, "found 3, allowed a list"),
        ([1, 2, 1], "1 stands there 2"),
        ([2, 3, 2.0], r"2 and 2\.0 are one value"),
        ([[1, 2], [1.0, 2]], r"\[1, 2\] and \[1\.0, 2\] are one value"),
    ]:
        with pytest.raises(SettingError, match=said):
            plain_vary({"wah.q": wrong})
    assert plain_vary({"a": [True, 1, "1", 10**400]})["a"] == [True, 1, "1", 10**400]  # all of them different


def test_every_combination_is_the_sketch_with_it_written_in() -> None:
    sketch = parse_sketch(TEXT)
    swept = sweep(sketch, "s.toml", {"echo.time_ms": [100, 400], "tempo_bpm": [60, 90]})
    assert [chosen for chosen, _ in swept] == [
        {"echo.time_ms": 100, "tempo_bpm": 60},
        {"echo.time_ms": 100, "tempo_bpm": 90},
        {"echo.time_ms": 400, "tempo_bpm": 60},
        {"echo.time_ms": 400, "tempo_bpm": 90},
    ]
    for chosen, found in swept:
        by_hand = TEXT.replace("time_ms = 250", f"time_ms = {chosen['echo.time_ms']}")
        by_hand = by_hand.replace("tempo_bpm = 96", f"tempo_bpm = {chosen['tempo_bpm']}")
        expected = parse_sketch(by_hand)
        assert (found.base, found.patches) == (expected.base, expected.patches)
        assert "# slow" in found.text


def test_an_undeclared_block_gets_its_table_and_nothing_to_vary_is_the_sketch_itself() -> None:
    sketch = parse_sketch(TEXT)
    assert sweep(sketch, "s.toml", {}) == [({}, sketch)]
    swept = sweep(sketch, "s.toml", {"gain.gain_db": [-3, 2], "gain.engaged": [False]})
    assert [s.base.blocks["gain"].settings.model_dump()["gain_db"] for _, s in swept] == [-3.0, 2.0]
    assert all("gain" not in s.base.engaged for _, s in swept)


def test_a_patch_alone_and_a_room_stay_chosen(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(TEXT + '[rooms.hall]\nfeed = "mono"\n')
    sketch = load_sketch(path).in_room("hall").alone("near")
    ((_, swept),) = sweep(sketch, "s.toml", {"echo.time_ms": [100]})
    assert (swept.room, swept.patch, swept.header.feed, swept.patches) == ("hall", "near", "mono", {})
    assert swept.base.blocks["echo"].settings.model_dump()["time_ms"] == 100


@pytest.mark.parametrize(
    ("vary", "said"),
    [
        ({"ehco.time_ms": [1]}, ['s.toml: vary ehco.time_ms: no block "ehco" in its chain; did you mean "echo"?']),
        ({"tempo": [1]}, ['s.toml: vary tempo: no setting "tempo" of a sketch; did you mean "tempo_bpm"?']),
        ({"q": [1]}, ['s.toml: vary q: no setting "q" of a sketch; a block\'s is written BLOCK.SETTING']),
        ({"reverb.wet_db": [1]}, ["no block \"reverb\" in its chain; there are echo, gain, tone"]),
        ({"echo.tiem_ms": [1]}, ['s.toml, varied: blocks.echo.tiem_ms: no setting "tiem_ms"; did you mean "time_ms"?']),
        (
            {"echo.time_ms": [100, 1e9], "tempo_bpm": [5, 90, "fast"]},
            ["tempo_bpm = 5 bpm, allowed", "tempo_bpm = 'fast', allowed", "blocks.echo.time_ms = 1e+09 ms, allowed"],
        ),
        ({"echo.type": ["reverb", "nonsense"]}, ["echo.type"]),
    ],
)  # fmt: skip
def test_every_fault_is_told_with_its_place(vary: dict[str, list[Any]], said: list[str]) -> None:
    with pytest.raises(SketchError) as raised:
        sweep(parse_sketch(TEXT), "s.toml", vary)
    for part in said:
        assert any(part in fault for fault in raised.value.faults), (part, raised.value.faults)
    assert len(set(raised.value.faults)) == len(raised.value.faults)


def test_what_was_changed_in_memory_cannot_be_swept() -> None:
    sketch = parse_sketch(TEXT)
    changed = replace(sketch, base=replace(sketch.base, chain=sketch.base.chain[::-1]))
    with pytest.raises(ChainsimError, match="was changed after it was read"):
        sweep(changed, "s.toml", {"echo.time_ms": [100]})


@pytest.mark.parametrize(
    ("patch", "setting", "values", "vain"),
    [
        ("near", "echo.time_ms", [100, 200], False),
        ("near", "gain.gain_db", [-3, 3], True),  # not engaged there
        ("near", "echo.wet_db", [-12, -6], True),  # the pedal's work
        ("near", "tempo_bpm", [60, 90], False),
        ("far", "tempo_bpm", [60, 90], True),  # the patch has a tempo of its own
        ("far", "echo.feedback_percent", [30, 50], True),
        ("far", "echo.engaged", [True, False], True),  # the patch says what is engaged
        (None, "echo.feedback_percent", [30, 50], False),  # one patch inherits it
        ("near", "echo.time_ms", [100], False),  # one value is no comparison
    ],
)
def test_a_value_that_changes_nothing_is_told(patch: str | None, setting: str, values: list[Any], vain: bool) -> None:
    swept = sweep(parse_sketch(TEXT), "s.toml", {setting: values, "tone.gain_db": [0, 1]})
    sounds = [(chosen, sketch if patch is None else sketch.alone(patch)) for chosen, sketch in swept]
    assert (setting in without_effect(sounds)) == vain
