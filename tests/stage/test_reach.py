"""The fewest presses: by hand, and against a plain search over everything."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.errors import SettingError
from chainsim.stage.actions import parse_action
from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue
from chainsim.stage.gesture import Gesture, do_gesture
from chainsim.stage.reach import Reach, fewest_presses
from tests.stage.boards import PARADE, board_of, boards, cue_lists


def ways(board: Board, *cues: Cue) -> list[str | None]:
    """The gestures of each cue in one text; None where there is no way."""
    found = fewest_presses(board, cues)
    return [None if r.gestures is None else " ".join(g.text for g in r.gestures) for r in found]


def patches(*names: str) -> list[Cue]:
    """A cue a second."""
    return [Cue(float(i), "patch", name) for i, name in enumerate(names)]


def test_a_place_of_the_open_bank_is_one_press() -> None:
    assert ways(PARADE, *patches("tide", "chorale", "chorale")) == ["B", "A", ""]


def test_a_patch_of_another_bank_needs_the_bank_first() -> None:
    """Lantern is the only patch of the third bank: up, up, first place. Back to the chorale: up, around the end."""
    assert ways(PARADE, *patches("lantern", "chorale")) == ["UP UP A", "UP A"]


def test_a_second_press_goes_back() -> None:
    """From tide, a second press of B is the patch before: one press, as A is, and A comes first on the board.

    From drums in the second bank it leads to the chorale in one press, where the place would need three.
    """
    assert ways(PARADE, *patches("tide", "chorale")) == ["B", "A"]
    assert ways(PARADE, *patches("drums", "chorale")) == ["UP B", "B"]


def test_holds_are_found_and_plain_presses_preferred() -> None:
    """Echo off is a hold of A; to have it on again, A pressed chooses the patch as written: as many, and no hold."""
    cues = [Cue(1.0, "block", "echo", on=False), Cue(2.0, "block", "echo", on=True)]
    assert ways(PARADE, *cues) == ["hold A", "A"]


def test_a_costlier_way_now_may_be_the_cheaper_in_all() -> None:
    """Banks: 1 (x), 2 (a), 3 (x, c); X chooses x, 2 the second place, and UP goes on only.

    The nearest way to x is X alone: x opens its first bank, and c is then UP UP 2: four in all. UP first keeps the
    third bank open, which holds x: UP X, and then 2 alone: three.
    """
    board = board_of(
        ("X", "patch x"), ("2", "place 2"), ("UP", "bank up"), banks=(("x",), ("a",), ("x", "c")), first="a"
    )
    assert ways(board, *patches("x")) == ["X"]
    assert ways(board, *patches("x", "c")) == ["UP X", "2"]


def test_of_equally_many_the_silent_way_is_taken() -> None:
    """From a to c in the second bank: Y opens that bank with a wrong sound, UP opens it in silence."""
    board = board_of(("Y", "patch y"), ("2", "place 2"), ("UP", "bank up"), banks=(("a",), ("y", "c")), first="a")
    (reach,) = fewest_presses(board, patches("c"))
    assert [g.text for g in reach.gestures or ()] == ["UP", "2"]
    assert (reach.silent, reach.ahead, reach.passes) == ((True, False), 1, ())


def test_a_wrong_sound_on_the_way_is_named() -> None:
    """Without UP there is only the way over y."""
    board = board_of(("Y", "patch y"), ("2", "place 2"), banks=(("a",), ("y", "c")), first="a")
    (reach,) = fewest_presses(board, patches("c"))
    assert [g.text for g in reach.gestures or ()] == ["Y", "2"]
    assert (reach.silent, reach.ahead, reach.passes) == ((False, False), 0, ("y",))


def test_under_a_mute_everything_is_silent() -> None:
    """The last press is the cue's own, however silent: two may be done ahead."""
    mute, lantern = fewest_presses(PARADE, [Cue(1.0, "mute", by_foot=False), Cue(20.0, "patch", "lantern")])
    assert mute.gestures == ()
    assert (lantern.silent, lantern.ahead, lantern.passes) == ((True, True, True), 2, ())


@pytest.mark.parametrize(
    ("mute_s", "lantern_s", "expected"),
    [
        (10.0, 10.5, ["R", "UP UP M", "A"]),  # nine seconds before the mute, half a second after it
        (2.0, 20.0, ["R", "M", "UP UP A"]),  # one second before it, 18 after it
        (8.0, 18.0, ["R", "M", "UP UP A"]),  # time enough before and after it: no earlier than need be
        (1.5, 2.0, ["UP UP R", "M", "A"]),  # half a second each, but no limit before the first cue
    ],
)
def test_banks_are_opened_where_there_is_time(mute_s: float, lantern_s: float, expected: list[str]) -> None:
    """Reverb off at 1 s, then mute, then lantern: three presses beside R and M, two of them silent at any time."""
    cues = [Cue(1.0, "press", "R"), Cue(mute_s, "mute"), Cue(lantern_s, "patch", "lantern")]
    assert ways(PARADE, *cues) == expected


