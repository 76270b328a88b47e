"""The if-it-fails sheet: outcomes worked by hand, ways out on a small board, and the truth of all by rendering."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.graph.rendering import render
from chainsim.listen.sheets.document_page import document_page
from chainsim.listen.sheets.document_text import document_text
from chainsim.listen.sheets.failure_sheet.as_document import failure_document
from chainsim.listen.sheets.failure_sheet.outcomes import Outcomes
from chainsim.listen.sheets.failure_sheet.repairs import repaired
from chainsim.listen.sheets.failure_sheet.sheet import BoxFailure, FailureSheet, failure_sheet
from chainsim.listen.sheets.failure_sheet.without_box import dead, dead_when_off, lane_pulled, patched_round
from chainsim.sketch.loading import parse_sketch
from chainsim.units import Array

RATE_HZ = 8_000.0

PLAYED = """
title = "Two lamps"
chain = ["hush", { lanes = ["dry", "fog"] }, "echo"]
[blocks.hush]
type = "noise_gate"
switching = "always_on"
[blocks.fog]
type = "following_synth"
listens_to = "input"
[blocks.echo]
type = "delay"
[patches.plain]
engage = []
[patches.answered]
engage = ["echo"]
[patches.misty]
engage = ["fog"]
[patches.both]
engage = ["fog", "echo"]
[[banks]]
name = "Quay"
patches = ["plain", "answered"]
[[banks]]
name = "Sea"
patches = ["misty", "both"]
[[switches]]
name = "A"
press = "place 1"
[[switches]]
name = "B"
press = "place 2"
[[switches]]
name = "D"
press = "bank up"
"""
DRY = '\n[[switches]]\nname = "E"\npress = "mute"\nhold = "dry"\n'


def sheet(text: str) -> FailureSheet:
    return failure_sheet(parse_sketch(text))


def box(found: FailureSheet, name: str) -> BoxFailure:
    return next(one for one in found.boxes if one.box == name)


def kinds(one: BoxFailure) -> dict[str, str]:
    return {p.patch: p.dead.kind for p in one.patches}


def ways(one: BoxFailure) -> dict[str, tuple[tuple[str, ...], str] | None]:
    silent = [p for p in one.patches if p.dead.kind == "silent"]
    return {p.patch: None if p.way_out is None else (p.way_out.gestures, p.way_out.to) for p in silent}


def test_what_is_left_of_each_patch() -> None:
    found = sheet(PLAYED)
    # The synth hears the horn by its own cable: with the gate gone it plays on, alone.
    assert kinds(box(found, "hush")) == {
        "plain": "silent", "answered": "silent", "misty": "lives on", "both": "lives on",
    }  # fmt: skip
    assert all(p.dead.horn_lost for p in box(found, "hush").patches if p.dead.kind == "lives on")
    assert kinds(box(found, "echo")) == {
        "plain": "unchanged", "answered": "silent", "misty": "unchanged", "both": "silent",
    }  # fmt: skip
    assert kinds(box(found, "fog")) == {
        "plain": "unchanged", "answered": "unchanged", "misty": "lives on", "both": "lives on",
    }  # fmt: skip
    lost = {p.patch: p.dead for p in box(found, "fog").patches}
    assert (lost["misty"].lost, lost["misty"].horn_lost) == (("fog",), False)
    # Most silenced patches first; of as many, more that change.
    assert [one.box for one in found.boxes] == ["hush", "echo", "fog"]
    # A dead delay that is off, and does not let the horn through, silences all.
    assert box(found, "echo").silent_even_off == ("plain", "answered", "misty", "both")
    assert box(found, "fog").silent_even_off == ()


def test_the_nearest_way_out_by_hand() -> None:
    found = sheet(PLAYED)
    # In "answered" A leads to "plain"; in "both", A to "misty", where no delay is on.
    assert ways(box(found, "echo")) == {"answered": (("A",), "plain"), "both": (("A",), "misty")}
    # Without the gate there is no horn anywhere, and voices only in the other bank: two presses.
    assert ways(box(found, "hush")) == {"plain": (("D", "A"), "misty"), "answered": (("D", "A"), "misty")}
    assert not any(p.way_out.with_the_horn for p in box(found, "hush").patches if p.way_out is not None)


def test_the_plain_horn_is_preferred_where_it_is_as_near() -> None:
    found = sheet(PLAYED + DRY)
    assert ways(box(found, "echo")) == {
        "answered": (("hold E",), "the plain horn"),
        "both": (("hold E",), "the plain horn"),
    }


def test_a_box_with_a_switch_of_its_own_is_told_of_while_it_is_on() -> None:
    text = PLAYED.replace('[blocks.echo]\ntype = "delay"', '[blocks.echo]\ntype = "delay"\nengaged = false')
    text = text.replace('engage = ["echo"]', "engage = []").replace('["fog", "echo"]', '["fog"]')
    text += '\n[[switches]]\nname = "F"\npress = "block echo"\n'
    one = box(sheet(text), "echo")
    assert one.own_switch
    assert kinds(one) == dict.fromkeys(("plain", "answered", "misty", "both"), "silent")
    # F switches it off again; A and B choose a patch, which puts it back, too, and is the same one in two of four.
    assert all(p.way_out is not None and len(p.way_out.gestures) == 1 for p in one.patches)
    assert {to for _, to in filter(None, ways(one).values())} == {"echo off, all else stays"}


def test_the_way_out_of_a_box_with_a_switch_keeps_the_set() -> None:
    text = PLAYED.replace('[blocks.echo]\ntype = "delay"', '[blocks.echo]\ntype = "delay"\nswitching = "free_standing"')
    text = text.replace('engage = ["echo"]', "engage = []").replace('["fog", "echo"]', '["fog"]') + DRY
    found = sheet(text + '\n[[switches]]\nname = "F"\npress = "tap"\nhold = "block echo"\n')
    # Holding E for the plain horn is one gesture as well, and would lose all the rest.
    assert set(ways(box(found, "echo")).values()) == {(("hold F",), "echo off, all else stays")}
    told = " ".join(document_text(failure_document(found)).split())
    assert "hold F (echo off, all else stays)" in told
    # That way goes through the dead box.
    assert "pull the plug of echo." in told


def test_repairs_name_the_cables_of_the_wiring_sheet() -> None:
    found = sheet(PLAYED)
    # 1 microphone, 2 preamp to splitter 1, 3 splitter to hush, 4 hush to splitter 2, 5 dry to the mixer, 6 splitter 2
    # to fog, 7 splitter 1 to fog's side input, 8 fog to the mixer, 9 mixer to echo, 10 echo to the direct box.
    assert box(found, "hush").repair.text == "cable 3 past it, into splitter 2 in place of cable 4"
    assert box(found, "echo").repair.text == "cable 9 past it, into direct box in place of cable 10"
    assert box(found, "fog").repair.text == "pull cable 8 (mixer 1, channel 2)"
    repaired = {p.patch: p.repaired.kind for p in box(found, "echo").patches}
    assert repaired == {"plain": "unchanged", "answered": "lives on", "misty": "unchanged", "both": "lives on"}


def test_round_a_box_that_makes_stereo_of_mono_both_sides_get_the_horn() -> None:
    text = 'chain = ["tone", "hall", "echo"]\n[blocks.tone]\ntype = "equalizer"\n[blocks.hall]\ntype = "reverb"\n'
    found = sheet(text + '[blocks.echo]\ntype = "delay"')
    # 1 microphone, 2 preamp to tone, 3 tone to hall, 4 hall to echo, left and right, 5 echo to the direct box.
    assert box(found, "hall").repair.text == "cable 3 past it, split into both sides of echo in place of cable 4"
    assert box(found, "echo").repair.text == "cable 4 past it, into direct box in place of cable 5"
    assert [one.box for one in found.boxes if one.repair.splits] == ["hall"]
    assert "a cable that makes two plugs of one" in document_text(failure_document(found))
    unsplit = sheet('chain = ["tone"]\n[blocks.tone]\ntype = "equalizer"')
    assert "Split" not in document_text(failure_document(unsplit))


def test_a_lane_s_box_without_the_horn_in_it_is_not_gone_round() -> None:
    text = 'chain = [{ lanes = ["dry", "echo"] }]\n[blocks.echo]\ntype = "delay"\ndry_db = %s'
    # 1 microphone, 2 preamp to splitter, 3 dry, 4 splitter to echo, 5 echo to the mixer. Round it, the horn would come
    # twice, 6 dB louder.
    one = box(sheet(text % '"off"'), "echo")
    assert (one.repair.kind, one.repair.text) == ("lane out", "pull cable 5 (mixer 1, channel 2)")
    assert box(sheet(text % "0"), "echo").repair.kind == "round it"
    table = failure_document(sheet(text % '"off"')).parts[2].table
    assert table is not None
    assert table.rows == (("echo (delay)", "no echoes", "pull cable 5 (mixer 1, channel 2)", "the same"),)


def test_what_stands_beside_the_plain_horn_is_not_gone_round() -> None:
    """A filter in a blender's wet path: round it, the horn would come twice, 1 + 10^(-3/20) = 4.7 dB up."""
    text = 'chain = ["tone", { blender = "mix", wet = ["sweep"] }, "hall"]\n' + "".join(
        f'[blocks.{name}]\ntype = "{kind}"\n'
        for name, kind in (("tone", "equalizer"), ("hall", "reverb"), ("sweep", "envelope_filter"), ("mix", "blender"))
    )
    text += "wet_db = -3\ndry_db = %s\n"
    # 1 microphone, 2 preamp to tone, 3 tone to mix, 4 its send to sweep, 5 sweep to its return.
    one = box(sheet(text % "0"), "sweep")
    assert (one.repair.kind, one.repair.text) == ("lane out", "pull cable 5 (mix, return)")
    table = failure_document(sheet(text % "0")).parts[2].table
    assert table is not None
    assert table.rows[-1] == ("sweep (envelope filter)", "no sweep", "pull cable 5 (mix, return)", "the same")
    # Where nothing of the horn goes by the dry path it is the only horn.
    assert box(sheet(text % '"off"'), "sweep").repair.kind == "round it"
    # Nor where it would come a second time upside down, and cancel the first.
    assert (
        box(sheet((text % "0").replace("wet_db = -3", "wet_db = 0\nflip_wet = true")), "sweep").repair.kind
        == "lane out"
    )
    # Off, the wet path gives the plain horn, which is missed where its cable is pulled.
    off = sheet(text % "0" + '[patches.still]\nengage = ["mix"]\n[patches.swept]\nengage = ["mix", "sweep"]\n')
    changes = {p.patch: p.horn_change_db for p in box(off, "sweep").patches}
    assert changes == {"still": pytest.approx(-20.0 * np.log10(1.0 + 10.0 ** (-3.0 / 20.0))), "swept": 0.0}
    rows = failure_document(off).parts[2].table.rows  # type: ignore[union-attr]
    assert "still: the horn 5 dB softer; swept: no sweep" in {row[3] for row in rows}


