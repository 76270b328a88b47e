"""Which state holds when: cues of every kind, dry, mutes, rooms; expected values by hand."""

from __future__ import annotations

import math

import pytest

from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.timeline import muted_spans, timeline
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)
from tests.sketch.timelines import AS_WRITTEN, SET, cues, heard, of, sounds, tempi


def test_without_a_cue_the_sketch_holds_as_written() -> None:
    assert sounds(of()) == [(0.0, AS_WRITTEN)]


def test_cues_of_every_kind() -> None:
    """Hold acts 0.6 s after it begins, and a press of a switch with a hold when it is let go, 0.12 s later."""
    sketch = of(
        'at_s = 1\npatch = "rough"',
        'at_s = 2\non = "tone"',
        'at_s = 3\noff = "drive"',
        'at_s = 4\npress = "drive"',
        'at_s = 5\nhold = "mute"',
        'at_s = 6\ndry = false',
        'at_s = 7\nmute = true',
        'at_s = 8\npress = "mute"',
        'at_s = 9\npatch = "rough"',
    )  # fmt: skip
    assert sounds(sketch) == [
        (0.0, AS_WRITTEN),
        (1.0, "drive hall"),
        (2.0, "tone drive hall"),
        (3.0, "tone hall"),
        (4.0, "tone drive hall"),
        (5.6, "hall"),
        (6.0, "tone drive hall"),
        (7.0, "-"),
        (8.12, "tone drive hall"),
        (9.0, "drive hall"),  # the patch as it is written, again
    ]


def test_places_banks_and_back() -> None:
    sketch = of(
        'at_s = 1\npress = "2"',  # rough, of the bank Quay
        'at_s = 2\npress = "2"',  # it is in force: back, to the sketch as written? no patch was chosen before
        'at_s = 3\npress = "1"',  # plain
        'at_s = 4\npress = "2"',  # rough
        'at_s = 5\npress = "2"',  # back to plain
        'at_s = 6\npress = "up"',  # Pier: nothing is heard of it
        'at_s = 7\npress = "1"',  # slow
        'at_s = 8\npress = "up"',  # Quay, round the corner
        'at_s = 9\npress = "2"',  # rough
    )
    assert sounds(sketch) == [
        (0.0, AS_WRITTEN),
        (1.0, "drive hall"),
        (3.0, "hall"),
        (4.0, "drive hall"),
        (5.0, "hall"),
        (7.0, "tone hall"),
        (9.0, "drive hall"),
    ]


def test_cues_at_one_instant_act_in_the_order_in_which_they_are_written() -> None:
    """A patch puts back blocks that were switched before it, and not those switched after it."""
    assert sounds(of('at_s = 1\npatch = "plain"', 'at_s = 1\non = "tone"'))[1:] == [(1.0, "tone hall")]
    assert sounds(of('at_s = 1\non = "tone"', 'at_s = 1\npatch = "plain"'))[1:] == [(1.0, "hall")]


def test_dry_leaves_what_is_always_on() -> None:
    sketch = of('at_s = 1\non = "echo"', "at_s = 2\ndry = true", 'at_s = 3\npatch = "rough"')
    # choosing a patch ends it; what stands free stays as it was
    assert sounds(sketch) == [(0.0, AS_WRITTEN), (1.0, "tone drive echo hall"), (2.0, "hall"), (3.0, "drive echo hall")]


def test_dry_while_muted_is_heard_when_the_mute_ends() -> None:
    sketch = of("at_s = 1\nmute = true", "at_s = 2\ndry = true", "at_s = 3\nmute = false", "at_s = 4\ndry = false")
    assert [s for s in sounds(sketch) if s[1] != "-"] == [(0.0, AS_WRITTEN), (3.0, "hall"), (4.0, AS_WRITTEN)]
    assert muted_spans(sketch)[0][0] == 1.0
    assert muted_spans(sketch)[-1][1] == 3.0


