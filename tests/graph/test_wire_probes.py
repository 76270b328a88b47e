"""Wires that are no block's output can be probed: what a fork or a part of it gives, its lanes, a blender's paths."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.errors import GraphError
from chainsim.graph.rendering import build_graph, render, render_graph
from chainsim.graph.wiring import wire
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.timeline import timeline
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)

RATE_HZ = 8_000.0

NESTED = """
chain = [{ lanes = ["dry", { chain = [{ lanes = ["dry", "late"], align = true }], level_db = -6 },
                    { chain = ["low"], pan = -1 }, { chain = ["high"], level_db = "off", pan = 1 }] }]
[blocks.late]
type = "test_frames"
[blocks.low]
type = "gain"
gain_db = -3
[blocks.high]
type = "gain"
gain_db = 3
"""
WIRES = ("input", "sum 1", "sum 2", "lane 1.1", "lane 1.2", "lane 2.1", "lane 2.2", "lane 2.3", "lane 2.4")

SET = """
chain = ["a", { lanes = ["dry", { chain = ["b"], level_db = -6 }] }]
[blocks.a]
type = "gain"
[blocks.b]
type = "gain"
[patches.forked]
[patches.straight]
chain = ["a", "b"]
[[cues]]
at_s = 0
patch = "forked"
[[cues]]
at_s = 0.05
patch = "straight"
"""


@pytest.fixture(scope="module")
def take() -> np.ndarray:
    return np.random.default_rng(8).standard_normal((900, 1)) * 0.1


def test_wires_of_a_nested_fork(take: np.ndarray) -> None:
    found = render(parse_sketch(NESTED), take, RATE_HZ, probes=WIRES)
    wires = found.probes
    assert set(wires) == set(WIRES)
    assert wires["sum 2"].tobytes() == found.audio.tobytes()
    assert wires["lane 2.1"].tobytes() == wires["lane 1.1"].tobytes() == wires["input"].tobytes()
    np.testing.assert_allclose(wires["lane 2.2"], 10 ** (-6 / 20) * wires["sum 1"], rtol=1e-12)
    assert not wires["lane 2.4"].any()
    # Hard left of a mono sound: everything on the left, nothing on the right.
    assert wires["lane 2.3"].shape[1] == 2
    assert np.abs(wires["lane 2.3"][:, 1]).max() < 1e-15
    lanes = sum(wires[f"lane 2.{i}"] for i in (1, 2, 3))
    np.testing.assert_allclose(lanes, wires["sum 2"], atol=1e-15)


def test_probes_leave_the_render_alone(take: np.ndarray) -> None:
    plain, probed = (render(parse_sketch(NESTED), take, RATE_HZ, probes=p) for p in ((), WIRES))
    assert probed.audio.tobytes() == plain.audio.tobytes()
    assert probed.warnings == plain.warnings
    assert probed.latency_samples == plain.latency_samples


def test_a_wire_that_only_one_state_has_is_silent_in_the_others(take: np.ndarray) -> None:
    found = render(parse_sketch(SET), take, RATE_HZ, probes=["sum 1", "lane 1.2"])
    before, after = slice(0, 400), slice(500, 900)  # the cue comes at sample 400, its ramps last 80 samples
    assert found.probes["sum 1"][before].tobytes() == found.audio[before].tobytes()
    assert np.abs(found.probes["lane 1.2"][before]).max() > 0.05
    assert not found.probes["sum 1"][after].any()
    assert not found.probes["lane 1.2"][after].any()


ALIGNED = """
chain = [{ lanes = ["dry", { chain = ["later"], level_db = -6, pan = 0.5 }, "late", { chain = "dry", level_db = "off" },
                    "later2"], align = true }]