@pytest.mark.parametrize(
    ("fork", "kind"),
    [
        ('{ lanes = ["dry", "box"] }', "lane out"),
        # The only horn there is, but for one that another filter has shaped.
        ('{ lanes = ["box", "other"] }', "round it"),
        # It came once from the inner fork, and by the outer one a second time.
        ('{ lanes = ["dry", { chain = [{ lanes = ["box", "other"] }] }] }', "lane out"),
        ('{ lanes = [{ chain = ["box"] }] }', "round it"),
    ],
)
def test_which_way_by_what_else_is_in_front(fork: str, kind: str) -> None:
    blocks = '[blocks.box]\ntype = "equalizer"\n[blocks.other]\ntype = "equalizer"\n'
    assert box(sheet(f"chain = [{fork}]\n" + blocks), "box").repair.kind == kind


def test_a_gate_that_hears_a_dead_box_stays_shut() -> None:
    text = """
chain = [{ lanes = ["dry", "ear"] }, "hush"]
[blocks.ear]
type = "gain"
[blocks.hush]
type = "noise_gate"
listens_to = "ear"
floor_db = %s
"""
    assert kinds(box(sheet(text % '"off"'), "ear")) == {"as written": "silent"}
    lives = box(sheet(text % "-20"), "ear").patches[0].dead
    assert (lives.kind, lives.untold) == ("lives on", ("hush",))
    for floor, left in (('"off"', 0.0), ("-20", 0.1)):
        sketch = parse_sketch(text % floor)
        heard = render(replace(sketch, base=dead(sketch.base, "ear")), tone(), RATE_HZ).audio[:, 0]
        np.testing.assert_allclose(heard[: tone().size], left * tone(), rtol=0.0, atol=1e-12)  # -20 dB is a tenth


