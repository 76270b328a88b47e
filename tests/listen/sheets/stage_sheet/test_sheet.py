"""Patches, switches and rooms on the stage sheet, and what is left out of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from chainsim.errors import SettingError
from chainsim.listen.sheets.stage_sheet.rows import patch_notes
from chainsim.listen.sheets.stage_sheet.settings_table import SettingRow
from chainsim.listen.sheets.stage_sheet.sheet import stage_sheet
from chainsim.sketch.loading import load_sketch
from tests.listen.sheets.stage_sheet.sketches import SET, cell, rows, sheet


def test_banks_and_patches_at_their_places() -> None:
    told = sheet(SET)
    assert [(b.name, [(p.place, p.name) for p in b.patches]) for b in told.banks] == [
        ("Quay", [(1, "plain"), (2, "swept")]),
        ("Steps", [(1, "chorale"), (2, "plain")]),
    ]
    assert [(p.place, p.name) for p in told.in_no_bank] == [(None, "loose")]
    assert told.chain == "sweep > echo > hall > spare"
    assert told.always_on == ("hall",)
    assert told.free_standing == ("echo (off at first)",)
    swept, chorale = told.banks[0].patches[1], told.banks[1].patches[0]
    assert swept.on == ("sweep",)
    brings = (swept.chain, swept.tempo_bpm, swept.key, swept.a4_hz, swept.trim_db, swept.midi_program)
    assert brings == (None,) * 6
    assert chorale.on == ()
    assert chorale.chain == "(dry | echo > sweep -3 dB pan +0.2) > hall"
    assert (chorale.tempo_bpm, chorale.a4_hz, chorale.midi_bank, chorale.midi_program) == (72, 442, 1, 4)
    assert chorale.key is not None
    assert chorale.key.sounding == "G dorian"
    assert patch_notes(chorale)[-2:] == ["A4 = 442 Hz", "output -1.5 dB"]


def test_what_the_foot_does_for_each_patch() -> None:
    more = '[[switches]]\nname = "E"\npress = "mute"\nsecond_press = "place 1"\nhold = "patch swept"\n'
    told = sheet(SET + more)
    assert [[p.reached_by for p in b.patches] for b in told.banks] == [
        [("A", "E twice"), ("B", "hold E")],
        [("A", "E twice"), ("B",)],
    ]
    assert told.in_no_bank[0].reached_by == ()


def test_what_each_switch_does_and_shows() -> None:
    told = {s.name: s for s in sheet(SET).switches}
    assert (told["A"].press, told["A"].hold, told["A"].lit) == ("place 1", "mute", "place 1")
    assert (told["B"].second_press, told["B"].midi_cc) == ("back", 81)
    assert told["C"].lit == "dry"
    assert told["D"].lit is None  # that a bank was changed is no state to be lit


def test_a_column_a_room_with_what_differs_there() -> None:
    told = sheet(SET)
    assert told.columns == ("as written", "chapel", "yard")
    assert rows(told, "hall", "decay") == {(): ["1.8 s", "0.8 s", ""], ("swept",): ["4 s", "0.8 s", ""]}
    assert rows(told, "hall", "wet") == {(): ["-12 dB", "", ""]}
    assert rows(told, "hall", "") == {(): ["", "", "left out"]}
    assert rows(told, "feed", "") == {(): ["as it comes", "mono", ""]}


def test_one_room_alone() -> None:
    told = sheet(SET, "chapel")
    assert told.room == "chapel"
    assert told.columns == ("chapel",)
    assert cell(told, "hall", "decay") == "0.8 s"
    assert rows(told, "feed", "") == {(): ["mono"]}
    assert rows(sheet(SET, "yard"), "hall", "decay") == {}
    with pytest.raises(SettingError, match='no room "chapl"; did you mean "chapel"'):
        sheet(SET, "chapl")


def test_only_what_is_engaged_somewhere_is_told() -> None:
    told = sheet(SET + '[[cues]]\nat_s = 0\npatch = "plain"\n')
    assert {r.block for r in told.settings} == {"feed", "sweep", "echo", "hall"}
    unswept = SET.replace('engage = ["sweep"]', "engage = []") + '[[cues]]\nat_s = 0\npatch = "plain"\n'
    assert "sweep" not in {r.block for r in sheet(unswept).settings}
    by_switch = unswept.replace('press = "block echo"', 'press = "block sweep"')
    assert "sweep" in {r.block for r in sheet(by_switch).settings}


def test_before_any_patch_the_sketch_as_written_counts() -> None:
    assert "spare" in {r.block for r in sheet(SET).settings}
    later = sheet(SET + '[[cues]]\nat_s = 0.5\npatch = "plain"\n')
    assert "spare" in {r.block for r in later.settings}


def test_a_sketch_without_patches_tells_what_is_out() -> None:
    told = sheet('chain = ["gain", "pan"]\n[blocks.pan]\nengaged = false')
    assert told.off == ("pan",)
    assert {r.block for r in told.settings} == {"gain"}


@pytest.mark.parametrize("path", sorted(Path("presets").glob("*.toml")), ids=lambda p: p.stem)
def test_every_preset_has_a_sheet(path: Path) -> None:
    told = stage_sheet(load_sketch(path))
    settings: list[SettingRow] = list(told.settings)
    assert settings
    assert all(len(r.cells) == len(told.columns) for r in settings)
    assert all(any(c.text for c in r.cells) for r in settings)