def test_no_switch_leads_there_and_the_list_goes_on() -> None:
    """No switch opens a bank. Banks: 1 (a, b), 2 (z): from 1 there is no z, and from z, in bank 2, place 1 is z."""
    board = board_of(("A", "place 1"), ("B", "place 2"), banks=(("a", "b"), ("z",)), first="a")
    found = fewest_presses(board, patches("b", "z", "a", "b"))
    assert [r.gestures for r in found] == [(Gesture("B"),), None, None, (Gesture("B"),)]
    assert all(r.searched_all for r in found)
    assert [r.position.patch for r in found] == ["b", "z", "a", "b"]


def test_after_a_cue_out_of_reach_the_next_starts_where_it_would_have_been() -> None:
    """`b` is on no switch; the board stands in its bank all the same, where c is the first place."""
    board = board_of(("A", "place 1"), banks=(("a",), ("c", "b")), first="a")
    found = fewest_presses(board, patches("b", "c"))
    assert [r.gestures for r in found] == [None, (Gesture("A"),)]


def test_what_comes_over_midi_costs_nothing_and_moves_the_board() -> None:
    """The program change opens the third bank; from there it is once UP to the first."""
    cues = [
        Cue(1.0, "patch", "lantern", by_foot=False),
        Cue(2.0, "patch", "tide"),
        Cue(3.0, "press", "UP", by_foot=False),
    ]
    assert ways(PARADE, *cues) == ["", "UP B", ""]


def test_a_press_cue_is_that_press() -> None:
    """Also where nothing is heard of it, and where the wanted sound would need none."""
    cues = [Cue(1.0, "press", "T"), Cue(2.0, "press", "UP"), Cue(3.0, "press", "A"), Cue(4.0, "hold", "M")]
    assert ways(PARADE, *cues) == ["T", "UP", "A", "hold M"]


def test_a_press_cue_may_need_its_bank_opened() -> None:
    """As written, b opens bank 1, and A is a. The foot comes to b by UP and B, in bank 2: A there would be c.

    Banks: 1 (a, b), 2 (c, b), with UP and DOWN; from c in bank 2 b is B at once, but the second cue wants a.
    """
    board = board_of(
        ("A", "place 1"),
        ("B", "place 2"),
        ("UP", "bank up"),
        banks=(("a", "b"), ("c", "b"), ("d",)),
        first="d",
    )
    cues = [Cue(1.0, "patch", "b"), Cue(2.0, "press", "A")]
    found = fewest_presses(board, cues)
    assert [r.position.patch for r in found] == ["b", "a"]
    assert ways(board, *cues) == ["UP B", "A"]
    moved = [Cue(1.0, "patch", "b"), Cue(1.5, "press", "UP"), Cue(2.0, "press", "A")]
    assert ways(board, *moved) == ["UP B", "UP", "A"]
    assert [r.position.patch for r in fewest_presses(board, moved)] == ["b", "b", "c"]


def test_what_is_silent_is_done_before_anything_is_heard() -> None:
    """Reverb on and c at one instant: R is heard, and UP is not, so UP comes before it."""
    for order in itertools.permutations([("R", "block reverb"), ("2", "place 2"), ("UP", "bank up")]):
        board = board_of(*order, banks=(("a",), ("y", "c")), first="a")
        board = replace(board, free_standing=frozenset({"reverb"}))
        reach = fewest_presses(board, [Cue(1.0, "block", "reverb"), Cue(1.0, "patch", "c")])[-1]
        assert [g.text for g in reach.gestures or ()] in (["UP", "R", "2"], ["UP", "2", "R"])


def test_the_next_bank_is_not_opened_while_a_wrong_sound_is_heard() -> None:
    """Lantern and mute at one instant, then market soon: UP, UP for it before M would draw the lantern out."""
    cues = [Cue(9.0, "patch", "lantern"), Cue(9.0, "mute"), Cue(9.3, "patch", "market")]
    found = fewest_presses(PARADE, cues)
    assert len(found[1].gestures or ()) == 4
    assert [g.text for g in found[2].gestures or ()] == ["UP", "UP", "A"]


def test_a_block_may_be_switched_for_the_sake_of_a_second_press() -> None:
    """Only the second press of S chooses q, and it is done while the echo is on: S and S."""
    board = board_of(("S", "block echo"), banks=(("p",), ("q",)), first="p")
    board = replace(board, switches=(replace(board.switches[0], second_press=parse_action("patch q")),))
    assert ways(board, *patches("q")) == ["S S"]