@pytest.mark.thorough
def test_a_synth_plays_on_when_the_boxes_before_it_are_dead() -> None:
    sketch = parse_sketch(PLAYED).alone("misty")
    heard = render(replace(sketch, base=dead(sketch.base, "hush")), tone(0.4), RATE_HZ).audio
    assert np.sqrt(np.mean(heard**2)) > 1e-3


def test_a_controller_that_listens_to_a_dead_box_stands_still() -> None:
    text = """
chain = [{ lanes = ["dry", { chain = ["ear"], level_db = "off" }] }, "swell"]
[blocks.ear]
type = "gain"
[blocks.swell]
type = "gain"
[controllers.breath]
type = "envelope"
listens_to = "ear"
drives = [{ setting = "swell.gain_db", low = -20, high = 0 }]
"""
    outcome = box(sheet(text), "ear").patches[0].dead
    assert (outcome.kind, outcome.lost, outcome.untold) == ("lives on", (), ("swell",))


def test_the_page_and_the_text_say_it_in_words() -> None:
    document = failure_document(sheet(PLAYED.replace("Two lamps", "<script>") + DRY))
    text = document_text(document)
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.split())
    assert "Most hangs on: hush, echo (each silences 2 patches)" in words
    assert "Each block is a box of its own here; of a unit that makes several all go (see chainsim carry)" in words
    assert "1. Is it muted? Then the lamp of E is lit: press E, sound on again." in words
    assert "2. Hold E: the plain horn" in words
    assert "a spare microphone cable from the microphone straight to the desk" in words
    assert "<script" not in document_page(document)


