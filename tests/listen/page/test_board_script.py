"""The page's board and foot go by the rules of chainsim/stage: whatever is pressed, both say the same."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chainsim.batch.listening.foot_plain import board_plain, foot_times_plain, heard_plain
from chainsim.resources import preset_paths
from chainsim.sketch.loading import load_sketch
from chainsim.stage.actions import Action
from chainsim.stage.board import Board, Position, Switch
from chainsim.stage.foot import Foot
from chainsim.stage.gesture import Gesture, Pace, do_gesture
from tests.listen.page.node import answer_of, needs_node
from tests.stage.boards import PARADE, boards

PROGRAM = """
import { Board, actionText, heardKey, positionText } from "./board.js";
import { Pace } from "./pace.js";

const walk = ({ plain, times, gestures }) => {
  const board = new Board(plain);
  const pace = new Pace(board, times);
  let position = board.start();
  const steps = gestures.map((gesture, i) => {
    const action = board.action(position, gesture);
    position = board.after(position, gesture);
    return {
      position,
      action: action === null ? null : actionText(action),
      lamps: [...board.lamps(position)],
      text: positionText(position),
      heard: heardKey(position),
      needsNs: i === 0 ? null : pace.betweenNs(gestures[i - 1], gesture),
    };
  });
  return { start: board.start(), steps };
};
answer(CASES.map(walk));
"""
Case = tuple[Board, Foot, list[Gesture]]


def plain_position(position: Position) -> dict[str, Any]:
    return {**asdict(position), "switched": [[name, on] for name, on in sorted(position.switched)]}


def by_page(cases: Sequence[Case]) -> list[dict[str, Any]]:
    """What the page's script makes of all of them, in one run."""
    given_cases = [
        {"plain": board_plain(board), "times": foot_times_plain(foot), "gestures": [asdict(g) for g in gestures]}
        for board, foot, gestures in cases
    ]
    answered: list[dict[str, Any]] = answer_of(f"const CASES = {json.dumps(given_cases)};\n{PROGRAM}")
    return answered


def compare(cases: Sequence[Case]) -> None:
    heard_keys: dict[str, str] = {}
    for (board, foot, gestures), found in zip(cases, by_page(cases), strict=True):
        position, pace = board.start(), Pace(board, foot)
        assert found["start"] == plain_position(position)
        for i, (gesture, step) in enumerate(zip(gestures, found["steps"], strict=True)):
            does = board.pressed(position, gesture.switch)
            action = does if gesture.kind == "press" else board.switch(gesture.switch).hold
            position = do_gesture(board, position, gesture)
            assert step["position"] == plain_position(position)
            assert step["action"] == (None if action is None else action.text)
            assert step["lamps"] == [[name, lit] for name, lit in board.lamps(position).items()]
            assert step["text"] == position.text
            assert step["needsNs"] == (pace.between_ns(gestures[i - 1], gesture) if i else None)
            heard = json.dumps(heard_plain(position))
            assert heard_keys.setdefault(step["heard"], heard) == heard
    assert len(set(heard_keys.values())) == len(heard_keys)


def random_gestures(board: Board, count: int, seed: int) -> list[Gesture]:
    generator = np.random.default_rng(seed)
    names = [s.name for s in board.switches]
    held = generator.random(count) < 1 / 3
    pressed = generator.choice(names, count)
    return [Gesture(str(name), "hold" if h else "press") for name, h in zip(pressed, held, strict=True)]


feet = st.builds(
    Foot,
    same_switch_ms=st.floats(20, 5000),
    other_switch_ms=st.floats(20, 5000),
    hold_ms=st.floats(50, 5000),
    release_ms=st.floats(10, 2000),
)
gesture_lists = st.lists(
    st.builds(Gesture, st.sampled_from("ABC"), st.sampled_from(["press", "hold"])), min_size=1, max_size=12
)


@needs_node
@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(st.lists(st.tuples(boards(), feet, gesture_lists), min_size=20, max_size=40))
def test_small_boards(cases: list[Case]) -> None:
    compare(cases)


@needs_node
def test_a_set_and_a_parade() -> None:
    harbour = load_sketch(preset_paths()["harbour_day"])
    odd = Foot(same_switch_ms=123.4567891, other_switch_ms=20.0000005, hold_ms=777.1, release_ms=10.0000015)
    compare(
        [
            (harbour.board, harbour.foot, random_gestures(harbour.board, 3000, 1)),
            (harbour.board, odd, random_gestures(harbour.board, 300, 2)),
            (PARADE, Foot(), random_gestures(PARADE, 1000, 3)),
        ]
    )


@needs_node
def test_blocks_stand_in_the_order_of_python() -> None:
    """By code points U+FF21 comes before U+1D49C; by halves of them, as JavaScript sorts, after it."""
    names = ["\U0001d49c", "\uff21", "ab", "a", "abc"]
    switches = tuple(Switch(f"S{i}", Action("block", name)) for i, name in enumerate(names))
    board = Board(switches=switches, engaged={None: frozenset()})
    compare([(board, Foot(), [Gesture(f"S{i}") for i in range(5)])])