[blocks]
later = { type = "gain", gain_db = -3, latency_ms = 4 }
late = { type = "gain", latency_ms = 2 }
later2 = { type = "gain", gain_db = 3, latency_ms = 4 }
"""
LATE = 32
"""Frames in 4 ms."""


def test_lanes_that_wait_and_sums_of_some_of_them(take: np.ndarray) -> None:
    names = [f"lane 1.{i}{word}" for i in range(1, 6) for word in ("", " aligned")]
    names += ["lane 1.2 before pan", "sum 1", "sum 1.2", "sum 1.3", "sum 1.4"]
    found = render(parse_sketch(ALIGNED), take, RATE_HZ, probes=names)
    wires = found.probes
    # The dry lane waits 4 ms, what is late by 2 ms as long again, and of what is off nothing comes.
    for i, wait in ((1, LATE), (2, 0), (3, LATE // 2), (5, 0)):
        alone, waited = wires[f"lane 1.{i}"], wires[f"lane 1.{i} aligned"]
        assert not waited[:wait].any()
        assert waited[wait:].tobytes() == alone[: len(alone) - wait].tobytes()
    assert not wires["lane 1.4 aligned"].any()
    np.testing.assert_allclose(
        wires["lane 1.2 before pan"][LATE:], 10 ** (-9 / 20) * wires["lane 1.1"][:-LATE], rtol=1e-12
    )
    assert wires["lane 1.2 before pan"].shape[1] == 1
    for first in (2, 3, 4):
        lanes = sum(wires[f"lane 1.{i} aligned"] for i in range(first, 6))
        np.testing.assert_allclose(lanes, np.broadcast_to(wires[f"sum 1.{first}"], lanes.shape), atol=1e-15)
    np.testing.assert_allclose(wires["lane 1.1 aligned"] + wires["sum 1.2"], wires["sum 1"], atol=1e-15)
    assert wires["sum 1"].tobytes() == found.audio.tobytes()


BLEND = """
chain = ["before", { blender = "mix", wet = ["echo", { lanes = ["dry", { chain = "dry", pan = 1 }] }] }]
[blocks]
before = { type = "gain", gain_db = 2, latency_ms = 4 }
mix = { type = "blender", dry_db = -3, wet_db = -5, flip_wet = true, latency_ms = 2 }
echo = { type = "test_echo" }
[controllers.swell]
type = "breakpoints"
points = [[0.0, 0.0], [0.1, 1.0]]
drives = [{ setting = "mix.wet_db", low = "off", high = 3 }]
[patches.even]
[patches.dry]
blocks.mix = { dry_db = 0, wet_db = "off" }
[patches.out]
engage = ["before", "echo"]
"""
CUES = """
[[cues]]
at_s = 0
patch = "even"
[[cues]]
at_s = 0.03
patch = "dry"
[[cues]]
at_s = 0.06
patch = "out"
[[cues]]
at_s = 0.08
patch = "even"
"""
LEGS = ("before", "mix dry", "mix wet", "mix", "sum 1")


def test_what_a_blender_sums(take: np.ndarray) -> None:
    found = render(parse_sketch(BLEND), take, RATE_HZ, probes=LEGS)
    wires = found.probes
    blended = wires["mix dry"] - wires["mix wet"]  # the polarity is turned where they meet
    assert blended[: -LATE // 2].tobytes() == found.audio[LATE // 2 :].tobytes()
    assert not found.audio[: LATE // 2].any()
    # The take, 2 dB up, 4 ms late, 3 dB down.
    np.testing.assert_allclose(wires["mix dry"][LATE : LATE + 900], 10 ** (-1 / 20) * take, rtol=1e-12)
    assert (wires["mix dry"].shape[1], wires["mix wet"].shape[1]) == (1, 2)
    assert found.latency_samples == LATE + LATE // 2
    # The swell opens the wet path from nothing: its level is 0 at first, and +3 dB after 0.1 s and some ramps of 10 ms.
    assert np.abs(wires["mix wet"][LATE]).max() < 1e-6
    np.testing.assert_allclose(wires["mix wet"][2000:], 10 ** (3 / 20) * wires["sum 1"][2000:], rtol=1e-6)


def test_what_a_blender_sums_through_cues(take: np.ndarray) -> None:
    sketch = parse_sketch(BLEND.replace(", latency_ms = 2", "") + CUES)
    plain, found = (render(sketch, take, RATE_HZ, probes=p) for p in ((), ("mix dry", "mix wet", "mix")))
    assert found.audio.tobytes() == plain.audio.tobytes()
    assert found.warnings == plain.warnings
    wires = found.probes
    # Out of the chain from sample 480 to 640, and for a ramp of 80 samples more: there "mix" is what goes around it.
    for there in (slice(0, 480), slice(720, None)):
        np.testing.assert_allclose(
            (wires["mix dry"] - wires["mix wet"])[there], wires["mix"][there], rtol=0.0, atol=1e-15
        )
    assert not wires["mix dry"][570:630].any()
    assert wires["mix dry"][300:400].any()
    assert wires["mix dry"][740:].any()


def test_probes_of_lanes_that_wait_leave_a_set_alone(take: np.ndarray) -> None:
    # Levels that change with a cue make another sum of it, with the same delays before it.
    cue = '[[cues]]\nat_s = {}\npatch = "{}"\n'
    changed = ALIGNED[: ALIGNED.index("[blocks]")].replace("level_db = -6", "level_db = -9")
    cues = cue.format(0, "first") + cue.format(0.05, "second")
    sketch = parse_sketch(f"{ALIGNED}[patches.first]\n[patches.second]{changed}{cues}")
    plain, found = (render(sketch, take, RATE_HZ, probes=p) for p in ((), ("lane 1.1 aligned", "sum 1.2", "sum 1")))
    assert found.audio.tobytes() == plain.audio.tobytes()
    wires = found.probes
    assert wires["sum 1"].tobytes() == found.audio.tobytes()
    np.testing.assert_allclose(wires["lane 1.1 aligned"] + wires["sum 1.2"], wires["sum 1"], atol=1e-15)


GONE_BLENDER = """
chain = [{ blender = "mix", wet = ["echo"] }]
blocks = { echo = { type = "test_echo" }, mix = { type = "blender" } }
patches = { alone = { engage = ["echo"] } }
cues = [{ at_s = 1.3, patch = "alone" }]
"""
SILENT_LANE = """
chain = [{ lanes = [["a"]] }]
blocks = { a = { type = "gain" } }
[[patches.off.chain]]
lanes = [{ chain = [{ lanes = [{ chain = "dry", pan = -1 }] }, "a"], level_db = "off" }]
[[cues]]
at_s = 0.31
patch = "off"
"""
SUM_OF_DRY_LANES = """
chain = [{ lanes = [[{ lanes = [["late"]] }, { lanes = [["echo"]] }]] }]
blocks = { late = { type = "gain", latency_ms = 300 }, echo = { type = "test_echo" } }
patches.two.chain = [{ lanes = [{ chain = "dry", level_db = -4.5 }, "dry"] }]
patches.one = {}
patches.three.chain = [{ lanes = [[{ lanes = [{ chain = "dry", level_db = -4.5 }] },
                                   { lanes = ["dry", ["echo"]], align = true }]] }]
