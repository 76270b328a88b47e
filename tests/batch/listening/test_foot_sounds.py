"""The sounds under the foot on a page: which there are, that each is its state, and what is told of the rest."""

from __future__ import annotations

import itertools
import json
from dataclasses import asdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.batch.listening import foot_sounds
from chainsim.batch.listening.excerpt import Excerpt
from chainsim.batch.listening.foot_sounds import MOST_FOOT_SOUNDS, FootAtKeys, foot_of
from chainsim.batch.listening.foot_states import reached
from chainsim.graph.rendering import render
from chainsim.sketch.loading import parse_sketch
from chainsim.stage.board import Board, Position
from chainsim.stage.gesture import Gesture, do_gesture
from chainsim.units import Array
from tests.stage.boards import board_of, boards

RATE_HZ = 8000

PARADE = """
title = "Quay parade"
chain = ["house", "trim", "echo"]
tempo_bpm = 120
meter = "3/4"
first_beat_s = 0.5

[blocks.house]
type = "gain"
switching = "always_on"
gain_db = -6

[blocks.trim]
type = "gain"
engaged = false
gain_db = -12

[blocks.echo]
type = "delay"
engaged = false
time_ms = 100
feedback_percent = 0

[patches.plain]
engage = []
tempo_bpm = 60

[patches.soft]
engage = ["trim"]

[patches.again]
engage = ["trim"]

[[banks]]
patches = ["plain", "soft", "again"]

[[switches]]
name = "A"
press = "place 1"
hold = "dry"

[[switches]]
name = "B"
press = "patch soft"
second_press = "patch again"
hold = "mute"

[[switches]]
name = "E"
press = "block echo"

[[cues]]
at_bar = "2"
patch = "soft"

[[cues]]
at_s = 4.0
press = "A"

[[cues]]
at_s = 5.0
hold = "B"
"""

