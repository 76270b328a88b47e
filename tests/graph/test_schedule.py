"""Ramps and waking hours at absolute samples."""

from __future__ import annotations

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


def test_a_block_left_and_entered_after_its_tail_starts_anew() -> None:
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
    x = np.ones((1, 8_000))
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), x)["out"][0]
    again = 4_000
    assert y[again - 1] == 1.0
    assert not y[again + 80 : again + 480].any()  # reset: nothing before its latency has passed
    assert y[again + 480] == 0.5


def test_two_cues_at_one_instant_leave_the_last() -> None:
    text = SWAP.format(a=-6, b=-12).replace("at_s = 0.1", "at_s = 0.05")
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), np.ones((1, 1_600)))["out"][0]
    assert y[-1] == 10 ** (-12 / 20)


def test_a_tail_that_never_ends_is_faded_out_and_told() -> None:
    text = 'chain = ["delay"]\n[blocks.delay]\nfeedback_percent = 100\nlow_cut_hz = 10\nhigh_cut_hz = 18000\nwet_db = 0'
    graph = build_graph(parse_sketch(text), 48_000.0)
    assert any("never ends" in w for w in graph.warnings)
    x = np.zeros((1, 800))
    x[0, 10] = 0.4
    y = render_graph(graph, x)["out"][0]
    assert y.size == 800 + 60 * 48_000
    assert np.abs(y[54 * 48_000 : 55 * 48_000]).max() == pytest.approx(0.4, rel=1e-9)  # echoes go on unchanged ...
    assert np.abs(y[round(59.5 * 48_000) :]).max() < 0.05  # ... and are faded in the last 5 s: a tenth of 0.4 left


def test_an_endless_tail_in_a_union_fades_no_other() -> None:
    from chainsim.graph.build import GraphBuilder

    endless = 'chain = ["delay"]\n[blocks.delay]\nfeedback_percent = 100\nlow_cut_hz = 10\nhigh_cut_hz = 18000'
    long = 'chain = ["hall"]\n[blocks.hall]\ntype = "test_hall"\ndecay = 0.95'
    x = np.zeros((1, 800))
    x[0, 10] = 0.5
    builder = GraphBuilder(8_000.0, 1)
    builder.add(parse_sketch(endless), label="endless")
    builder.add(parse_sketch(long), label="long")
    together = render_graph(builder.build(), x)
    for label, text in (("endless", endless), ("long", long)):
        alone = render_graph(build_graph(parse_sketch(text), 8_000.0), x)["out"]
        frames = min(alone.shape[1], together[f"{label}:out"].shape[1])
        assert np.array_equal(together[f"{label}:out"][:, :frames], alone[:, :frames])


def test_an_endless_block_left_by_a_patch_is_faded_out_not_cut_off() -> None:
    text = """
chain = ["delay"]
[blocks.delay]
time_ms = 100
feedback_percent = 100
low_cut_hz = 10
high_cut_hz = 18000
dry_db = "off"
wet_db = 0
[patches.bare]
engage = []
[[cues]]
at_s = 0.5
patch = "bare"
"""
    x = np.zeros((1, 70 * 48_000))
    x[0, :24_000] = 0.1  # ends with the cue, so that what is heard later is the delay alone
    y = render_graph(build_graph(parse_sketch(text), 48_000.0), x)["out"][0]
    assert np.abs(y[50 * 48_000 : 55 * 48_000]).max() > 0.1
    end = round(60.52 * 48_000)
    assert not y[end:].any()
    assert np.abs(y[end - 24_000 : end]).max() < 0.2 * np.abs(y[50 * 48_000 : 55 * 48_000]).max()