def test_a_patch_chosen_while_muted_stays_silent() -> None:
    sketch = of("at_s = 0\nmute = true", 'at_s = 1\npatch = "rough"', "at_s = 2\nmute = false")
    assert sounds(sketch) == [(0.0, "-"), (1.0, "-"), (2.0, "drive hall")]
    assert muted_spans(sketch) == [(0.0, 1.0), (1.0, 2.0)]


def test_a_mute_may_last_to_the_end() -> None:
    assert muted_spans(of("at_s = 3\nmute = true")) == [(3.0, math.inf)]


def test_muted_and_heard_again_at_one_time_is_not_muted() -> None:
    sketch = of("at_s = 1\nmute = true", "at_s = 1\nmute = false")
    assert muted_spans(sketch) == []
    assert sketch.warnings == ("cues: mute on and mute off, both at 1 s: the last one counts",)


def test_a_free_standing_block_keeps_its_state_where_it_is_not_in_the_chain() -> None:
    """The chain of `bare` has no echo: it is heard before and after."""
    sketch = of('at_s = 1\non = "echo"', 'at_s = 2\npatch = "bare"', 'at_s = 3\npatch = "rough"')
    assert [s for _, s in sounds(sketch)] == [AS_WRITTEN, "tone drive echo hall", "hall", "drive echo hall"]
    switched_there = of('at_s = 2\npatch = "bare"', 'at_s = 2.5\npress = "echo"', 'at_s = 3\npatch = "rough"')
    assert sounds(switched_there)[-1] == (3.0, "drive echo hall")


IN_LANES = """
chain = [{ lanes = ["dry", ["wah", "hall"], { chain = ["reed"], pan = 1 }] },
         { blender = "mix", wet = ["side"] }, "gate"]
[blocks.wah]
type = "gain"
[blocks.hall]
type = "test_hall"
switching = "always_on"
[blocks.reed]
type = "gain"
[blocks.mix]
type = "blender"
switching = "always_on"
[blocks.side]
type = "gain"
[blocks.gate]
type = "test_gate"
switching = "always_on"
listens_to = "wah"
[patches.turned]
chain = ["gate", { blender = "mix", wet = ["hall"] }]
[patches.turned.blocks.gate]
listens_to = "input"
"""


def test_dry_in_lanes() -> None:
    """A lane of which nothing is left goes, and so does a blender with nothing wet; the gate hears the take instead of
    a block that is gone, or it would stay shut.
    """
    sketch = parse_sketch(IN_LANES + cues("at_s = 1\ndry = true", 'at_s = 2\npatch = "turned"', "at_s = 3\ndry = true"))
    written, dry, turned = (state for _, state in timeline(sketch))  # all of `turned` is always on: dry changes nothing
    assert heard(written) == "wah hall reed side mix gate"
    assert heard(dry) == "hall gate"
    assert len(dry.chain[0].lanes) == 2  # type: ignore[union-attr]
    assert written.blocks["gate"].common.listens_to == "wah"
    assert dry.blocks["gate"].common.listens_to == "input"
    assert heard(turned) == "gate hall mix"


def test_a_room_is_over_every_patch() -> None:
    text = (
        SET + "[rooms.yard]\nfeed = 'mono'\n[rooms.yard.blocks.tone]\ngain_db = -9\n" + cues('at_s = 1\npatch = "slow"')
    )
    sketch = parse_sketch(text).in_room("yard")
    assert (sketch.room, sketch.header.feed) == ("yard", "mono")
    gains = [state.blocks["tone"].settings.model_dump()["gain_db"] for _, state in timeline(sketch)]
    assert gains == [-9.0, -9.0]
    assert tempi(sketch) == [(0.0, 120.0), (1.0, 60.0)]


ROOM = "[rooms.yard.blocks.drive]\nengaged = false\n[rooms.yard.blocks.hall]\nengaged = false\n"


