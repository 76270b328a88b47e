"""The whole path, sketch to sound, on the least blocks: every hook of the engine at every cut gives the same bytes."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.graph.build import GraphBuilder
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import parse_sketch
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)

RATE_HZ = 8_000.0

PLAIN = """
chain = ["hiss", { lanes = ["dry", ["echo"], { chain = ["frames"], level_db = -3, pan = 0.4 }] },
         "gate", "pulse", "hall"]
[blocks.hiss]
type = "test_hiss"
[blocks.echo]
type = "test_echo"
[blocks.frames]
type = "test_frames"
[blocks.gate]
type = "test_gate"
listens_to = "input"
[blocks.pulse]
type = "test_pulse"
[blocks.hall]
type = "test_hall"
decay = 0.1
[controllers.follow]
type = "test_follower"
drives = [{ setting = "echo.time_ms", low = 5, high = 60, curve = "s" }]
[controllers.swell]
type = "breakpoints"
points = [[0.0, 0.0], [0.1, 1.0], [0.3, 0.2]]
drives = [{ setting = "hiss.level_db", low = "off", high = -20 }]
"""

SET = """
tempo_bpm = 240
chain = ["echo", "frames", "gate", "pulse", "hall"]
[blocks.echo]
type = "test_echo"
[blocks.frames]
type = "test_frames"
[blocks.gate]
type = "test_gate"
listens_to = "echo"
[blocks.pulse]
type = "test_pulse"
[blocks.hall]
type = "test_hall"
decay = 0.1
[patches.turned]
chain = ["frames", "echo", "gate", "hall"]
tempo_bpm = 300
[patches.turned.blocks.echo]
feedback = 0.6
[patches.bare]
engage = ["hall"]
[patches.first]
[[cues]]
at_s = 0.11
patch = "turned"
[[cues]]
at_s = 0.205
patch = "bare"
[[cues]]
at_s = 0.21
patch = "first"
[[cues]]
at_s = 0.3
patch = "bare"
"""


def take(frames: int = 2_600, channels: int = 1) -> np.ndarray:
    rng = np.random.default_rng(7)
    t = np.arange(frames) / RATE_HZ
    x = 0.4 * np.sin(2 * np.pi * 440 * t) * (np.sin(2 * np.pi * 3 * t) > -0.3)
    return np.ascontiguousarray(np.stack([x + 0.01 * rng.standard_normal(frames) for _ in range(channels)]))


def rendered(text: str, x: np.ndarray, **how: object) -> dict[str, np.ndarray]:
    probes = how.pop("probes", ())
    return render_graph(build_graph(parse_sketch(text), RATE_HZ, x.shape[0], probes), x, **how)


@pytest.mark.parametrize("text", [PLAIN, SET], ids=["plain", "set"])
@pytest.mark.parametrize("channels", [1, 2])
def test_chunks_and_threads_give_the_same_bytes(text: str, channels: int) -> None:
    x = take(channels=channels)
    kept = x.copy()
    probes = ("echo", "gate", "gate:open")
    whole = rendered(text, x, chunk=4_096, probes=probes)
    assert np.abs(whole["out"]).max() > 0.1
    assert np.isfinite(whole["out"]).all()
    for how in (
        {"chunk": 1},
        {"chunk": 7},
        {"chunk": 509},
        {"chunk": 64, "threads": 2},
        {"chunk": 4_096, "threads": 3},
    ):
        other = rendered(text, x, probes=probes, **how)
        assert set(other) == {"out", *probes}
        for name in whole:
            assert other[name].tobytes() == whole[name].tobytes(), (name, how)
    assert x.tobytes() == kept.tobytes()


def test_a_union_equals_single_renders() -> None:
    orders = [
        PLAIN.replace('"gate", "pulse", "hall"', o) for o in ('"gate", "hall", "pulse"', '"hall", "gate", "pulse"')
    ]
    texts = [PLAIN, *orders, SET]
    x = take()
    builder = GraphBuilder(RATE_HZ, 1)
    for i, text in enumerate(texts):
        builder.add(parse_sketch(text), label=str(i), probes=("echo",))
    graph = builder.build()
    together = render_graph(graph, x, chunk=1_000, threads=2)
    for i, text in enumerate(texts):
        alone = rendered(text, x, probes=("echo",))
        for name in ("out", "echo"):
            frames = alone[name].shape[1]
            assert together[f"{i}:{name}"][:, :frames].tobytes() == alone[name].tobytes(), (i, name)


def test_equal_beginnings_are_one_node() -> None:
    builder = GraphBuilder(RATE_HZ, 1)
    builder.add(parse_sketch(PLAIN), label="a")
    before = sum(n.kind == "block" for n in builder.build().nodes)
    builder = GraphBuilder(RATE_HZ, 1)
    builder.add(parse_sketch(PLAIN), label="a")
    builder.add(parse_sketch(PLAIN.replace('"gate", "pulse", "hall"', '"gate", "hall", "pulse"')), label="b")
    assert sum(n.kind == "block" for n in builder.build().nodes) == before + 2  # hall and pulse the other way round


def test_seeded_noise_goes_by_its_name() -> None:
    one = rendered('chain = ["a"]\n[blocks.a]\ntype = "test_hiss"', take())["out"]
    other = rendered('chain = ["b"]\n[blocks.b]\ntype = "test_hiss"', take())["out"]
    again = rendered('chain = ["g", "a"]\n[blocks.g]\ntype="gain"\n[blocks.a]\ntype = "test_hiss"', take())["out"]
    assert one.tobytes() == again.tobytes()
    assert one.tobytes() != other.tobytes()


def test_latency_of_paths_is_summed_and_a_comb_is_warned_of() -> None:
    graph = build_graph(parse_sketch(PLAIN), RATE_HZ)
    assert graph.latency == (0.0, 480.0)
    assert any("differ by 60.00 ms" in w and "8 Hz" in w for w in graph.warnings)  # 480 samples; 1/(2 x 60 ms)
    assert any("detector" in w for w in build_graph(parse_sketch(SET), RATE_HZ).warnings)


def test_aligned_lanes_arrive_together() -> None:
    text = """
