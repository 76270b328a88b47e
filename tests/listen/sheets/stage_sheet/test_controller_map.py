"""Controllers on the stage sheet: what each is, and what it moves in which patch."""

from __future__ import annotations

from pathlib import Path

import pytest

from chainsim.listen.sheets.stage_sheet.sheet import stage_sheet
from chainsim.sketch.loading import load_sketch
from tests.listen.sheets.stage_sheet.sketches import CONTROLLED, rows, sheet


def test_controllers_by_their_trade_names() -> None:
    told = {c.name: c.source for c in sheet(CONTROLLED).controllers}
    assert told == {
        "pedal": "CC 11 expression, channel 3, from pedal.mid",  # MIDI 1.0, table of controllers
        "breath": "CC 2 breath, from breath.mid",
        "slow": "LFO, sine, a turn in 1/1 = 2667 ms at 90",  # 4 x 60 000 / 90
        "loud": "loudness of the horn, -45 dB ... -8 dB",
        "swell": "points in the sketch: bar 1 at 0, bar 9:2 at 1",
    }


COURSES = {
    "at_bar,position\n1,0\n3:1,0.8\n5:2,0.2\n": "bar 1 at 0, bar 3 at 0.8, bar 5:2 at 0.2",
    "at_s,position\n0,0\n4.5,1\n": "0 s at 0, 4.5 s at 1",
    "at_bar,position\n" + "".join(f"{k},0.{k}\n" for k in range(1, 6)): (
        "bar 1 at 0.1, bar 2 at 0.2, bar 3 at 0.3, bar 4 at 0.4, bar 5 at 0.5"
    ),
    "at_bar,position\n" + "".join(f"{k},0.{k}\n" for k in range(1, 10)): (
        "bar 1 at 0.1, bar 2 at 0.2, bar 3 at 0.3 ... bar 9 at 0.9"
    ),
}


@pytest.mark.parametrize(("file", "expected"), COURSES.items())
def test_the_course_of_breakpoints_in_a_file(tmp_path: Path, file: str, expected: str) -> None:
    sketch = tmp_path / "set.toml"
    sketch.write_text('chain = []\n[controllers.pedal]\ntype = "breakpoints"\nfile = "pedal.csv"\n', encoding="utf-8")
    assert stage_sheet(load_sketch(sketch)).controllers[0].source == "points in pedal.csv"  # not drawn yet
    (tmp_path / "pedal.csv").write_text(file, encoding="utf-8")
    assert stage_sheet(load_sketch(sketch)).controllers[0].source == f"points in pedal.csv: {expected}"


def test_what_a_controller_moves_patch_by_patch() -> None:
    told = sheet(CONTROLLED)
    usual, other = told.controllers[0].work
    assert usual.patches == ()
    wet, q = usual.moves
    assert (wet.setting, wet.low.text, wet.high.text, wet.curve) == ("hall wet", "off", "-10 dB", "linear")
    assert (wet.low.mark, wet.high.mark) == ("mix past 0", "mix 10")
    assert (q.setting, q.low.text, q.high.text, q.curve) == ("sweep q", "8", "1", "log")
    assert (other.patches, other.moves) == (("refrain",), ())
    assert rows(told, "sweep", "q") == {(): ["8 ... 1, by pedal"], ("refrain",): ["4"]}