TAKE = np.random.default_rng(8).uniform(-0.5, 0.5, (RATE_HZ // 2, 1))


def foot_at(text: str = PARADE, take: Array = TAKE, excerpt: Excerpt | None = None) -> FootAtKeys:
    found = foot_of(parse_sketch(text), take, RATE_HZ, excerpt=excerpt)
    assert found is not None
    return found


def sound(foot: FootAtKeys, what: str) -> Array:
    """What is heard at the position that `what` is the text of; kept as 32-bit floats, good to 6e-8."""
    key = {position.text: key for position, key in foot.keys}[what]
    return np.asarray({r.key: r.audio for r in foot.raw}[key], np.float64)


def rendered(text: str, cues: str) -> Array:
    """What a set with these cues gives, all due before the first sample."""
    set_text = text[: text.index("[[cues]]")] + cues
    return render(parse_sketch(set_text), TAKE, RATE_HZ).audio


def test_each_sound_is_its_state() -> None:
    """Closed forms: gains of -6 and -12 dB; where the echo is on, a set that stands there from its beginning."""
    foot = foot_at()
    house, trim = 10 ** (-6 / 20), 10 ** (-12 / 20)
    for what, gain in {"plain": house, "soft": trim * house, "dry": house}.items():
        np.testing.assert_allclose(sound(foot, what)[: len(TAKE)], gain * TAKE, atol=6e-8, err_msg=what)
    cues = '[[cues]]\nat_s = 0\npatch = "soft"\n[[cues]]\nat_s = 0\non = "echo"\n'
    made = sound(foot, "soft with echo on")
    np.testing.assert_allclose(made, rendered(PARADE, cues)[: len(made)], atol=6e-8)
    assert len(made) > len(TAKE) + RATE_HZ // 10
    assert {r.role for r in foot.raw} == {"part"}
    assert {r.scene for r in foot.raw} == {"take"}


def test_what_sounds_alike_is_there_once() -> None:
    """As written, plain and dry are the house gain alone; soft and again have the trim; each but dry with the echo."""
    foot = foot_at()
    keys = {position.text: key for position, key in foot.keys}
    assert keys["the sketch as written"] == keys["plain"]
    assert keys["soft"] == keys["again"]
    assert len(keys) == 9
    assert {keys[t] for t in ("plain", "soft", "plain with echo on", "soft with echo on")} <= {r.key for r in foot.raw}
    assert (foot.left_out, foot.all_found) == ((), True)


def test_a_sketch_without_switches_has_no_board() -> None:
    assert foot_of(parse_sketch('chain = ["gain"]'), TAKE, RATE_HZ) is None


def test_plain_values_are_json_and_say_what_is_due() -> None:
    """Bar 1 at 0.5 s, three quarters at 120: bar 2 at 2 s; A acts when let go after 120 ms, the hold after 600 ms."""
    foot = foot_at()
    plain = json.loads(json.dumps(foot.plain()))
    assert [(c["actsS"], c["when"], c["text"]) for c in plain["cues"]] == [
        (2.0, "bar 2", "patch soft"),
        (pytest.approx(4.12), "4 s", "press A"),
        (pytest.approx(5.6), "5 s", "hold B"),
    ]
    assert plain["cues"][1]["asks"] == {"kind": "press", "name": "A", "on": True}
    assert plain["bars"] == {
        "beats": 3,
        "quartersPerBeat": 1.0,
        "firstBeatS": 0.5,
        "startsS": 0.0,
        "startQuarters": 0.0,
        "writtenBpm": 120.0,
        "patchBpm": [["plain", 60.0]],
        "tapped": False,
    }
    assert plain["board"]["start"] == {**asdict(foot.sketch.board.start()), "switched": []}
    assert (plain["startsS"], plain["endsS"], plain["cuesBefore"], plain["cuesAfter"]) == (0.0, None, [], [])
    assert not any(s["muted"] for s in plain["sounds"])


def test_in_a_part_the_board_stands_where_the_cues_before_have_brought_it() -> None:
    """Three quarters at 120 to bar 2 at 2 s, then one a second under the patch "plain": four at 3 s."""
    sketch = parse_sketch(PARADE.replace('at_bar = "2"\npatch = "soft"', 'at_bar = "2"\npatch = "plain"'))
    foot = FootAtKeys(sketch, (), (), excerpt=Excerpt(3.0, 5.0))
    plain = json.loads(json.dumps(foot.plain()))
    assert plain["board"]["start"] == {
        "patch": "plain",
        "bank": 0,
        "switched": [],
        "dry": False,
        "muted": False,
        "before": None,
    }
    assert (plain["bars"]["startsS"], plain["bars"]["startQuarters"]) == (3.0, pytest.approx(4.0))
    assert [c["text"] for c in plain["cues"]] == ["press A"]
    assert plain["cuesBefore"] == [{"atS": 2.0, "column": "patch", "cell": "plain"}]
    assert plain["cuesAfter"] == [{"atS": 5.0, "column": "hold", "cell": "B"}]
    assert foot.notes[1] == "The set's own cues before this part have brought the board to plain."


def test_a_part_begins_with_the_sounds_that_are_near() -> None:
    """Seven switches of a block each, the last two on by cues: what is on the page first is one press from there."""
    cues = "".join(f'\n[[cues]]\nat_s = 0.001\non = "{block}"\n' for block in ("g5", "g6"))
    foot = foot_at(MANY + cues, TAKE, excerpt=Excerpt(0.1, 0.3))
    first = foot.keys[0][0].switched
    assert first == {("g5", True), ("g6", True)}
    assert all(len(position.switched ^ first) == 1 for position, _ in foot.keys[1:8])


def test_a_part_under_a_mute_has_the_sounds_behind_it() -> None:
    foot = foot_at(PARADE + "\n[[cues]]\nat_s = 0.1\nmute = true\n", excerpt=Excerpt(0.2, 0.4))
    assert foot.plain()["board"]["start"]["muted"]
    assert len(foot.keys) == 9
    assert not any(position.muted for position, _ in foot.keys)


def test_a_tap_before_a_part_leaves_its_bars_uncounted() -> None:
    taps = "".join(f'\n[[cues]]\nat_s = {at}\npress = "T"\n' for at in (0.2, 0.7))
    sketch = parse_sketch(PARADE.replace("[[cues]]", '[[switches]]\nname = "T"\npress = "tap"\n[[cues]]', 1) + taps)
    tapped = [
        FootAtKeys(sketch, (), (), excerpt=Excerpt(at, 3.0)).plain()["bars"]["tapped"] for at in (0.1, 0.2, 0.3, 2.0)
    ]
    assert tapped == [False, False, True, True]


SEVEN = "".join(f'\n[blocks.g{i}]\ntype = "gain"\nengaged = false\ngain_db = -{i + 1}\n' for i in range(7))
SWITCHES = "".join(f'\n[[switches]]\nname = "S{i}"\npress = "block g{i}"\n' for i in range(7))
MANY = f"chain = {json.dumps([f'g{i}' for i in range(7)])}\n{SEVEN}{SWITCHES}"


def test_of_too_many_the_fewest_presses_are_there_and_the_rest_is_told() -> None:
    """Seven switches of a block each: 128 sounds; 1 + 7 + 21 of them take two presses at the most."""
    foot = foot_at(MANY, TAKE[:100])
    assert len(foot.raw) == MOST_FOOT_SOUNDS
    there = {position.switched for position, _ in foot.keys}
    for count in range(3):
        for blocks in itertools.combinations(range(7), count):
            assert frozenset((f"g{i}", True) for i in blocks) in there
    assert "40 or more sounds that are not on this page" in foot.notes[1]
    assert not foot.all_found


def test_a_long_take_has_room_for_fewer(monkeypatch: pytest.MonkeyPatch) -> None:
    """100 frames and 2 s after them: 20 s hold nine."""
    monkeypatch.setattr(foot_sounds, "MOST_FOOT_S", 20.0)
    foot = foot_at(MANY, TAKE[:100])
    assert len(foot.raw) == 9
    assert all("g" in text for text in foot.left_out)


def test_what_rings_on_fades_out_two_seconds_after_the_take() -> None:
    text = PARADE.replace("time_ms = 100", "time_ms = 2200")
    made = sound(foot_at(text, TAKE), "plain with echo on")
    assert len(made) == len(TAKE) + 2 * RATE_HZ
    # The fade runs evenly from 1 at 1.5 s to 0 at 2.5 s.
    whole = rendered(text, '[[cues]]\nat_s = 0\npatch = "plain"\n[[cues]]\nat_s = 0\non = "echo"\n')
    begin = round(1.5 * RATE_HZ)
    np.testing.assert_allclose(made[:begin], whole[:begin], atol=6e-8)
    np.testing.assert_allclose(made[begin:], whole[begin : len(made)] * np.linspace(1, 0, RATE_HZ)[:, None], atol=1e-7)
    assert np.abs(made[round(2.2 * RATE_HZ) :]).max() > 0.01


def test_a_part_of_the_take_sounds_as_it_does_in_the_whole() -> None:
    """The echo of what came 100 ms before the part is in it; 10 ms at both ends are faded."""
    cues = '[[cues]]\nat_s = 0\npatch = "soft"\n[[cues]]\nat_s = 0\non = "echo"\n'
    made = sound(foot_at(excerpt=Excerpt(0.3, 0.45)), "soft with echo on")
    assert len(made) == round(0.15 * RATE_HZ)
    whole = rendered(PARADE, cues)[round(0.3 * RATE_HZ) : round(0.45 * RATE_HZ)]
    fade = round(0.01 * RATE_HZ)
    np.testing.assert_allclose(made[fade:-fade], whole[fade:-fade], atol=6e-8)


def test_latency_is_cut_away() -> None:
    """A device that comes 20 ms late: as early as the dry take."""
    text = PARADE.replace("gain_db = -12", "gain_db = -12\nlatency_ms = 20")
    expected = 10 ** (-18 / 20) * TAKE
    np.testing.assert_allclose(sound(foot_at(text), "soft")[: len(TAKE)], expected, atol=6e-8)


@settings(max_examples=60, deadline=None)
@given(boards(), st.lists(st.tuples(st.sampled_from("ABC"), st.booleans()), max_size=12))
def test_wherever_a_foot_gets_there_is_a_sound(board: Board, presses: list[tuple[str, bool]]) -> None:
    positions, all_found = reached(board, 200)
    there = {p.heard for p in positions}
    position = board.start()
    for name, held in presses:
        position = do_gesture(board, position, Gesture(name, "hold" if held else "press"))
        assert position.muted or position.heard in there
    assert all_found


def test_fewest_presses_come_first() -> None:
    """From p: q and r take one press, the start none."""
    board = board_of(("Q", "patch q"), ("R", "patch r"), banks=(("p", "q", "r"),), first="p")
    assert [p.patch for p in reached(board, 9)[0]] == ["p", "q", "r"]
    some, all_found = reached(board, 2)
    assert [p.patch for p in some] == ["p", "q"]
    assert not all_found


def test_silence_is_no_sound() -> None:
    assert Position(muted=True).heard not in {p.heard for p, _ in foot_at().keys}
