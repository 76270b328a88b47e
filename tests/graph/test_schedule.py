"""Ramps and waking hours at absolute samples."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import pytest

from chainsim.graph.activity import Activity
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import parse_sketch
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)


def test_an_activity_is_a_line_that_can_turn_back() -> None:
    activity = Activity(before=0.0)
    activity.move(100, 10, 1.0)
    assert [activity.at(n) for n in (99, 100, 105, 110, 200)] == [0.0, 0.0, 0.5, 1.0, 1.0]
    activity.move(105, 10, 0.0)
    assert [activity.at(n) for n in (104, 105, 110, 115, 900)] == [0.4, 0.5, 0.25, 0.0, 0.0]
    assert activity.last == 0.0
    assert activity.end_of_motion() == 115
    activity.move(300, 0, 1.0)
    assert [activity.at(n) for n in (299, 300)] == [0.0, 1.0]


SWAP = """
chain = ["a", "b"]
[blocks.a]
type = "gain"
gain_db = {a}
[blocks.b]
type = "gain"
gain_db = {b}
[patches.one]
engage = ["a"]
[patches.other]
engage = ["b"]
[[cues]]
at_s = 0.05
patch = "one"
[[cues]]
at_s = 0.1
patch = "other"
"""


@pytest.mark.parametrize("rate_hz", [8_000.0, 48_000.0])
def test_a_swap_of_blocks_on_a_steady_sound_has_no_step(rate_hz: float) -> None:
    """At DC 1 each gain gives its own level; on the way the sum stays between them, no step over ramp slope."""
    x = np.ones((1, round(0.2 * rate_hz)))
    y = render_graph(build_graph(parse_sketch(SWAP.format(a=-6, b=-12)), rate_hz), x)["out"][0]
    one, other = 10 ** (-6 / 20), 10 ** (-12 / 20)
    assert y[0] == pytest.approx(one * other, rel=1e-12)
    assert y[round(0.095 * rate_hz)] == one
    assert y[-1] == other
    assert np.abs(np.diff(y)).max() <= 1.0 / (0.010 * rate_hz) + 1e-12


def test_leaving_both_of_two_ringing_blocks_keeps_both_tails() -> None:
    text = """
chain = ["echo", "hall"]
[blocks.echo]
type = "test_echo"
feedback = 0.01
[blocks.hall]
type = "test_hall"
decay = 0.05
[patches.bare]
engage = []
[[cues]]
at_s = 0.1
patch = "bare"
"""
    x = np.zeros((1, 4_000))
    x[0, 790] = 1.0  # just before the cue at 800: the echo comes 160 samples later, its hall 701 after that
    whole = render_graph(build_graph(parse_sketch(text), 8_000.0), x)["out"]
    plain = render_graph(build_graph(parse_sketch(text.split("[patches")[0]), 8_000.0), x)["out"]
    frames = min(whole.shape[1], plain.shape[1])
    assert plain[0, 790 + 160 + 701] != 0.0
    assert np.abs(whole[:, :frames] - plain[:, :frames]).max() < 1e-9


def test_entered_again_while_it_rings_it_goes_on_ringing() -> None:
    text = """
chain = ["hall"]
[blocks.hall]
type = "test_hall"
decay = 0.9
[patches.bare]
engage = []
[patches.full]
[[cues]]
at_s = 0.1
patch = "bare"
[[cues]]
at_s = 0.2
patch = "full"
"""
    x = np.zeros((1, 8_000))
    x[0, 700] = 1.0
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), x)["out"]
    plain = render_graph(build_graph(parse_sketch(text.split("[patches")[0]), 8_000.0), x)["out"]
    assert np.array_equal(y[:, :8_000], plain[:, :8_000])


def test_a_block_with_latency_is_filled_when_it_is_entered() -> None:
    """480 samples of latency at a gain of a half: between the steady levels 1 and 0.5 nothing else is heard."""
    text = """