chain = [{ lanes = ["dry", ["frames"]], align = true }]
[blocks.frames]
type = "test_frames"
"""
    x = take()
    y = rendered(text, x)["out"]
    assert np.array_equal(y[:, 480 : 480 + x.shape[1]], x + 0.5 * x)
    assert build_graph(parse_sketch(text), RATE_HZ).latency == (480.0, 480.0)


def test_reversed_order_makes_a_second_instance_and_the_reverb_stays_one() -> None:
    graph = build_graph(parse_sketch(SET), RATE_HZ)
    names = [n.name for n in graph.nodes if n.kind == "block"]
    assert sorted(names) == ["echo", "frames", "frames", "gate", "gate", "hall", "pulse"] or sorted(names) == [
        "echo",
        "echo",
        "frames",
        "gate",
        "hall",
        "pulse",
    ]


def test_a_ringing_tail_goes_on_and_then_sleeps() -> None:
    text = """
chain = ["hall"]
[blocks.hall]
type = "test_hall"
decay = 0.05
[patches.bare]
engage = []
[patches.full]
[[cues]]
at_s = 0.1
patch = "bare"
[[cues]]
at_s = 2.0
patch = "full"
"""
    x = np.zeros((1, 20_000))
    x[0, 700] = 1.0
    x[0, 17_000] = 1.0
    y = rendered(text, x)["out"]
    wet = 10 ** (-6 / 20)
    assert y[0, 700] == 1.0
    assert y[0, 700 + 701] == pytest.approx(wet, abs=1e-15)  # after the cue at 800: the tail rings on
    assert y[1, 700 + 2 * 997] == pytest.approx(wet * 0.05, abs=1e-15)
    assert y[0, 17_000 + 701] == pytest.approx(wet, abs=1e-15)
    graph = build_graph(parse_sketch(text), RATE_HZ)
    hall = next(n for n in graph.nodes if n.name == "hall")
    assert len(hall.awake) == 2
    assert hall.awake[0][0] == 0
    assert hall.awake[1][0] == 16_000


def test_cut_tails_are_cut() -> None:
    text = """
chain = ["hall"]
[blocks.hall]
type = "test_hall"
decay = 0.1
tails = "cut"
[patches.bare]
engage = []
[[cues]]
at_s = 0.1
patch = "bare"
"""
    x = np.zeros((1, 4_000))
    x[0, 700] = 1.0
    y = rendered(text, x)["out"]
    ramp = round(0.010 * RATE_HZ)
    assert not y[:, 800 + ramp :].any()


def test_disengaged_passes_bit_identically_after_its_ramp() -> None:
    x = take()
    y = rendered(SET, x)["out"]
    text = (
        SET.replace('at_s = 0.3\npatch = "bare"', 'at_s = 0.3\npatch = "nothing"')
        .replace(
            "[patches.first]",
            '[patches.first]\n[patches.nothing]\nengage = []\n[patches.nothing.blocks.hall]\ntails="cut"',
        )
        .replace('type = "test_hall"', 'type = "test_hall"\ntails = "cut"')
        .replace('[blocks.echo]\ntype = "test_echo"', '[blocks.echo]\ntype = "test_echo"\ntails = "cut"', 1)
    )
    z = rendered(text, x)["out"]
    start = round(0.3 * RATE_HZ) + round(0.010 * RATE_HZ)
    assert np.array_equal(z[0, start : x.shape[1]], x[0, start:])
    assert y.shape[0] == 2


@pytest.mark.parametrize("k", [1, 7, 333])
def test_a_cue_moved_moves_the_change(k: int) -> None:
    x = np.zeros((1, 4_000))
    x[0] = 0.5
    text = """
chain = ["g"]
[blocks.g]
type = "gain"
gain_db = 0
[patches.loud]
[patches.loud.blocks.g]
gain_db = 6
[[cues]]
at_s = {at}
patch = "loud"
"""
    early = rendered(text.format(at=1_000 / RATE_HZ), x)["out"]
    late = rendered(text.format(at=(1_000 + k) / RATE_HZ), x)["out"]
    assert np.array_equal(late[:, k:], early[:, :-k])
    assert early[0, 999] == 0.5
    assert early[0, -1] == pytest.approx(0.5 * 10 ** (6 / 20), rel=1e-12)


def test_clicks_fall_on_the_beats_of_both_tempi() -> None:
    text = """
tempo_bpm = 120
chain = ["pulse"]
[blocks.pulse]
type = "test_pulse"
level_db = 0
[patches.fast]
tempo_bpm = 240
[[cues]]
at_s = 1.0
patch = "fast"
"""
    y = rendered(text, np.zeros((1, 16_001)))["out"]
    assert np.flatnonzero(y[0]).tolist() == [0, 4_000, 8_000, 10_000, 12_000, 14_000, 16_000]