def test_a_hold_that_toggles_says_how_to_see_where_it_stands() -> None:
    def steps(lamp: str) -> str:
        board = DRY.replace('name = "E"', f'name = "E"\nlamp = "{lamp}"')
        return " ".join(" ".join(failure_document(sheet(PLAYED + board)).parts[0].lines).split())

    assert "Is it muted? No lamp shows it: press E, listen; nothing: once more." in steps("none")
    assert "all boxes but those that are always on. No lamp shows it: listen" in steps("press")
    assert "Unless the lamp of E is lit, hold E: the plain horn" in steps("hold")


def test_without_a_way_under_the_foot_there_is_a_cable() -> None:
    text = 'chain = ["hall"]\n[blocks.hall]\ntype = "gain"\n[[switches]]\nname = "A"\npress = "tap"\n'
    table = failure_document(sheet(text)).parts[1].table
    assert table is not None
    assert table.rows[0][2] == "none under the foot: its cable, see below"


def tone(seconds: float = 0.05) -> Array:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return 0.5 * np.sin(2.0 * np.pi * 220.0 * t)


KINDS = {"gain": "", "pan": "", "delay": "time_ms = 3", "noise_gate": 'floor_db = "off"', "blender": ""}
"""Few kernels to compile."""
LEVELS = {"gain": ("gain_db",), "delay": ("dry_db", "wet_db"), "blender": ("dry_db", "wet_db")}


