"""What a sketch asks of gear: settings to be held, forks, pedals, the order of its blocks."""

from __future__ import annotations

from pathlib import Path

import pytest

from chainsim.errors import SettingError
from chainsim.listen.sheets.carry_plan.scenes import Scene, programs_needed
from chainsim.listen.sheets.carry_plan.wants import Wants, wants_of
from chainsim.sketch.loading import load_sketch, parse_sketch

DAY = Path(__file__).parents[3] / "presets" / "harbour_day.toml"


@pytest.fixture(scope="module")
def day() -> Wants:
    return wants_of(load_sketch(DAY), (), ["trim", "house", "noise"])


def settings_of(wants: Wants, block: str) -> int:
    return len({job for job in wants.jobs if job.block == block})


def test_a_patch_asks_for_what_is_on_or_can_be_put_on_in_it(day: Wants) -> None:
    jobs = {patch.name: list(patch.jobs) for patch in day.patches}
    assert jobs["first_ferry"] == ["tone", "hush", "echo", "room"]  # the echo has a switch of its own
    assert jobs["gulls"] == ["tone", "hush", "gull", "wing", "hall", "echo", "room"]
    assert day.elsewhere == ("trim", "house")


def test_settings_differ_by_what_no_controller_moves_by_tempo_and_by_key(day: Wants) -> None:
    assert settings_of(day, "tone") == 1
    assert settings_of(day, "hall") == 1  # its level differs under the pedal alone
    assert settings_of(day, "fog") == 2  # F major, and D minor with the pedal on its filter
    assert settings_of(day, "echo") == 4  # 1/8 dotted at 88, 126, 66 and 138 bpm
    assert len({job.setting for job in day.jobs if job.block == "echo"}) == 1


def test_pedals_are_controllers_that_a_foot_moves(day: Wants) -> None:
    pedals = {patch.name: patch.pedals for patch in day.patches}
    assert pedals["fog_bank"] == (("swell", "hall"),)  # breath is an envelope, and inside the box
    assert pedals["low_water"] == (("swell", "hall"), ("swell", "keel"))


def test_forks_are_what_is_left_of_them_in_a_patch(day: Wants) -> None:
    forks = {patch.name: [(f.dry, set(f.heads)) for f in patch.forks] for patch in day.patches}
    assert forks["first_ferry"] == []
    assert forks["gulls"] == [(True, {"gull"}), (True, {"hall"})]  # the wing comes after the gull in its lane
    assert forks["hot_pitch"] == [(True, {"sweep"}), (True, {"slap"})]  # a blender is a fork as well
    assert forks["torches_abreast"] == [(True, {"sweep", "slap", "hall", "stroll"})]


def test_blocks_that_change_places_stand_otherwise_to_each_other(day: Wants) -> None:
    before = {patch.name: patch.before for patch in day.patches}
    beside = {patch.name: patch.beside for patch in day.patches}
    assert ("sweep", "slap") in before["torches_in_file"]
    assert ("sweep", "slap") in beside["torches_abreast"]
    assert ("sweep", "slap") not in before["torches_abreast"]


def test_a_lane_in_a_lane_has_the_heads_of_both() -> None:
    text = 'chain = [{ lanes = [["delay"], [{ lanes = ["dry", "reverb"] }, "drive"]] }]'
    (patch,) = wants_of(parse_sketch(text)).patches
    assert [(f.dry, set(f.heads), set(f.blocks)) for f in patch.forks] == [
        (False, {"delay", "reverb", "drive"}, {"delay", "reverb", "drive"}),
        (True, {"reverb"}, {"reverb"}),
    ]


def test_a_gain_that_changes_nothing_is_a_wire() -> None:
    text = 'chain = ["gain", "louder"]\n[blocks.louder]\ntype = "gain"\ngain_db = 3'
    assert [job.block for job in wants_of(parse_sketch(text)).jobs] == ["louder"]


def test_patches_are_asked_for_by_name() -> None:
    sketch = load_sketch(DAY)
    assert [p.name for p in wants_of(sketch, ["gulls", "fog_bank", "gulls"]).patches] == ["gulls", "fog_bank"]
    with pytest.raises(SettingError, match='no patch "gull"; did you mean "gulls"'):
        wants_of(sketch, ["gull"])


@pytest.mark.parametrize(
    ("scenes", "at_once", "needed"),
    [
        ([], 1, 1),
        (["a", "a"], 1, 1),
        (["a", "b"], 1, 2),
        (["a", "b"], 2, 1),  # both go in, each with a switch of its own
        (["ab", "a", "b"], 2, 1),
        (["ab", "bc", "b"], 2, 2),  # the third is a part of the first
        (["ab", "bc", "ac"], 2, 3),
        (["ab", "bc", "ac"], 3, 1),
    ],
)
def test_settings_to_recall(scenes: list[str], at_once: int, needed: int) -> None:
    held = [Scene(frozenset((block, "", None) for block in scene), frozenset()) for scene in scenes]
    assert programs_needed(held, at_once) == needed
