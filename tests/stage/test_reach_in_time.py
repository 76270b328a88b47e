"""What one foot can do in time: against a plain search over everything, with times reckoned here."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from hypothesis import example, given, settings
from hypothesis import strategies as st

from chainsim.stage.actions import parse_action
from chainsim.stage.board import Bank, Board, Position, Switch
from chainsim.stage.cues import Cue
from chainsim.stage.foot import Foot
from chainsim.stage.gesture import Gesture, do_gesture
from chainsim.stage.walk import walk
from tests.stage.boards import IN_A_HURRY, boards, cue_lists

LONG_AGO = -1_000_000


class State(NamedTuple):
    """Where a search stands: cues met; what was done for the next, when it acts at the earliest (in ms)."""

    met: int
    position: Position
    last: Gesture | None
    acts_ms: int
    pressed: bool = False
    heard: bool = False
    late: bool = False


def acts_after_ms(board: Board, foot: Foot, kind: str, switch: str) -> float:
    """How long after the foot has come down a gesture acts."""
    return foot.hold_ms if kind == "hold" else foot.release_ms if board.switch(switch).hold else 0.0


def acts_at_ms(board: Board, foot: Foot, cue: Cue) -> int:
    """When a cue acts: at once, but for a gesture."""
    gesture = cue.kind in ("press", "hold")
    return round(1000.0 * cue.at_s + (acts_after_ms(board, foot, cue.kind, cue.name) if gesture else 0.0))


def between_ms(board: Board, foot: Foot, first: Gesture | None, then: Gesture) -> int:
    """Press to press, act to act: the foot is on a switch for 120 ms at least if that has a hold."""
    if first is None:
        return 0
    acts = [acts_after_ms(board, foot, g.kind, g.switch) for g in (first, then)]
    gap = foot.same_switch_ms if first.switch == then.switch else foot.other_switch_ms
    lifted = foot.hold_ms + gap if first.kind == "hold" else max(gap, acts[0])
    return round(lifted - acts[0] + acts[1])


def switches_away(board: Board, gesture: Gesture, after: Position, goal: Position) -> bool:
    """Whether mute, dry sound or a block goes where the goal does not have it: only to have the foot near."""
    switch = board.switch(gesture.switch)
    action = switch.press if gesture.kind == "press" else switch.hold
    if action is None or action.kind not in ("mute", "dry", "block"):
        return False
    if action.kind == "block":
        stays = action.name in board.free_standing or after.patch == goal.patch
        return not stays or board.is_on(after, action.name) != board.is_on(goal, action.name)
    return after.muted != goal.muted if action.kind == "mute" else after.dry != goal.dry


def least_in_time(board: Board, cues: Sequence[Cue], foot: Foot) -> tuple[int, int] | None:
    """The least (cues that come too fast, gestures) on any way that meets all; None if there is none.

    Uniform-cost search over whole states: nothing forgotten, no way compared with another by time. For boards without
    second presses.
    """
    cues = sorted(cues, key=lambda cue: acts_at_ms(board, foot, cue))
    wanted = list(itertools.accumulate(cues, board.apply, initial=board.start()))
    gestures = [Gesture(s.name, kind) for s in board.switches for kind in ("press", "hold")]
    gestures = [g for g in gestures if g.kind == "press" or board.switch(g.switch).hold is not None]
    ends = list(range(1, len(cues) + 1))
    for k in reversed(range(len(cues) - 1)):
        pair = cues[k : k + 2]
        if pair[0].at_s == pair[1].at_s and all(c.by_foot and c.kind not in ("press", "hold") for c in pair):
            ends[k] = ends[k + 1]
    count = itertools.count()
    queue = [((0, 0), next(count), State(0, board.start(), None, LONG_AGO), board.start())]
    settled: set[State] = set()
    while queue:
        cost, _, state, before = heapq.heappop(queue)
        if state in settled:
            continue
        settled.add(state)
        if state.met == len(cues):
            return cost
        cue, end = cues[state.met], ends[state.met]
        goal, at_ms = wanted[end], acts_at_ms(board, foot, cue)
        since_ms = acts_at_ms(board, foot, cues[state.met - 1]) if state.met else None

        def pressed(
            gesture: Gesture, cost: tuple[int, int], state: State, since_ms: int | None, at_ms: int
        ) -> tuple[tuple[int, int], State]:
            after = do_gesture(board, state.position, gesture)
            heard = state.heard or after.heard != state.position.heard
            acts_ms = LONG_AGO
            if since_ms is not None and not state.late:
                acts_ms = max(state.acts_ms + between_ms(board, foot, state.last, gesture), since_ms)
            late = acts_ms > at_ms
            newer = State(state.met, after, gesture, LONG_AGO if late else acts_ms, True, heard, state.late or late)
            return (cost[0] + late, cost[1] + 1), newer

        def met(cost: tuple[int, int], state: State, position: Position, on_cue: bool, end: int, at_ms: int) -> None:
            acts_ms = at_ms if on_cue or (state.pressed and (state.heard or state.late)) else state.acts_ms
            heapq.heappush(queue, (cost, next(count), State(end, position, state.last, acts_ms), position))

        there = state.position.sound == goal.sound
        if cue.kind in ("press", "hold"):
            own = Gesture(cue.name, cue.kind)
            landed = do_gesture(board, state.position, own)
            if landed.sound == goal.sound and cue.by_foot:
                dearer, newer = pressed(own, cost, state, since_ms, at_ms)
                met(dearer, newer, landed, True, end, at_ms)
            elif landed.sound == goal.sound:
                met(cost, state, landed, False, end, at_ms)
        elif not cue.by_foot:
            landed = board.apply(state.position, cue)
            if landed.sound == goal.sound:
                met(cost, state, landed, False, end, at_ms)
        elif there:
            met(cost, state, state.position, False, end, at_ms)
        for gesture in gestures:
            dearer, newer = pressed(gesture, cost, state, since_ms, at_ms)
            if newer.position == state.position or switches_away(board, gesture, newer.position, goal):
                continue
            for_later = cue.kind not in ("press", "hold") and (there or not cue.by_foot)
            if for_later and not state.position.heard == newer.position.heard == before.heard:
                continue
            heapq.heappush(queue, (dearer, next(count), newer, before))
    return None


FEET = (
    Foot(),
    Foot(hold_ms=1500.0),
    Foot(same_switch_ms=200.0, other_switch_ms=700.0, hold_ms=300.0, release_ms=50.0),
)
PLACES = [parse_action(text) for text in ("place 1", "place 2", "bank up")]
OTHERS = [
    parse_action(text) for text in ("bank down", "bank 3", "mute", "back", "place 1", "patch c", "patch e", "tap")
]


def three_banks(*switches: Switch) -> Board:
    """Three banks of two."""
    banks = tuple(Bank(str(k + 1), pair) for k, pair in enumerate((("a", "b"), ("c", "d"), ("e", "f"))))
    return Board(banks, switches, dict.fromkeys((None, *"abcdef"), frozenset[str]()), first_patch="a")


@st.composite
def banked_boards(draw: st.DrawFn) -> Board:
    """Reached by places and bank up, and by holds that may be quicker or slower than these."""
    holds = st.none() | st.sampled_from(OTHERS)
    switches = [Switch(name, press, hold=draw(holds)) for name, press in zip("ABU", PLACES, strict=True)]
    switches.append(Switch("X", draw(st.sampled_from(OTHERS)), hold=draw(holds)))
    return three_banks(*switches)


@st.composite
def hurried_cues(draw: st.DrawFn) -> list[Cue]:
    """Patches, and now and then a mute, an unmute, a press or a cue over MIDI, hard upon each other."""
    cues, at_s = [], 0.0
    for _ in range(draw(st.integers(2, 4))):
        at_s += draw(st.sampled_from([0.3, 0.5, 0.7, 0.9, 1.2, 1.6]))
        kind = draw(st.sampled_from(["patch", "patch", "patch", "mute", "press"]))
        name = draw(st.sampled_from({"patch": "abcdef", "mute": [""], "press": "ABUX"}[kind]))
        cues.append(Cue(at_s, kind, name, on=draw(st.booleans()), by_foot=draw(st.integers(0, 4)) > 0))
    return cues


def assert_least(board: Board, cues: Sequence[Cue], foot: Foot) -> None:
    """No way is late to fewer cues than the walk, and of those that are late to as many none has fewer presses."""
    least, found = least_in_time(board, cues, foot), walk(board, cues, foot)
    assert (least is None) == any(s.verdict == "out of reach" for s in found.steps)
    if least is not None:
        assert (len(found.impossible), found.presses) == least


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(st.data(), boards(), st.sampled_from(FEET))
def test_no_way_is_late_to_fewer_cues(data: st.DataObject, board: Board, foot: Foot) -> None:
    board = replace(board, switches=tuple(replace(s, second_press=None) for s in board.switches))
    assert_least(board, data.draw(cue_lists(board, most=3, apart_s=IN_A_HURRY)), foot)


@settings(max_examples=100, deadline=None, derandomize=True, database=None)
@example(  # the press acts when it is let go: from then on there is time for a bank
    three_banks(
        Switch("A", parse_action("place 1"), hold=parse_action("back")),
        Switch("B", parse_action("place 2")),
        Switch("U", parse_action("bank up")),
        Switch("X", parse_action("bank down")),
    ),
    [Cue(0.3, "press", "A"), Cue(1.2, "patch", "c")],
    Foot(),
)
@given(banked_boards(), hurried_cues(), st.sampled_from(FEET))
def test_presses_are_added_where_fewer_are_too_slow(board: Board, cues: list[Cue], foot: Foot) -> None:
    assert_least(board, cues, foot)
