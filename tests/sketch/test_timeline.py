"""Which state holds when: cues of every kind, bars under changing tempi, taps, rooms; expected values by hand.

A quarter lasts 60 / bpm seconds: 0.5 s at 120, 1 s at 60, 2/3 s at 90.
"""

from __future__ import annotations

import itertools
import math

import pytest

from chainsim.errors import SketchError
from chainsim.sketch import course
from chainsim.sketch.chain import block_names
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch, State
from chainsim.sketch.timeline import muted_spans, timeline
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)

SET = """
chain = ["tone", "drive", "echo", "hall"]
[blocks.tone]
type = "gain"
[blocks.drive]
type = "gain"
[blocks.echo]
type = "test_echo"
switching = "free_standing"
engaged = false
[blocks.hall]
type = "test_hall"
switching = "always_on"
[patches.plain]
engage = []
[patches.rough]
engage = ["drive"]
[patches.slow]
engage = ["tone"]
tempo_bpm = 60
[patches.bare]
chain = ["hall"]
[[banks]]
name = "Quay"
patches = ["plain", "rough"]
[[banks]]
name = "Pier"
patches = ["slow", "bare"]
[[switches]]
name = "1"
press = "place 1"
[[switches]]
name = "2"
press = "place 2"
second_press = "back"
[[switches]]
name = "up"
press = "bank up"
[[switches]]
name = "drive"
press = "block drive"
[[switches]]
name = "echo"
press = "block echo"
[[switches]]
name = "mute"
press = "mute"
hold = "dry"
[[switches]]
name = "tap"
press = "tap"
"""


def cues(*lines: str) -> str:
    return "".join(f"[[cues]]\n{line}\n" for line in lines)


def heard(state: State) -> str:
    """The blocks that sound, in the order of the chain; "-" is silence."""
    return "-" if state.muted else " ".join(n for n in block_names(state.chain) if state.blocks[n].common.engaged)


def sounds(sketch: Sketch) -> list[tuple[float, str]]:
    return [(round(at_s, 9), heard(state)) for at_s, state in timeline(sketch)]


def tempi(sketch: Sketch) -> list[tuple[float, float]]:
    """From when on which tempo holds."""
    found = [(round(at_s, 9), round(state.tempo_bpm, 9)) for at_s, state in timeline(sketch)]
    return [found[0], *(now for before, now in itertools.pairwise(found) if now[1] != before[1])]


def of(*lines: str, head: str = "") -> Sketch:
    return parse_sketch(head + SET + cues(*lines))


AS_WRITTEN = "tone drive hall"


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


@pytest.mark.parametrize("bar_first", [True, False])
def test_bars_and_seconds_of_one_instant_too(bar_first: bool) -> None:
    """Bar 3 begins after 8 quarters: at 4 s."""
    by_bar, by_time = 'at_bar = "3"\npatch = "plain"', 'at_s = 4\non = "tone"'
    both = (by_bar, by_time) if bar_first else (by_time, by_bar)
    assert sounds(of(*both))[1:] == [(4.0, "tone hall" if bar_first else "hall")]


@pytest.mark.parametrize("bpm", [97, 133, 171])
def test_and_where_rounding_would_part_them(bpm: int) -> None:
    """Bar 2 at 60 * 4 / bpm s, which no decimal says exactly: to nine places they are one instant."""
    at_s = f"{240 / bpm:.12f}"
    sketch = of(f'at_s = {at_s}\npatch = "plain"', 'at_bar = "2"\npatch = "rough"', head=f"tempo_bpm = {bpm}\n")
    assert [c.text for c in sketch.cues] == ["patch rough"]
    assert len(sketch.warnings) == 1


def test_bars_after_changes_of_tempo() -> None:
    """3/4 from 0.5 s on. Bar 3 is 6 quarters at 120 later: 3.5 s. There the patch brings 60, a bar of 3 s: bar 5 at
    9.5 s, where 120 comes back with a patch that brings none: bar 6, beat 2.5, 4.5 quarters later, at 11.75 s.
    """
    sketch = of(
        'at_bar = "6:2.5"\nmute = true',  # in no order
        'at_bar = "5"\npatch = "rough"',
        'at_bar = "3:1"\npatch = "slow"',
        'at_s = 5\non = "drive"',
        'at_bar = "1"\npatch = "plain"',
        head='meter = "3/4"\nfirst_beat_s = 0.5\n',
    )
    assert [(round(c.at_s, 9), c.text, c.when) for c in sketch.cues] == [
        (0.5, "patch plain", "bar 1"),
        (3.5, "patch slow", "bar 3"),
        (5.0, "drive on", "5 s"),
        (9.5, "patch rough", "bar 5"),
        (11.75, "mute on", "bar 6:2.5"),
    ]
    assert tempi(sketch) == [(0.0, 120.0), (3.5, 60.0), (9.5, 120.0)]


def test_a_tempo_that_changes_between_two_bars() -> None:
    """60 from bar 2 (2 s) to 4.5 s: 2.5 quarters. The other 1.5 of that bar at 120: bar 3 at 5.25 s."""
    sketch = of('at_bar = "2"\npatch = "slow"', 'at_s = 4.5\npatch = "plain"', 'at_bar = "3"\npatch = "rough"')
    assert [c.at_s for c in sketch.cues] == pytest.approx([2.0, 4.5, 5.25], abs=1e-12)


def test_a_bar_before_the_tempo_changes_is_not_moved_by_it() -> None:
    sketch = of('at_bar = "2"\npatch = "rough"', 'at_s = 2.1\npatch = "slow"', 'at_bar = "2:2"\nmute = true')
    # 0.1 s after bar 2 are 0.2 quarters; the other 0.8 at 60 take 0.8 s
    assert [c.at_s for c in sketch.cues] == pytest.approx([2.0, 2.1, 2.9], abs=1e-12)


