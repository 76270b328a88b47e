"""Actions, cues and the board: what each does, in the words of its rules."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.errors import SettingError
from chainsim.stage.actions import Action, parse_action
from chainsim.stage.board import Board, Position, Switch
from chainsim.stage.cues import Cue
from tests.stage.boards import PARADE, actions, boards

START = PARADE.start()


def after(*texts: str, board: Board = PARADE) -> Position:
    """Where some actions lead from the start."""
    position = board.start()
    for text in texts:
        position = board.do(position, parse_action(text))
    return position


@pytest.mark.parametrize(
    ("text", "action"),
    [
        ("patch low tide, slow", Action("patch", "low tide, slow")),
        ("  Patch   chorale ", Action("patch", "chorale")),
        ("place 12", Action("place", place=12)),
        ("bank up", Action("bank up")),
        ("bank down", Action("bank down")),
        ("bank dusk", Action("bank", "dusk")),
        ("bank up the hill", Action("bank", "up the hill")),
        ("block echo", Action("block", "echo")),
        ("dry", Action("dry")),
        ("mute", Action("mute")),
        ("tap", Action("tap")),
        ("BACK", Action("back")),
    ],
)
def test_actions_read_as_written(text: str, action: Action) -> None:
    assert parse_action(text) == action
    assert parse_action(action.text) == action


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("ptach chorale", r'no action "ptach chorale", allowed "patch NAME", .*; did you mean "patch"\?'),
        ("", 'no action "", allowed "patch NAME"'),
        ("patch", '"patch": which patch'),
        ("block  ", "which block"),
        ("mute tuner", '"mute" stands alone'),
        ("place 0", "the Nth patch of the bank, from 1 on"),
        ("place -1", "from 1 on"),
        ("place two", "from 1 on"),
        ("place ²", "from 1 on"),
        ("place 1000000000000", "from 1 on"),
    ],
)
def test_what_is_no_action_says_what_is_allowed(text: str, said: str) -> None:
    with pytest.raises(SettingError, match=said) as told:
        parse_action(text)
    assert "\n" not in str(told.value)


@given(actions)
def test_an_action_is_read_back_from_its_text(action: Action) -> None:
    assert parse_action(action.text) == action


@pytest.mark.parametrize(
    ("cue", "text", "when"),
    [
        (Cue(12.5, "patch", "chorale"), "patch chorale", "12.5 s"),
        (Cue(1.0, "press", "A", bar="17:1"), "press A", "bar 17"),
        (Cue(1.0, "hold", "A", bar="17:2.5"), "hold A", "bar 17:2.5"),
        (Cue(1.0, "block", "echo", on=False, bar="17"), "echo off", "bar 17"),
        (Cue(1.0, "mute", bar="2:11"), "mute on", "bar 2:11"),
        (Cue(123.456789, "dry", on=False), "dry off", "123.457 s"),
    ],
)
def test_a_cue_in_plain_words(cue: Cue, text: str, when: str) -> None:
    assert (cue.text, cue.when) == (text, when)


def test_start_is_the_first_patch_in_the_first_bank_that_holds_it() -> None:
    assert Position("chorale") == START
    assert replace(PARADE, first_patch="drums").start() == Position("drums", bank=1)
    assert replace(PARADE, first_patch=None).start() == Position()


@pytest.mark.parametrize(
    ("texts", "expected"),
    [
        # A patch ends dry and puts back what was switched, but keeps the mute and what stands free.
        (["dry", "patch tide"], Position("tide", before="chorale")),
        (["block echo", "patch tide"], Position("tide", before="chorale")),
        (["mute", "patch tide"], Position("tide", muted=True, before="chorale")),
        (["block reverb", "patch tide"], Position("tide", 0, frozenset({("reverb", False)}), before="chorale")),
        (["block echo", "patch chorale"], START),
        # The bank: the first that holds the patch, unless the one that is open does.
        (["patch drums"], Position("drums", 1, before="chorale")),
        (["bank up", "patch tide"], Position("tide", 1, before="chorale")),
        (["bank down", "patch tide"], Position("tide", 0, before="chorale")),
        # Banks wrap round, and change nothing else.
        (["bank up", "bank up"], replace(START, bank=2)),
        (["bank up", "bank up", "bank up"], START),
        (["bank down"], replace(START, bank=2)),
        (["block echo", "mute", "bank noon"], Position("chorale", 1, frozenset({("echo", False)}), muted=True)),
        # Places are those of the open bank; one that it does not have does nothing.
        (["bank noon", "place 2"], Position("drums", 1, before="chorale")),
        (["place 3"], START),
        (["bank dusk", "place 2"], replace(START, bank=2)),
        # Back swaps; at the start there is nothing to go back to; a patch chosen again is no patch before.
        (["back"], START),
        (["patch tide", "back"], Position("chorale", before="tide")),
        (["patch tide", "back", "back"], Position("tide", before="chorale")),
        (["patch tide", "patch tide", "back"], Position("chorale", before="tide")),
        (["patch drums", "back"], Position("chorale", before="drums")),
        (["tap"], START),
        # Toggles.
        (["dry"], Position("chorale", dry=True)),
        (["dry", "dry"], START),
        (["mute", "mute"], START),
        (["block drive"], Position("chorale", 0, frozenset({("drive", True)}))),
        (["block drive", "block drive"], START),
    ],
)
def test_what_actions_do(texts: list[str], expected: Position) -> None:
    assert after(*texts) == expected


def test_a_free_standing_block_keeps_its_state_through_all_patches() -> None:
    assert PARADE.is_on(START, "reverb")
    for text in ("patch drums", "patch lantern", "back", "dry"):
        off = PARADE.do(after("block reverb"), parse_action(text))
        assert not PARADE.is_on(off, "reverb")
        assert PARADE.is_on(after(text), "reverb")


@pytest.mark.parametrize("text", ["patch chorle", "bank noom"])
def test_a_name_that_there_is_not_says_which_is_near(text: str) -> None:
    with pytest.raises(SettingError, match=r'no (patch "chorle"|bank "noom"); did you mean "(chorale|noon)"'):
        after(text)


def test_a_second_press_is_done_while_the_first_is_in_force() -> None:
    tide = PARADE.press(START, "B")
    assert tide == Position("tide", before="chorale")
    assert PARADE.pressed(tide, "B") == Action("back")
    assert PARADE.press(tide, "B") == Position("chorale", before="tide")


def test_a_dry_patch_is_not_in_force_so_that_a_press_brings_it_back() -> None:
    dry = PARADE.hold(PARADE.press(START, "B"), "M")
    assert not PARADE.lamps(dry)["B"]
    assert PARADE.press(dry, "B") == Position("tide", before="chorale")


def test_without_a_second_press_a_patch_comes_as_it_is_written() -> None:
    assert PARADE.press(PARADE.hold(START, "A"), "A") == START


def test_lamps() -> None:
    """By hand: A is the place of the chorale in its bank; M shows its hold, dry; R the reverb; T shows nothing."""
    lit = {"A": True, "B": False, "UP": False, "M": False, "R": True, "T": False}
    assert PARADE.lamps(START) == lit
    assert PARADE.lamps(after("bank up")) == {**lit, "A": False}
    assert PARADE.lamps(after("mute")) == lit
    assert PARADE.lamps(after("dry")) == {**lit, "A": False, "M": True}
    assert PARADE.lamps(after("block reverb", "place 2")) == {**lit, "A": False, "B": True, "R": False}
    assert PARADE.lamps(PARADE.hold(START, "A")) == lit


def test_the_lamp_of_a_patch_goes_out_while_the_horn_is_dry() -> None:
    board = replace(PARADE, switches=(Switch("C", parse_action("patch chorale")),))
    assert board.lamps(START) == {"C": True}
    assert board.lamps(replace(START, dry=True)) == {"C": False}
    assert board.lamps(replace(START, muted=True)) == {"C": True}


def test_there_is_no_place_before_the_first() -> None:
    assert PARADE.do(START, Action("place", place=0)) == START


def test_holding_what_has_no_hold_does_nothing() -> None:
    assert PARADE.hold(START, "B") == START


@pytest.mark.parametrize(
    ("cue", "expected"),
    [
        (Cue(0.0, "patch", "tide"), Position("tide", before="chorale")),
        (Cue(0.0, "block", "echo", on=True), START),
        (Cue(0.0, "block", "echo", on=False), Position("chorale", 0, frozenset({("echo", False)}))),
        (Cue(0.0, "mute"), replace(START, muted=True)),
        (Cue(0.0, "dry"), replace(START, dry=True)),
        (Cue(0.0, "press", "B"), Position("tide", before="chorale")),
        (Cue(0.0, "hold", "M"), replace(START, dry=True)),
    ],
)
def test_cues_set_what_they_say(cue: Cue, expected: Position) -> None:
    once = PARADE.apply(START, cue)
    assert once == expected
    if not cue.is_gesture:
        assert PARADE.apply(once, cue) == once
    if cue.kind in ("block", "mute", "dry"):
        back = PARADE.apply(once, replace(cue, on=not cue.on))
        assert back.sound == PARADE.apply(START, replace(cue, on=not cue.on)).sound


@pytest.mark.parametrize(
    ("texts", "text"),
    [
        ([], "chorale"),
        (["block echo", "block drive"], "chorale with drive on and echo off"),
        (["block echo", "dry"], "dry"),
        (["dry", "mute"], "muted"),
    ],
)
def test_what_is_heard_in_words(texts: list[str], text: str) -> None:
    assert after(*texts).text == text
    assert Position().text == "the sketch as written"


def test_nothing_is_heard_under_a_mute() -> None:
    assert after("mute", "patch drums").heard == after("dry", "mute").heard == after("mute").heard
    assert after("dry", "block echo").heard == after("dry").heard != after("mute").heard
    assert after("mute", "patch drums").sound != after("mute").sound
    assert after("bank up").sound == START.sound


few = settings(max_examples=150, deadline=None, derandomize=True, database=None)


@few
@given(st.data(), boards())
def test_equal_sounds_are_equal_positions(data: st.DataObject, board: Board) -> None:
    """Whatever was done: `switched` holds just the blocks that differ, and any toggle done twice changes nothing."""
    position = board.start()
    for action in data.draw(st.lists(actions, max_size=8)):
        position = board.do(position, action)
        written = board.engaged[position.patch], board.engaged[None]
        differing = {
            b for b in ("echo", "reverb") if board.is_on(position, b) != (b in written[b in board.free_standing])
        }
        assert position.switched == {(b, board.is_on(position, b)) for b in differing}
        assert position.before != position.patch or position.patch is None
        for toggle in ("dry", "mute", "block echo", "block reverb"):
            once = board.do(position, parse_action(toggle))
            assert once != position
            assert board.do(once, parse_action(toggle)) == position


@few
@given(st.data(), boards())
def test_a_chosen_patch_sounds_the_same_from_wherever_it_is_chosen(data: st.DataObject, board: Board) -> None:
    """But for mute and free-standing blocks; and the open bank holds it if any does."""
    position = board.start()
    for action in data.draw(st.lists(actions, max_size=8)):
        position = board.do(position, action)
    chosen = board.do(position, Action("patch", "q"))
    assert {b for b, _ in chosen.switched} <= board.free_standing
    assert (chosen.patch, chosen.dry, chosen.muted) == ("q", False, position.muted)
    assert "q" in board.banks[chosen.bank].patches or not any("q" in b.patches for b in board.banks)
    assert board.do(chosen, Action("patch", "q")) == chosen