@pytest.mark.parametrize(
    ("lines", "house", "yard"),
    [
        ((), [AS_WRITTEN], ["tone"]),
        (('at_s = 1\npatch = "rough"',), [AS_WRITTEN, "drive hall"], ["tone", ""]),
        # a press that takes the drive out in the house does not bring it in where it is left out, nor does a cue
        (('at_s = 1\npress = "drive"',), [AS_WRITTEN, "tone hall"], ["tone"]),
        (('at_s = 1\npatch = "plain"', 'at_s = 2\non = "drive"'), [AS_WRITTEN, "hall", "drive hall"], ["tone", ""]),
        (("at_s = 1\ndry = true",), [AS_WRITTEN, "hall"], ["tone", ""]),
        (('at_s = 1\npress = "echo"',), [AS_WRITTEN, "tone drive echo hall"], ["tone", "tone echo"]),
    ],
)
def test_what_a_room_leaves_out_is_not_there_whatever_is_pressed(
    lines: tuple[str, ...], house: list[str], yard: list[str]
) -> None:
    sketch = parse_sketch(SET + ROOM + cues(*lines))
    assert [s for _, s in sounds(sketch)] == house
    assert [s for _, s in sounds(sketch.in_room("yard"))] == yard


def test_the_board_is_the_same_in_every_room() -> None:
    sketch = parse_sketch(SET + ROOM)
    assert sketch.in_room("yard").board == sketch.board


def test_a_room_that_leaves_out_a_blender_leaves_its_wet_chain_out() -> None:
    text = IN_LANES + "[rooms.yard.blocks.mix]\nengaged = false\n"
    sketch = parse_sketch(text).in_room("yard")
    assert "mix" not in heard(timeline(sketch)[0][1]).split()


def test_one_patch_alone_has_neither_cues_nor_taps() -> None:
    sketch = parse_sketch(SET + "[[taps]]\nat_s = [1, 2]\n" + cues('at_s = 1\npatch = "rough"')).alone("slow")
    assert sounds(sketch) == [(0.0, "tone hall")]
    assert tempi(sketch) == [(0.0, 60.0)]


def test_what_comes_after_the_take_is_told() -> None:
    sketch = of('at_s = 1\npatch = "rough"', 'at_bar = "3"\nmute = true')  # 4 s
    assert sketch.late_cues(4.1) == []
    assert sketch.late_cues(4.0) == ['the cue "mute on" at 4 s comes after the take, which lasts 4.0 s']


def test_cues_at_one_time_that_undo_each_other_are_told() -> None:
    """A block and then a patch, which puts it back; a patch and then a block is what one means by it."""
    text = 'chain = ["gain"]\n[patches.p]\n[patches.q]\n[[switches]]\nname = "A"\npress = "patch q"\n'
    one, two = '[[cues]]\nat_s = 1\noff = "gain"\n', '[[cues]]\nat_s = 1\npatch = "p"\n'
    press = '[[cues]]\nat_bar = "1:3"\npress = "A"\n'  # at 120 a second in
    told = "both at 1 s: done in this order, the last one counts"
    assert parse_sketch(text + one + two).warnings == (f"cues: gain off and patch p, {told}",)
    assert parse_sketch(text + two + one).warnings == ()
    assert "cues: patch p and press A, both at bar 1:3" in parse_sketch(text + two + press).warnings[0]


def test_a_cue_that_counts_for_nothing_moves_no_bar() -> None:
    """Bars of 4 quarters: two presses of A at 1 s are one, which brings 60; so bar 3 is at 1 + (8 - 2) = 7 s."""
    text = (
        'chain = ["gain"]\n[patches.a]\ntempo_bpm = 60\n[patches.b]\ntempo_bpm = 240\n'
        '[[switches]]\nname = "A"\npress = "patch a"\nsecond_press = "patch b"\n'
    )
    press = '[[cues]]\nat_s = 1\npress = "A"\n'
    sketch = parse_sketch(text + 2 * press + '[[cues]]\nat_bar = "3"\nmute = true\n')
    assert [cue.at_s for cue in sketch.cues] == [1.0, 7.0]
    assert len(sketch.warnings) == 1
