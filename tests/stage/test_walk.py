"""A walk through a cue list: times and verdicts, reckoned by hand."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, replace
from functools import partial

import pytest
from pydantic import ValidationError

from chainsim.stage.actions import parse_action
from chainsim.stage.board import Bank, Board, Switch
from chainsim.stage.cues import Cue
from chainsim.stage.foot import Foot
from chainsim.stage.reach import Reach, fewest_presses
from chainsim.stage.walk import Walk, WalkStep, walk
from tests.stage.boards import PARADE, board_of

EASY = board_of(
    ("A", "place 1"), ("B", "place 2"), ("UP", "bank up"), banks=(("a", "b"), ("c", "d"), ("e", "f")), first="a"
)
"""Three banks of two; no switch has a hold, so that every press acts at once."""

WITH_HOLDS = Board(
    (Bank("1", ("a", "b")),),
    (
        Switch("A", parse_action("place 1"), hold=parse_action("mute")),
        Switch("B", parse_action("place 2")),
        Switch("C", parse_action("block echo"), hold=parse_action("dry")),
    ),
    {None: frozenset(), "a": frozenset(), "b": frozenset()},
    first_patch="a",
)


def last(board: Board, *cues: Cue, foot: Foot | None = None) -> WalkStep:
    """The last step of a walk."""
    return walk(board, cues, foot).steps[-1]


def press(at_s: float, name: str) -> Cue:
    return Cue(at_s, "press", name)


def hold(at_s: float, name: str) -> Cue:
    return Cue(at_s, "hold", name)


def test_three_presses_in_too_short_a_time() -> None:
    """From b in bank 1 to f in bank 3: UP, UP, B. With 0.3 s from switch to switch and on one: 3 x 0.3 = 0.9 s."""
    foot = Foot(same_switch_ms=300.0, other_switch_ms=300.0)
    step = last(EASY, Cue(10.0, "patch", "b", bar="16:3"), Cue(10.6, "patch", "f", bar="17:1"), foot=foot)
    assert step.line == "bar 17: three presses in 0.6 s; this foot needs 0.9 s (patch f: UP (ahead), UP (ahead), B)"
    assert (step.verdict, step.gestures, step.ahead) == ("too fast", ("UP", "UP", "B"), 2)
    assert step.time_s == pytest.approx(0.6)
    assert step.needs_s == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("first", "then", "down_s", "needs_s"),
    [
        # No holds on B: it acts as the foot comes down. Defaults: 250 ms same, 450 ms other, 600 ms hold, 120 ms press.
        (press(1.0, "B"), press(9.0, "B"), 0.250, 0.250),
        (press(1.0, "B"), press(9.0, "A"), 0.450, 0.450 + 0.120),  # A acts when it is let go
        (press(1.0, "A"), press(9.0, "A"), 0.250, 0.250),  # both acted late by as much
        (press(1.0, "A"), press(9.0, "B"), 0.450, 0.450 - 0.120),  # 120 of the 450 ms were over when A acted
        (press(1.0, "A"), press(9.0, "C"), 0.450, 0.450),
        (press(1.0, "B"), hold(9.0, "A"), 0.450, 0.450 + 0.600),
        (hold(1.0, "A"), press(9.0, "B"), 0.600 + 0.450, 0.450),  # the foot leaves A when its hold has acted
        (hold(1.0, "A"), press(9.0, "A"), 0.600 + 0.250, 0.250 + 0.120),
        (hold(1.0, "A"), hold(9.0, "C"), 0.600 + 0.450, 0.450 + 0.600),
    ],
)
def test_time_from_one_gesture_to_the_next(first: Cue, then: Cue, down_s: float, needs_s: float) -> None:
    """A cue says when the foot comes down: from there to the next `down_s`; from act to act `needs_s`."""
    step = last(WITH_HOLDS, first, then)
    assert step.needs_s == pytest.approx(needs_s, abs=1e-12)
    assert step.time_s == pytest.approx(8.0 - down_s + needs_s, abs=1e-9)
    assert step.verdict == "possible"
    for spare_s, verdict in ((0.0, "possible"), (-0.001, "too fast")):
        close = Cue(1.0 + down_s + spare_s, then.kind, then.name)
        assert last(WITH_HOLDS, first, close).verdict == verdict


def test_cues_are_walked_as_they_act_and_told_as_they_stand() -> None:
    """A comes down first and mutes 0.6 s later; by then B has acted, for which the foot would have to leave A."""
    steps = walk(WITH_HOLDS, [hold(1.0, "A"), press(1.2, "B"), Cue(2.5, "mute", on=False)]).steps
    assert [s.what for s in steps] == ["hold A", "press B", "mute off"]
    assert [s.verdict for s in steps] == ["too fast", "possible", "possible"]
    assert steps[0].line == "1 s: one hold in 0.4 s; this foot needs 1.05 s (hold A)"
    assert [s.lamps["B"] for s in steps] == [True, True, True]


def test_a_switch_cannot_be_pressed_again_before_it_was_let_go() -> None:
    """A foot that says 50 ms from press to press, and 120 ms for a press that ends when let go: 120."""
    foot = Foot(same_switch_ms=50.0)
    assert last(WITH_HOLDS, press(1.0, "A"), press(2.0, "A"), foot=foot).needs_s == pytest.approx(0.120)
    assert last(WITH_HOLDS, press(1.0, "B"), press(2.0, "B"), foot=foot).needs_s == pytest.approx(0.050)


TWO_BANKS = Board(
    (Bank("1", ("p",)), Bank("2", ("q",))),
    (
        Switch("A", parse_action("place 1")),
        Switch("B", parse_action("mute"), hold=parse_action("patch q")),
        Switch("D", parse_action("bank up")),
    ),
    {None: frozenset(), "p": frozenset(), "q": frozenset()},
    first_patch="p",
)


@pytest.mark.parametrize(
    ("apart_s", "gestures"),
    [
        (2.45, ("hold B",)),  # from A to B and held: 0.45 + 2
        (2.44, ("D", "A")),  # A to D, D to A: 0.45 + 0.45
        (0.9, ("D", "A")),
        (0.89, ("hold B",)),  # neither can be done: fewest presses again
    ],
)
def test_more_presses_where_fewer_are_too_slow(apart_s: float, gestures: tuple[str, ...]) -> None:
    step = last(TWO_BANKS, press(1.0, "A"), Cue(1.0 + apart_s, "patch", "q"), foot=Foot(hold_ms=2000.0))
    assert step.gestures == gestures
    assert step.verdict == ("possible" if apart_s >= 0.9 else "too fast")


def test_a_bank_is_opened_before_an_earlier_cue_and_says_what_for() -> None:
    """Unmuted at 10 s and q at 10.5 s: from B, which has a hold, to A there are 0.45 - 0.12 s, to D and A 0.78."""
    cues = [Cue(1.0, "patch", "p"), Cue(2.0, "mute"), Cue(10.0, "mute", on=False), Cue(10.5, "patch", "q", bar="7")]
    steps = walk(TWO_BANKS, cues, Foot(hold_ms=2000.0)).steps
    assert [s.line for s in steps[2:]] == ["10 s: mute off: D (for bar 7), B", "bar 7: patch q: A"]
    assert (steps[2].serves, steps[3].serves) == (("bar 7", ""), ("",))
    assert steps[3].needs_s == pytest.approx(0.33)


def test_the_cue_that_needs_the_bank_is_blamed() -> None:
    """MIDI chooses p, and with it the first bank, at 9 s; 0.5 s from there to the unmute, and less from that to q.

    D and B take 0.45 + 0.12 s, B alone is there at once; D and A after it 0.33 + 0.45. One of the two is too fast.
    """
    cues = [
        Cue(8.0, "mute", by_foot=False),
        Cue(9.0, "patch", "p", by_foot=False),
        Cue(9.5, "mute", on=False),
        Cue(9.95, "patch", "q"),
    ]
    switches = (
        TWO_BANKS.switches[0],
        Switch("B", parse_action("mute"), hold=parse_action("tap")),
        TWO_BANKS.switches[2],
    )
    found = walk(replace(TWO_BANKS, switches=switches), cues)
    assert found.lines[2] == "9.5 s: mute off: B"
    assert found.impossible == ("9.95 s: two presses in 0.45 s; this foot needs 0.78 s (patch q: D (ahead), A)",)


@pytest.mark.parametrize(
    ("idle", "line"),
    [
        (Cue(10.0, "patch", "b"), "10 s: patch b: UP (for 10.3 s)"),
        (Cue(10.0, "mute", by_foot=False), "10 s: mute on comes over MIDI: UP (for 10.3 s)"),
    ],
)
def test_a_bank_is_opened_before_a_cue_that_needs_no_foot(idle: Cue, line: str) -> None:
    """UP and A for c take 0.45 s, and 0.3 are left once b, or the mute, has come."""
    steps = walk(EASY, [Cue(1.0, "patch", "b"), idle, Cue(10.3, "patch", "c")]).steps
    assert [s.line for s in steps[1:]] == [line, "10.3 s: patch c: A"]
    assert steps[1].ahead == 1


@pytest.mark.parametrize(("apart_s", "verdict"), [(0.9, "possible"), (0.89, "too fast")])
def test_what_is_silent_leaves_the_foot_as_soon_as_it_can(apart_s: float, verdict: str) -> None:
    """B at 1 s, b over MIDI at 1.5 s, c: UP 0.45 s after B, A 0.45 s after UP."""
    cues = [press(1.0, "B"), Cue(1.5, "mute", by_foot=False), Cue(1.0 + apart_s, "patch", "c")]
    assert walk(EASY, cues).steps[-1].verdict == verdict


def test_before_the_first_cue_there_is_all_the_time() -> None:
    step = last(EASY, Cue(0.0, "patch", "f"))
    assert (step.time_s, step.verdict, step.gestures) == (None, "possible", ("UP", "UP", "B"))
    assert step.line == "0 s: patch f: UP (ahead), UP (ahead), B"


def test_silent_presses_have_the_time_since_the_cue_before_and_no_longer() -> None:
    """MIDI sends b at 5 s. UP and A for c, 0.45 s from act to act, may begin then and not before."""
    midi = Cue(5.0, "patch", "b", by_foot=False)
    near, far = Cue(5.4, "patch", "c"), Cue(5.45, "patch", "c")
    assert last(EASY, midi, far).verdict == "possible"
    assert last(EASY, midi, near).line == "5.4 s: two presses in 0.4 s; this foot needs 0.45 s (patch c: UP (ahead), A)"


def test_the_tighter_of_two_windows_counts() -> None:
    """A at 4.5 s; at 5 s MIDI sends b; UP, A for c: from A 0.9 s, of which there are 0.95; from 5 s on 0.45 of 0.45.

    At 4.7 s instead of 4.5 there are 0.75 s: too fast, though the time since the cue before would do.
    """
    midi, then = Cue(5.0, "patch", "b", by_foot=False), Cue(5.45, "patch", "c")
    assert last(EASY, press(4.5, "A"), midi, then).verdict == "possible"
    late = last(EASY, press(4.7, "A"), midi, then)
    assert (late.verdict, late.needs_s, late.time_s) == ("too fast", pytest.approx(0.9), pytest.approx(0.75))


def test_nothing_to_press_is_never_too_fast() -> None:
    steps = walk(
        EASY, [Cue(1.0, "patch", "b"), Cue(1.0 + 1e-3, "patch", "b"), Cue(1.2, "patch", "a", by_foot=False)]
    ).steps
    assert [s.verdict for s in steps] == ["possible"] * 3
    assert [s.line for s in steps[1:]] == ["1.001 s: patch b: nothing to press", "1.2 s: patch a: comes over MIDI"]


def test_out_of_reach_is_said_and_costs_nothing() -> None:
    board = board_of(("A", "place 1"), banks=(("a", "b"),), first="a")
    found = walk(board, [Cue(1.0, "patch", "b", bar="5"), Cue(2.0, "patch", "a")])
    assert found.steps[0].verdict == "out of reach"
    assert found.lines == ("bar 5: no switch leads to patch b", "2 s: patch a: A")
    assert (found.impossible, found.presses) == (("bar 5: no switch leads to patch b",), 1)
    assert found.steps[0].lamps == {"A": False}


def test_a_wrong_sound_lasts_until_the_last_press() -> None:
    """Y, then place 2: y is heard for 0.45 s before c."""
    board = board_of(("Y", "patch y"), ("2", "place 2"), banks=(("a",), ("y", "c")), first="a")
    step = last(board, Cue(3.0, "patch", "c"))
    assert (step.passes, step.passes_s) == (("y",), pytest.approx(0.45))
    assert step.line == "3 s: patch c: Y, 2; y on the way, for 0.45 s"


def test_cues_of_one_instant_are_walked_together() -> None:
    """Lantern and mute, UP and UP being done before R: A and M are left. R to A takes 0.45 + 0.12 s, A to M 0.45 s.

    R acts at once; A and M, which have holds, 120 ms after the foot comes down.
    """
    cues = [press(1.0, "R"), Cue(2.0, "patch", "lantern", bar="9"), Cue(2.0, "mute", bar="9")]
    found = walk(PARADE, cues)
    assert found.steps[0].gestures == ("UP", "UP", "R")
    assert found.steps[1].line == "bar 9: patch lantern, together with mute on"
    assert found.steps[1].verdict == found.steps[2].verdict == "too fast"
    assert found.steps[2].needs_s == pytest.approx(1.02)
    assert "bar 9: two presses in 1 s; this foot needs 1.02 s (patch lantern and mute on: " in found.lines[2]
    assert found.presses == 5
    assert found.impossible == found.lines[2:]


def test_what_is_done_ahead_draws_no_wrong_sound_out() -> None:
    """UP, UP, A, M for lantern and mute: lantern, or the mute, is heard too early, from A to M: 0.45 s."""
    step = last(PARADE, Cue(2.0, "patch", "lantern"), Cue(2.0, "mute"))
    assert (step.ahead, len(step.gestures), len(step.passes)) == (2, 4, 1)
    assert step.passes_s == pytest.approx(0.45)


def test_each_instant_has_its_own_cues() -> None:
    both = [Cue(t, *aim) for t in (1.0, 9.0) for aim in (("patch", "b"), ("mute",))]
    assert [s.what for s in walk(EASY, both).steps] == ["patch b", "mute on"] * 2


def test_two_gestures_at_one_instant_are_too_fast() -> None:
    step = last(EASY, press(1.0, "A"), press(1.0, "UP"))
    assert (step.verdict, step.time_s) == ("too fast", 0.0)
    assert step.line == "1 s: one press in 0 s; this foot needs 0.45 s (press UP)"


def test_holds_are_counted_as_holds() -> None:
    """Dry is a hold of C: 0.45 s to get there and 0.6 s to hold it. In words of both kinds: A held, and B."""
    step = last(WITH_HOLDS, press(1.0, "B"), Cue(1.1, "dry"))
    assert step.line == "1.1 s: one hold in 0.1 s; this foot needs 1.05 s (dry on: hold C)"
    both = last(WITH_HOLDS, press(1.0, "B"), Cue(1.5, "patch", "a"), Cue(1.6, "patch", "b"), Cue(1.6, "mute"))
    assert "1.6 s: one press and one hold in 0.1 s; this foot needs " in both.line


def test_cues_after_the_end_are_told_and_not_walked() -> None:
    found = walk(EASY, [Cue(1.0, "patch", "b"), Cue(2.0, "patch", "a"), Cue(2.5, "patch", "f")], end_s=2.0)
    assert [s.verdict for s in found.steps] == ["possible", "possible", "after the end"]
    assert found.lines[2] == "2.5 s: patch f comes after the end of the take"
    assert (found.presses, found.impossible) == (2, ())
    # A hold goes down before the end and acts after it.
    (held,) = walk(WITH_HOLDS, [Cue(1.9, "hold", "C")], end_s=2.0).steps
    assert (held.verdict, held.line) == ("after the end", "1.9 s: hold C acts after the end of the take")


def test_lamps_are_those_after_the_cue() -> None:
    steps = walk(EASY, [Cue(1.0, "patch", "b"), Cue(2.0, "patch", "c")]).steps
    assert [s.lamps for s in steps] == [{"A": False, "B": True, "UP": False}, {"A": True, "B": False, "UP": False}]


def test_a_walk_can_be_written_as_json() -> None:
    found = walk(PARADE, [Cue(1.0, "patch", "lantern"), Cue(2.0, "mute"), Cue(3.0, "block", "shifter")])
    again = json.loads(json.dumps(asdict(found), allow_nan=False))
    assert again["presses"] == found.presses
    assert [s["line"] for s in again["steps"]] == list(found.lines)
    assert walk(PARADE, []) == Walk((), 0)


def test_rounding_never_makes_it_look_enough() -> None:
    """0.4489 s there are, 0.45 needed: 0.44 is said, not 0.45."""
    step = last(EASY, press(1.0, "A"), press(1.4489, "B"))
    assert step.line == "1.4489 s: one press in 0.44 s; this foot needs 0.45 s (press B)"


def test_a_bounded_search_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("chainsim.stage.walk.fewest_presses", partial(fewest_presses, most_positions=3))
    assert walk(PARADE, [Cue(1.0, "patch", "lantern")]).lines == (
        "1 s: no way to patch lantern was found in a bounded search",
    )
    told = "1 s: patch tide: B; the search was bounded, there may be a shorter way"
    assert walk(PARADE, [Cue(1.0, "patch", "tide")]).lines == (told,)


def test_a_bounded_search_in_time_makes_nothing_worse(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search with the foot's times ends at once and finds no way; that without them found one that is too fast."""

    def bounded(board: Board, cues: Sequence[Cue], foot: Foot | None = None) -> tuple[Reach, ...]:
        return fewest_presses(board, cues, foot, most_positions=10_000 if foot is None else 1)

    monkeypatch.setattr("chainsim.stage.walk.fewest_presses", bounded)
    assert last(EASY, press(1.0, "A"), press(1.1, "B")).gestures == ("B",)
    step = last(EASY, press(1.0, "A"), Cue(1.1, "patch", "f"))
    assert (step.gestures, step.verdict) == (("UP", "UP", "B"), "too fast")


@pytest.mark.parametrize("name", ["same_switch_ms", "other_switch_ms", "hold_ms", "release_ms"])
def test_a_foot_has_its_limits(name: str) -> None:
    assert Foot.specs()[name].unit == "ms"
    with pytest.raises(ValidationError, match="allowed"):
        Foot(**{name: 0.0})