def test_dry_may_be_switched_for_the_sake_of_a_first_press() -> None:
    """MIDI takes the echo out of p. S would bring p as written, but is a mute while p is in force: dry, and S."""
    board = board_of(("S", "patch p"), ("D", "dry"), banks=(("p",),), first="p")
    board = replace(board, switches=(replace(board.switches[0], second_press=parse_action("mute")), board.switches[1]))
    assert ways(board, Cue(1.0, "block", "echo", by_foot=False), Cue(2.0, "patch", "p")) == ["", "D S"]


def test_a_free_standing_block_is_switched_while_it_is_not_heard() -> None:
    """From the dry sound to tide without reverb: R first, under the dry sound; after tide it would be heard."""
    cues = [Cue(1.0, "dry", by_foot=False), Cue(2.0, "patch", "tide"), Cue(2.0, "block", "reverb", on=False)]
    reach = fewest_presses(PARADE, cues)[-1]
    assert [g.text for g in reach.gestures or ()] == ["R", "B"]
    assert (reach.ahead, reach.passes) == (1, ())


PLACES = (("p", "x", "q"), ("p", "q"), ("o",))
"""Place 3 of the first bank is place 2 of the second, which has no place 3."""


def test_a_press_cue_is_prepared_in_silence_where_that_is_as_short() -> None:
    """From o, p is nearest in bank 2, by DOWN and 1; place 3 of bank 1 is then DOWN and 3. Or 2, and a 3 in vain."""
    board = board_of(
        ("2", "place 2"), ("3", "place 3"), ("1", "place 1"), ("DOWN", "bank down"), banks=PLACES, first="o"
    )
    cues = [Cue(1.0, "patch", "p"), Cue(9.0, "press", "3")]
    found = fewest_presses(board, cues)
    assert ways(board, *cues) == ["DOWN 1", "DOWN 3"]
    assert (found[1].ahead, found[1].passes) == (1, ())


@pytest.mark.parametrize(("by_foot", "expected"), [(True, "2 3"), (False, "2")])
def test_what_is_heard_before_a_press_cue_is_too_early(by_foot: bool, expected: str) -> None:
    """No switch leads to bank 1, where the press of 3 would be q: the foot chooses q by 2, and then 3 does nothing."""
    board = board_of(("1", "place 1"), ("2", "place 2"), ("3", "place 3"), ("B", "bank 2"), banks=PLACES, first="o")
    cues = [Cue(1.0, "patch", "p"), Cue(9.0, "press", "3", by_foot=by_foot)]
    assert ways(board, *cues) == ["B 1", expected]
    assert fewest_presses(board, cues)[1].passes == ("q too early",)


def test_the_right_sound_too_early_is_told_as_well() -> None:
    """Mute and a patch of another bank at one instant: the banks first, and then one of the two is early."""
    (_, reach) = fewest_presses(PARADE, [Cue(1.0, "patch", "lantern"), Cue(1.0, "mute")])
    assert len(reach.gestures or ()) == 4
    assert (reach.ahead, reach.passes) in ((2, ("lantern",)), (2, ("muted too early",)))


def test_cues_of_one_instant_are_one_aim() -> None:
    """Tide with the reverb off: B and R; the chorale in between is not asked of the foot."""
    cues = [Cue(1.0, "patch", "lantern"), Cue(1.0, "patch", "tide"), Cue(1.0, "block", "reverb", on=False)]
    found = fewest_presses(PARADE, cues)
    assert [r.with_next for r in found] == [True, True, False]
    assert sum(len(r.gestures or ()) for r in found) == 2
    assert found[-1].position.sound == ("tide", frozenset({("reverb", False)}), False, False)
    assert found[-1].passes in (("tide",), ("chorale with reverb off",))


def test_a_gesture_or_a_midi_cue_at_the_same_instant_is_its_own_aim() -> None:
    cues = [Cue(1.0, "patch", "tide"), Cue(1.0, "press", "R"), Cue(1.0, "patch", "chorale", by_foot=False)]
    assert [r.with_next for r in fewest_presses(PARADE, cues)] == [False, False, False]


def test_a_bounded_search_says_so() -> None:
    """Two banks up are five positions away: (chorale, tide) in the open bank, then the banks, then lantern."""
    cut = fewest_presses(PARADE, patches("lantern"), most_positions=3)
    assert (cut[0].gestures, cut[0].searched_all) == (None, False)
    assert fewest_presses(PARADE, patches("lantern"))[0].searched_all