chain = ["frames"]
[blocks.frames]
type = "test_frames"
[patches.bare]
engage = []
[patches.full]
[[cues]]
at_s = 0.1
patch = "bare"
[[cues]]
at_s = 0.5
patch = "full"
"""
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), np.ones((1, 8_000)))["out"][0]
    assert y[3_999] == 1.0
    assert np.array_equal(y[4_080:8_000], np.full(3_920, 0.5))
    assert (np.diff(y[3_999:4_081]) <= 0.0).all()


@pytest.mark.parametrize("count", [1, 2, 4, 8])
def test_engaging_and_leaving_many_blocks_at_once_leaves_the_level(count: int) -> None:
    names = [f"g{i}" for i in range(count)]
    text = f"""
chain = [{", ".join(f'"{n}"' for n in names)}]
{"".join(f'[blocks.{n}]{chr(10)}type = "gain"{chr(10)}' for n in names)}
[patches.bare]
engage = []
[patches.full]
[[cues]]
at_s = 0.1
patch = "bare"
[[cues]]
at_s = 0.3
patch = "full"
"""
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), np.ones((1, 4_000)))["out"][0]
    assert np.abs(y - 1.0).max() < 1e-12


def test_extra_latency_follows_its_block_through_cues() -> None:
    """A gain of 1 with 50 ms of latency: a ramp after the cue the sound is as it is, or 50 ms late; never silent."""
    text = """
chain = ["g"]
[blocks.g]
type = "gain"
latency_ms = 50
[patches.bare]
engage = []
[patches.full]
[[cues]]
at_s = 0.2
patch = "bare"
[[cues]]
at_s = 0.6
patch = "full"
"""
    x = 0.1 + np.random.default_rng(1).random((1, 8_000))
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), x)["out"][0]
    assert np.array_equal(y[1_680:4_800], x[0, 1_680:4_800])
    assert np.array_equal(y[4_880:8_000], x[0, 4_480:7_600])
    assert y[1_600:4_880].min() > 0.09


@pytest.mark.parametrize("align", ["false", "true"])
def test_a_tail_rings_on_from_an_aligned_fork(align: str) -> None:
    text = f"""
chain = [{{ lanes = ["echo", "frames"], align = {align} }}]
[blocks.echo]
type = "test_echo"
time_ms = 50
feedback = 0.5
[blocks.frames]
type = "test_frames"
[patches.bare]
engage = []
chain = []
[[cues]]
at_s = 0.1
patch = "bare"
"""
    x = np.zeros((1, 4_000))
    x[0, 600] = 1.0
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), x)["out"][0]
    late = 480 if align == "true" else 0
    assert y[600 + late + 400] == pytest.approx(1.0, abs=1e-12)
    assert y[600 + late + 1_200] == pytest.approx(0.25, abs=1e-12)


def test_a_patch_may_cut_a_tail_that_rings_elsewhere() -> None:
    text = """
chain = ["hall"]
[blocks.hall]
type = "test_hall"
decay = 0.5
[patches.dry]
engage = []
[patches.short.blocks.hall]
tails = "cut"
[[cues]]
at_s = {short}
patch = "short"
[[cues]]
at_s = 0.2
patch = "dry"
"""
    x = np.zeros((1, 4_000))
    x[0, 1_500] = 1.0
    for short, rings in ((0.05, False), (1.0, True)):
        y = render_graph(build_graph(parse_sketch(text.format(short=short)), 8_000.0), x)["out"]
        assert y[:, 1_700:4_000].any() == rings


def test_a_controller_hears_on_while_what_it_drives_is_away() -> None:
    text = """