cues = [{ at_s = 0.05, patch = "two" }, { at_s = 0.23, patch = "one" }, { at_s = 0.51, patch = "three" }]
"""
VOICE_BEHIND_A_SUM = """
instrument = "tenor sax"
chain = [{ lanes = ["dry", [{ lanes = ["dry", ["wide"]] }, "reed"]] }]
blocks = { wide = { type = "gain" }, reed = { type = "following_synth" } }
patches = { plain = { engage = [] }, voice = { engage = ["reed"] } }
cues = [{ at_s = 0, patch = "voice" }, { at_s = 0.6, patch = "plain" }, { at_s = 1.2, patch = "voice" }]
"""


@pytest.mark.parametrize("text", [GONE_BLENDER, SILENT_LANE, SUM_OF_DRY_LANES, VOICE_BEHIND_A_SUM])
def test_a_probe_wakes_nothing_that_sleeps(text: str) -> None:
    t = np.arange(14_000) / RATE_HZ
    notes = np.where(t % 0.5 < 0.25, 220.0, 311.0)
    tone = 0.2 * np.sin(2.0 * np.pi * np.cumsum(notes) / RATE_HZ) * (t % 0.5 < 0.45)
    x = (tone + 0.01 * np.random.default_rng(1).standard_normal(t.size))[:, None]
    sketch = parse_sketch(text)
    wires = tuple(dict.fromkeys(name for _, state in timeline(sketch) for name in wire(state).points))
    plain, probed = render(sketch, x, RATE_HZ).audio, render(sketch, x, RATE_HZ, probes=wires).audio
    # What goes on on a wire may make all of it longer.
    assert probed[: len(plain)].tobytes() == plain.tobytes()
    assert not probed[len(plain) :].any()


EVERY = ("mix dry", "mix wet", "lane 1.1 aligned", "lane 1.2 before pan", "sum 1.2")


@pytest.mark.parametrize("chunk", [1, 37, 4096])
def test_wires_have_the_same_bits_however_they_are_cut(chunk: int, take: np.ndarray) -> None:
    fork = '{ lanes = ["dry", { chain = ["late"], level_db = -2, pan = 0.3 }, ["echo"]], align = true }'
    text = f"""
    chain = [{{ blender = "mix", wet = [{fork}] }}]
    [blocks]
    mix = {{ type = "blender", wet_db = -4 }}
    late = {{ type = "gain", latency_ms = 3 }}
    echo = {{ type = "test_echo" }}
    """
    probed = render(parse_sketch(text), take, RATE_HZ, probes=EVERY).probes
    cut = render_graph(build_graph(parse_sketch(text), RATE_HZ, 1, EVERY), take.T, chunk=chunk)
    for name in EVERY:
        assert cut[name].T.tobytes() == probed[name].tobytes()


def test_probes_bring_no_warnings_of_their_own(take: np.ndarray) -> None:
    # Lanes that are late tell of a comb once, where all of them meet.
    sketch = parse_sketch(ALIGNED.replace("align = true", "align = false"))
    plain, probed = (render(sketch, take, RATE_HZ, probes=p) for p in ((), ("sum 1.2", "sum 1.3")))
    assert len(plain.warnings) == 1
    assert probed.warnings == plain.warnings
    assert probed.audio.tobytes() == plain.audio.tobytes()


@pytest.mark.parametrize("name", ["sum 0", "sum 3", "lane 1.5", "lane 1", "sum", "late ", "late dry", "sum 1.1"])
def test_a_wire_that_is_not_there_is_refused(name: str, take: np.ndarray) -> None:
    with pytest.raises(
        GraphError, match=rf'^probe "{name}": no such block or wire; there are input, .*lane 1.1, .*sum 1'
    ):
        render(parse_sketch(NESTED), take, RATE_HZ, probes=[name])