def test_no_cues_no_presses() -> None:
    assert fewest_presses(PARADE, []) == ()
    assert ways(Board(engaged={None: frozenset()}), Cue(0.0, "mute"), Cue(1.0, "mute", on=False)) == [None, None]


@pytest.mark.parametrize("cue", [Cue(0.0, "patch", "chorle"), Cue(0.0, "press", "Aa")])
def test_unknown_names_are_told(cue: Cue) -> None:
    with pytest.raises(SettingError, match="did you mean"):
        fewest_presses(PARADE, [cue])


def total(reaches: Sequence[Reach]) -> tuple[int, int, int]:
    """Gestures, sounds on the way, holds."""
    gestures = [g for r in reaches for g in r.gestures or ()]
    return len(gestures), sum(len(r.passes) for r in reaches), sum(g.kind == "hold" for g in gestures)


def least_by_plain_search(board: Board, cues: Sequence[Cue]) -> tuple[int, tuple[int, int, int]]:
    """How many cues can be met, and the least (gestures, sounds on the way, holds) that meet them.

    Uniform-cost search over (cues met, position, whether the newest gesture for the next cue was heard): nothing is
    forgotten, nothing left out, nothing done cue by cue. What was heard is on the way as soon as another
    gesture follows.
    """
    wanted = list(itertools.accumulate(cues, board.apply, initial=board.start()))
    gestures = [Gesture(s.name) for s in board.switches]
    gestures += [Gesture(s.name, "hold") for s in board.switches if s.hold is not None]
    ends = list(range(1, len(cues) + 1))
    for k in reversed(range(len(cues) - 1)):
        pair = cues[k : k + 2]
        if pair[0].at_s == pair[1].at_s and all(c.by_foot and c.kind not in ("press", "hold") for c in pair):
            ends[k] = ends[k + 1]
    queue = [((0, 0, 0), 0, (0, board.start(), False))]
    count = itertools.count(1)
    settled: set[tuple[int, Position, bool]] = set()
    met: dict[int, tuple[int, int, int]] = {}
    while queue:
        cost, _, state = heapq.heappop(queue)
        if state in settled:
            continue
        settled.add(state)
        k, position, heard = state
        met.setdefault(k, cost)
        if k == len(cues):
            break
        cue, end = cues[k], ends[k]
        n, on_way, holds = cost
        if cue.kind in ("press", "hold"):
            landed = do_gesture(board, position, Gesture(cue.name, cue.kind))
            if landed.sound == wanted[end].sound:
                own = (1, heard, cue.kind == "hold") if cue.by_foot else (0, heard, 0)
                dearer = (n + own[0], on_way + own[1], holds + own[2])
                heapq.heappush(queue, (dearer, next(count), (end, landed, False)))
        elif not cue.by_foot:
            heapq.heappush(queue, (cost, next(count), (end, board.apply(position, cue), False)))
            continue
        elif position.sound == wanted[end].sound:
            heapq.heappush(queue, (cost, next(count), (end, position, False)))
        for gesture in gestures:
            after = do_gesture(board, position, gesture)
            if after == position:
                continue
            dearer = (n + 1, on_way + heard, holds + (gesture.kind == "hold"))
            heapq.heappush(queue, (dearer, next(count), (k, after, after.heard != position.heard)))
    last = max(met)
    return last, met[last]


many = settings(max_examples=250, deadline=None, derandomize=True, database=None)


@many
@given(st.data(), boards())
def test_no_shorter_way_exists(data: st.DataObject, board: Board) -> None:
    cues = data.draw(cue_lists(board))
    found = fewest_presses(board, cues)
    assert all(r.searched_all for r in found)
    first_none = next((k for k, r in enumerate(found) if r.gestures is None), len(found))
    while first_none < len(found) and first_none > 0 and found[first_none - 1].with_next:
        first_none -= 1
    met, least = least_by_plain_search(board, cues)
    assert met == first_none
    assert total(found[:met]) == least


@many
@given(st.data(), boards())
def test_the_gestures_do_what_is_said_of_them(data: st.DataObject, board: Board) -> None:
    cues = data.draw(cue_lists(board, most=6))
    position = wanted = board.start()
    for reach in fewest_presses(board, cues):
        cue = reach.cue
        wanted = board.apply(wanted, cue)
        if reach.gestures is None:
            position = wanted
            continue
        silent = []
        for gesture in reach.gestures:
            after = do_gesture(board, position, gesture)
            silent.append(after.heard == position.heard)
            position = after
        assert reach.silent == tuple(silent)
        if not cue.by_foot:
            position = board.apply(position, cue)
        elif cue.is_gesture:
            assert reach.gestures[-1] == Gesture(cue.name, "hold" if cue.kind == "hold" else "press")
        assert reach.position == position
        assert reach.with_next or position.sound == wanted.sound
