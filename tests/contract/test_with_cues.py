"""The contract with everything in play: each block in a set whose cues, taps and controllers switch and move it."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from chainsim.block import block_type
from chainsim.graph.build import GraphBuilder
from chainsim.graph.rendering import array_reader, build_graph, render_graph, stream
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch
from tests.contract.feeds import rng_of
from tests.contract.subjects import BLOCKS
from tests.contract.test_figures import sketch_of, sketch_text

RATE_HZ = 8_000.0
FRAMES = 4_000

HEAD = 'key = "D minor"\ninstrument = "tenor sax"\ntempo_bpm = 200\nmeter = "3/8"\nfirst_beat_s = 0.03\n'
SET = """
[patches.bare]
engage = []
[patches.fast]
tempo_bpm = 390
[patches.still.controllers]
wave = { drives = [] }
pedal = { drives = [] }
[[taps]]
at_s = [0.05, 0.21, 0.372]
[[switches]]
name = "A"
press = "patch fast"
second_press = "mute"
[[cues]]
at_s = 0.02
patch = "still"
[[cues]]
at_bar = "1:2.3"
patch = "bare"
[[cues]]
at_bar = "2"
press = "A"
[[cues]]
at_s = 0.31
on = "b"
[[cues]]
at_s = 0.36
press = "A"
[[cues]]
at_s = 0.38
mute = false
[[cues]]
at_s = 0.40
dry = true
[[cues]]
at_s = 0.44
dry = false
"""
every_block = pytest.mark.parametrize("name", BLOCKS)


def drives(name: str, share: float) -> list[str]:
    """One drive for each movable setting of block `b`: from one end of its range over `share` of the way."""
    found = []
    for spec in block_type(name).settings_type.specs().values():
        if spec.movable and spec.low is not None and spec.high is not None:
            far = spec.low * (spec.high / spec.low) ** share if spec.law == "log" else None
            far = spec.low + share * (spec.high - spec.low) if far is None else far
            low = '"off"' if spec.may_be_off else spec.low
            found.append(f'{{ setting = "b.{spec.name}", low = {far!r}, high = {low}, curve = "s" }}')
    return found


def with_all(name: str, share: float = 0.4) -> Sketch:
    """A set in which two controllers share the block's movable settings between them."""
    moved = drives(name, share)
    text = HEAD + sketch_text(name) + SET
    text += f'[controllers.wave]\ntype = "lfo"\nnote = "1/16"\ndrives = [{", ".join(moved[::2])}]\n'
    points = '[["1:1", 0], ["1:3", 1], ["2:2.5", 0.3]]'
    text += f'[controllers.pedal]\ntype = "breakpoints"\npoints = {points}\ndrives = [{", ".join(moved[1::2])}]\n'
    return sketch_of(text)


def take(*words: object) -> np.ndarray:
    """A tone that is played in notes, shape (1, frames)."""
    rng = rng_of(*words)
    f0_hz = np.repeat(rng.choice([110.0, 147.0, 196.0], FRAMES // 1_000), 1_000)
    phase = 2.0 * np.pi * np.cumsum(f0_hz) / RATE_HZ
    tone = sum(np.sin(k * phase) / k for k in range(1, 6))
    return (0.2 * np.repeat(rng.uniform(0.2, 1.0, FRAMES // 250), 250) * tone)[None] + 1e-3 * rng.standard_normal(
        FRAMES
    )


def rendered(sketch: Sketch, x: np.ndarray, **how: Any) -> np.ndarray:
    return render_graph(build_graph(sketch, RATE_HZ, len(x)), x, **how)["out"]


def beginning(sketch: Sketch, x: np.ndarray, frames: int) -> np.ndarray:
    """The first frames of a render, one by one."""
    graph = build_graph(sketch, RATE_HZ, len(x))
    spans = itertools.islice(stream(graph, array_reader(x), x.shape[1], chunk=1), frames)
    return np.hstack([outputs["out"].copy() for _, outputs in spans])


@every_block
def test_same_bytes_however_it_is_cut_threaded_or_joined(name: str) -> None:
    sketch, x = with_all(name), take("cuts")
    whole = rendered(sketch, x)
    assert np.isfinite(whole).all()
    assert np.abs(whole).max() > 1e-3
    for chunk, threads in ((7, 1), (509, 2)):
        assert rendered(sketch, x, chunk=chunk, threads=threads).tobytes() == whole.tobytes(), chunk
    played = beginning(sketch, x, FRAMES + 200)  # sample by sample a long tail would take its time
    assert played.tobytes() == whole[:, : played.shape[1]].tobytes()
    builder = GraphBuilder(RATE_HZ, 1)
    for label, member in (("plain", sketch_of(HEAD + sketch_text(name))), ("set", sketch), ("again", sketch)):
        builder.add(member, label=label)
    together = render_graph(builder.build(), x, chunk=333, threads=2)
    for label in ("set", "again"):
        assert together[f"{label}:out"][:, : whole.shape[1]].tobytes() == whole.tobytes()


@every_block
def test_nothing_is_heard_before_it_came_in(name: str) -> None:
    sketch, x, other = with_all(name), take("one"), take("another")
    whole = rendered(sketch, x)
    for n in (700, 1_610, 2_900, 3_300):
        changed = np.hstack([x[:, :n], other[:, n:]])
        assert rendered(sketch, changed)[:, :n].tobytes() == whole[:, :n].tobytes(), n


@every_block
def test_finite_whatever_moves_where(name: str) -> None:
    """The controllers go to the ends of every range, the take over full scale."""
    assert np.isfinite(rendered(with_all(name, share=1.0), 4.0 * take("loud"))).all()


@every_block
def test_entered_again_it_is_as_new(name: str) -> None:
    """Left at 50 ms with its tail cut, entered at 450 ms: as if it had not been there before."""
    text = HEAD + sketch_text(name) + 'tails = "cut"\n[patches.with]\n[patches.without]\nengage = []\n'
    enter = '[[cues]]\nat_s = 0.45\npatch = "with"\n'
    before = {"there": "with", "away": "without"}
    leave = '[[cues]]\nat_s = 0.05\npatch = "without"\n'
    cues = {k: f'[[cues]]\nat_s = 0\npatch = "{first}"\n{leave}' for k, first in before.items()}
    x = take("again")
    again, new = (rendered(sketch_of(text + cues[k] + enter), x) for k in before)
    assert again[:, 3_600:].any()
    assert again[:, 3_600:].tobytes() == new[:, 3_600:].tobytes()


@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 96_000.0])
def test_a_cue_comes_at_the_same_time_at_every_rate(rate_hz: float) -> None:
    """A mute at bar 2 of 3/8 at 120 bpm after a pickup of 40 ms: at 0.79 s, its ramp 10 ms long; within a sample."""
    text = 'tempo_bpm = 120\nmeter = "3/8"\nfirst_beat_s = 0.04\nchain = ["gain"]\n'
    sketch = parse_sketch(text + '[[cues]]\nat_bar = "2"\nmute = true\n')
    y = render_graph(build_graph(sketch, rate_hz), np.ones((1, round(rate_hz))))["out"][0]
    assert abs(np.argmax(y < 1.0) - 0.79 * rate_hz) <= 1.5
    assert abs(np.argmax(y == 0.0) - 0.80 * rate_hz) <= 1.5