@st.composite
def sketches(draw: st.DrawFn) -> tuple[str, list[str]]:
    """A chain of up to six boxes, some off, some silent while off, some listening elsewhere, and their names."""
    blocks: list[str] = []
    names: list[str] = []

    def declare(kind: str) -> str:
        name = f"box{len(names)}"
        lines = [f"[blocks.{name}]", f'type = "{kind}"', KINDS[kind]]
        if draw(st.booleans()):
            lines += [f"{level} = {draw(st.sampled_from(['-20', '-6', '0']))}" for level in LEVELS.get(kind, ())]
        if kind in ("delay", "blender") and draw(st.booleans()):
            lines[3:] = ['dry_db = "off"']
        lines.append(f"engaged = {'true' if draw(st.booleans()) else 'false'}")
        lines.append(f'when_off = "{draw(st.sampled_from(["pass", "silent"]))}"')
        if kind == "noise_gate" and draw(st.booleans()):
            lines.append(f'listens_to = "{draw(st.sampled_from(["input", *names]))}"')
        names.append(name)
        blocks.extend(lines)
        return name

    def series(depth: int) -> list[Any]:
        steps: list[Any] = []
        for _ in range(draw(st.integers(1 if depth == 0 else 0, 2))):
            kind = draw(st.sampled_from(["box", "lanes", "blender"])) if depth < 2 else "box"
            if len(names) >= 5:
                break
            if kind == "box":
                steps.append(declare(draw(st.sampled_from([kind for kind in KINDS if kind != "blender"]))))
            elif kind == "blender":
                wet = series(depth + 1)
                steps.append({"blender": declare("blender"), "wet": wet})
            else:
                steps.append({"lanes": [{"chain": series(depth + 1)} for _ in range(2)]})
        return steps

    chain = series(0)
    return f"chain = {_toml(chain)}\n" + "\n".join(blocks), names


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    return "[" + ", ".join(map(_toml, value)) + "]" if isinstance(value, list) else f'"{value}"'


@settings(max_examples=40, deadline=None)
@given(sketches())
def test_what_the_sheet_says_is_what_is_heard(made: tuple[str, list[str]]) -> None:
    text, names = made
    sketch = parse_sketch(text)
    outcomes = Outcomes(sketch.controllers)

    def heard(state: Any) -> Array:
        """On two loudspeakers: a dead box may make one channel out of two."""
        audio = render(replace(sketch, base=state), tone(), RATE_HZ).audio[: tone().size]
        return np.broadcast_to(audio, (tone().size, 2))

    before = heard(sketch.base)
    assert outcomes.sounds(sketch.base) or not before.any()
    for name in names:
        for fail in (dead, dead_when_off, patched_round):
            failed = fail(sketch.base, name)
            outcome, after = outcomes.compare(sketch.base, failed), heard(failed)
            if outcome.kind == "unchanged":
                np.testing.assert_array_equal(after, before)
            elif outcome.kind == "silent":
                assert not after.any(), name
            if not after.any():  # and the other way round: what is silent is told to be
                assert outcome.kind == "silent" or not before.any(), (fail.__name__, name)


@settings(max_examples=40, deadline=None)
@given(sketches())
def test_no_repair_brings_the_horn_a_second_time(made: tuple[str, list[str]]) -> None:
    """Where the horn is left without the box, what is advised is at most 2 dB louder than box or no box was.

    All gains are positive and the take is noise, so every copy that comes adds power; a second horn beside the first
    adds 3 to 6 dB. Echoes of a dead box may stand aside for a copy of up to their power: hence not 1 dB, as told.
    """
    text, names = made
    sketch = parse_sketch(text)
    outcomes, found = Outcomes(sketch.controllers), failure_sheet(sketch)
    take = 0.3 * np.random.default_rng(8).standard_normal(4000)

    def level_db(state: Any) -> float:
        audio = render(replace(sketch, base=state), take, RATE_HZ).audio
        return 10.0 * np.log10(np.mean(audio**2) + 1e-12)

    for name in names:
        advised = box(found, name).repair
        gone, after = dead(sketch.base, name), repaired(sketch.base, name, advised)
        pulled = lane_pulled(sketch.base, name)
        before_db, after_db, pulled_db = map(level_db, (sketch.base, after, pulled))
        if pulled.chain != sketch.base.chain and outcomes.holds_the_horn(pulled):
            assert after_db < max(before_db, level_db(gone)) + 2.0, (name, advised.text)
        assert pulled_db < before_db + 0.5, name


@pytest.mark.parametrize("fail", [dead, patched_round])
def test_a_box_of_another_chain_does_no_harm(fail: Any) -> None:
    state = parse_sketch('chain = ["a"]\n[blocks.a]\ntype = "gain"').base
    assert fail(state, "b") is state


def test_a_chain_without_boxes_has_nothing_to_fail() -> None:
    text = document_text(failure_document(sheet("chain = []")))
    assert "No single box silences anything" in text
    assert "ONE BOX" not in text