def test_a_tempo_before_the_first_beat_counts_no_bars() -> None:
    """60 from 1 s on; bar 1 at 2 s, bar 2 four seconds later."""
    sketch = of('at_s = 1\npatch = "slow"', 'at_bar = "2"\nmute = true', head="first_beat_s = 2\n")
    assert [c.at_s for c in sketch.cues] == [1.0, 6.0]


@pytest.mark.parametrize(
    ("meter", "place", "at_s"),
    # eighths of half a quarter; 7/8: bar 2 after 7 eighths; 2/2: beats of two quarters
    [("6/8", "2:4", 2.25), ("7/8", "2", 1.75), ("2/2", "1:2.5", 1.5), ("1/1", "3", 4.0), ("12/16", "2", 1.5)],
)
def test_bars_of_other_meters(meter: str, place: str, at_s: float) -> None:
    sketch = of(f'at_bar = "{place}"\nmute = true', head=f'meter = "{meter}"\n')
    assert sketch.cues[0].at_s == pytest.approx(at_s, abs=1e-12)


def test_taps_make_the_tempo_until_a_patch_brings_its_own() -> None:
    """Taps 2/3 s apart: 90 from the second on. `slow` brings 60; `plain`, which brings none, has the tapped one."""
    sketch = parse_sketch(
        SET
        + "[[taps]]\nat_s = [1, 1.666666666667, 2.333333333333]\n"
        + cues('at_s = 3\npatch = "slow"', 'at_s = 5\npatch = "plain"')
    )
    found = timeline(sketch)
    assert [at_s for at_s, _ in found][1:] == pytest.approx([5 / 3, 7 / 3, 3.0, 5.0], abs=1e-9)
    assert [s.tempo_bpm for _, s in found] == pytest.approx([120.0, 90.0, 90.0, 60.0, 90.0], abs=1e-6)


def test_taps_move_the_bars_that_follow() -> None:
    """4 quarters at 120 until the second tap at 2 s, then 60: bar 3 is 4 quarters on, at 6 s."""
    sketch = parse_sketch(SET + "[[taps]]\nat_s = [1, 2]\n" + cues('at_bar = "3"\nmute = true'))
    assert sketch.cues[0].at_s == 6.0


def test_a_tap_at_the_time_of_a_patch_comes_before_it() -> None:
    """Tapped 90 at 3 s, where `slow` brings 60; `plain` has what was tapped."""
    text = SET + "[[taps]]\nat_s = [2.3333333333, 3]\n" + cues('at_s = 3\npatch = "slow"', 'at_s = 4\npatch = "plain"')
    assert [s.tempo_bpm for _, s in timeline(parse_sketch(text))] == pytest.approx([120, 60, 90], abs=1e-6)


def test_a_switch_taps() -> None:
    """60 from the second tap on."""
    sketch = of(*(f'at_s = {t}\npress = "tap"' for t in (1, 2, 3)))
    assert tempi(sketch) == [(0.0, 120.0), (2.0, 60.0)]


def test_more_than_three_seconds_later_another_row_of_taps_begins() -> None:
    """60 from 2 s on; the tap at 5.5 s begins anew, and makes 120 with the one at 6 s."""
    sketch = of(*(f'at_s = {t}\npress = "tap"' for t in (1, 2, 5.5, 6)))
    assert tempi(sketch) == [(0.0, 120.0), (2.0, 60.0), (6.0, 120.0)]


def test_taps_of_a_switch_and_taps_of_a_list_make_one_tempo() -> None:
    """Two close taps (500 bpm) say nothing yet; the others make 120."""
    times = (1.0, 1.12, 1.62, 2.12, 2.62)
    by_list = parse_sketch(f"{SET}[[taps]]\nat_s = {list(times)}\n")
    by_switch = of(*(f'at_s = {t}\npress = "tap"' for t in times))
    assert tempi(by_switch) == tempi(by_list)
    assert tempi(by_switch)[-1][1] == 120.0


@pytest.mark.parametrize(
    ("times", "line"),
    [
        ((1.0, 1.05), "cues: taps[0] = 1 s and taps[1] = 1.05 s are 50 ms apart, allowed 100 ... 3000 ms"),
        ((1.0, 1.12), "cues: taps: their tempo = 500 bpm, allowed 20 ... 400 bpm"),
        ((1.0, 1.12, 9.0, 9.5), "cues: taps: their tempo = 500 bpm"),
    ],
)
def test_a_switch_that_is_tapped_too_fast_is_told(times: tuple[float, ...], line: str) -> None:
    with pytest.raises(SketchError) as caught:
        of(*(f'at_s = {t}\npress = "tap"' for t in times))
    assert len(caught.value.faults) == 1
    assert line in caught.value.faults[0]


def test_one_may_tap_through_a_whole_tune() -> None:
    """More than the 256 taps of which one row may be."""
    sketch = of(*(f'at_s = {0.6 * k:.1f}\npress = "tap"' for k in range(258)))
    assert timeline(sketch)[-1][1].tempo_bpm == pytest.approx(100.0, abs=1e-9)


def test_the_oldest_taps_are_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 20 beats at 100 and 20 at 150 the last 16 tell."""
    monkeypatch.setattr(course, "MOST_TAPS", 16)
    times = [0.6 * k for k in range(20)] + [12.0 + 0.4 * k for k in range(20)]
    sketch = of(*(f'at_s = {t:.1f}\npress = "tap"' for t in times))
    assert timeline(sketch)[-1][1].tempo_bpm == pytest.approx(150.0, abs=1e-9)


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