chain = ["g"]
[blocks.g]
type = "gain"
[controllers.loud]
type = "envelope"
attack_ms = 100
drives = [{ setting = "g.gain_db", low = "off", high = 0 }]
[patches.bare]
engage = []
[patches.full]
[[cues]]
at_s = 0.5
patch = "bare"
[[cues]]
at_s = 1.0
patch = "full"
"""
    x = np.full((1, 16_000), 0.1)
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), x)["out"][0]
    always = render_graph(build_graph(parse_sketch(text.split("[patches")[0]), 8_000.0), x)["out"][0]
    assert np.abs(y[8_100:16_000] - always[8_100:16_000]).max() < 1e-6


def test_twelve_patches_and_forty_cues_run_what_is_heard_and_its_tails() -> None:
    """Each patch has blocks of its own, a plain one and one that rings.

    The plain one runs while it is engaged, its ramp of 10 ms and the 250 ms before in which it listens; the one that
    rings, while it is engaged, its ramp, and twice its reported tail (90 dB each).
    """
    rate_hz, patches, every_s = 8_000.0, 12, 0.5
    names = [f"{kind}{k}" for k in range(patches) for kind in ("plain", "echo")]
    text = "chain = [" + ", ".join(f'"{name}"' for name in names) + "]\n"
    for k in range(patches):
        text += f'[blocks.plain{k}]\ntype = "test_gate"\n'
        text += f'[blocks.echo{k}]\ntype = "test_echo"\ntime_ms = 15\nfeedback = 0.1\n'
        text += f'[patches.p{k}]\nengage = ["plain{k}", "echo{k}"]\n'
    order = [(5 * i + i // patches) % patches for i in range(40)]
    text += "".join(f'[[cues]]\nat_s = {i * every_s}\npatch = "p{k}"\n' for i, k in enumerate(order))
    graph = build_graph(parse_sketch(text), rate_hz)
    end = round(len(order) * every_s * rate_hz)
    stints = Counter(order)
    assert max(stints.values()) == 4
    for node in (n for n in graph.nodes if n.kind == "block"):
        count = stints[int(node.name.removeprefix("plain").removeprefix("echo"))]
        ran = sum(min(stop, end) - start for start, stop in node.awake)
        more_s = 0.010 + (0.250 if node.name.startswith("plain") else 2.0 * node.own_tail_s)
        assert count * every_s * rate_hz - 1 <= ran <= count * (every_s + more_s) * rate_hz + count


def test_two_cues_at_one_instant_leave_the_last() -> None:
    text = SWAP.format(a=-6, b=-12).replace("at_s = 0.1", "at_s = 0.05")
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), np.ones((1, 1_600)))["out"][0]
    assert y[-1] == 10 ** (-12 / 20)


def test_a_control_port_without_a_source_is_told() -> None:
    from chainsim.block import Block, register
    from chainsim.errors import GraphError
    from chainsim.settings import Settings

    @register("test_wants_more")
    class WantsMore(Block[Settings]):
        """Asks for a control that nobody gives."""

        control_inputs = ("moon",)

    with pytest.raises(GraphError, match='no source for a control port "moon"'):
        build_graph(parse_sketch('chain = ["w"]\n[blocks.w]\ntype = "test_wants_more"'), 8_000.0)


def test_a_sound_that_comes_by_another_way_keeps_its_level_in_between() -> None:
    """An echo in series that a patch puts beside a dry lane: at DC 0.1 nothing is louder or softer on the way."""
    text = """
chain = ["slap"]
[blocks.slap]
type = "delay"
wet_db = "off"
[patches.file]
[patches.abreast]
chain = [{ lanes = ["dry", "slap"] }]
[patches.abreast.blocks.slap]
dry_db = "off"
[[cues]]
at_s = 0
patch = "file"
[[cues]]
at_s = 0.1
patch = "abreast"
[[cues]]
at_s = 0.102
patch = "file"
[[cues]]
at_s = 0.103
patch = "abreast"
"""
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), np.full((1, 2_000), 0.1))["out"][0]
    assert np.abs(y[:2_000] - 0.1).max() < 1e-12


def test_a_render_is_as_long_as_what_still_sounds_where_it_ends() -> None:
    """A hall of tail T: kept to the end, or left just before it, it rings T; left long before, it counts no more."""
    text = """
chain = ["hall"]
[blocks.hall]
type = "test_hall"
decay = 0.01
[patches.wet]
[patches.bare]
engage = []
[[cues]]
at_s = 0
patch = "wet"
[[cues]]
at_s = 1.0
patch = "bare"
"""
    graph = build_graph(parse_sketch(text), 8_000.0)
    (hall,) = [n for n in graph.nodes if n.name == "hall"]
    assert 0.1 < hall.own_tail_s < 0.5
    tail = hall.own_tail_s * 8_000
    assert graph.frames(4_000) == 4_000 + math.ceil(tail)
    assert abs(graph.frames(8_001) - (8_080 + tail)) <= 1
    assert graph.frames(20_000) == 20_000
