"""Properties of the engine over random graphs: whatever the chain, however it is cut, shared or moved in time."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from chainsim.errors import GraphError
from chainsim.graph.activity import NEVER
from chainsim.graph.build import GraphBuilder
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.graph.wiring import wire
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.timeline import timeline
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)

RATE_HZ = 8_000.0
FRAMES = 900
LONG = 10_000
"""Longer than what is plain listens before it is heard."""

few = settings(max_examples=12, derandomize=True, deadline=None, database=None, suppress_health_check=list(HealthCheck))

SETTINGS: dict[str, dict[str, Any]] = {
    "gain": {"gain_db": st.sampled_from([-12.0, -3.0, 0.0, 2.5])},
    "pan": {"pan": st.sampled_from([-1.0, -0.3, 0.0, 0.8])},
    "test_echo": {"time_ms": st.sampled_from([3.0, 7.1, 15.0]), "feedback": st.sampled_from([0.0, 0.05, 0.1])},
    "test_frames": {"gain": st.sampled_from([0.5, 1.0])},
    "test_gate": {"threshold_db": st.sampled_from([-40.0, -15.0])},
    "test_hall": {"decay": st.just(0.01), "wet_db": st.sampled_from([-12.0, -6.0, "off"])},
    "test_hiss": {"level_db": st.sampled_from([-60.0, -30.0])},
    "test_pulse": {"level_db": st.sampled_from([-40.0, -20.0])},
}
MOVABLE = {"gain_db", "pan", "time_ms", "feedback", "threshold_db", "wet_db", "level_db"}
NARROW: dict[str, dict[str, Any]] = {
    "gain_db": {"low": "off", "high": 3.0},
    "pan": {"low": 0.7, "high": -1.0},
    "time_ms": {"low": 2.0, "high": 14.0},
    "feedback": {"low": 0.0, "high": 0.1},
    "threshold_db": {"low": -50.0, "high": -12.0},
    "wet_db": {"low": -20.0, "high": 0.0},
    "level_db": {"low": "off", "high": -15.0},
}
"""Ends between which controllers move a setting."""
ALL = sorted(SETTINGS)
LINEAR = ["gain", "pan", "test_echo", "test_frames", "test_hall"]
TIME_INVARIANT = ["gain", "pan", "test_echo", "test_gate", "test_hall"]
MEMORYLESS = ["gain", "pan"]


@dataclass
class Drawn:
    """A random chain on its way to a sketch."""

    blocks: dict[str, dict[str, Any]] = field(default_factory=dict)
    chain: list[Any] = field(default_factory=list)

    def names(self) -> list[str]:
        return list(self.blocks)


def toml(value: Any) -> str:
    """A value in TOML."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else repr(value)


def text_of(top: dict[str, Any]) -> str:
    """A sketch as text."""
    return "".join(f"{key} = {toml(value)}\n" for key, value in top.items())


@st.composite
def chains(draw: st.DrawFn, types: list[str], depth: int = 2, into: Drawn | None = None, most: int = 3) -> Any:
    """A series-parallel chain of up to `most` steps; forks nest up to `depth`."""
    drawn = Drawn() if into is None else into
    chain: list[Any] = []
    for _ in range(draw(st.integers(1, most))):
        kind = draw(st.integers(0, 5)) if depth else 0
        if kind <= 3:
            chain.append(new_block(draw, drawn, draw(st.sampled_from(types))))
        elif kind == 4:
            lanes: list[Any] = ["dry"] if draw(st.booleans()) else []
            for _ in range(draw(st.integers(1, 2))):
                lane = {
                    "chain": draw(chains(types, depth - 1, drawn, 2)),
                    "level_db": draw(st.sampled_from([0.0, -4.5])),
                }
                if draw(st.booleans()):
                    lane["pan"] = draw(st.sampled_from([-0.5, 0.0, 1.0]))
                lanes.append(lane)
            chain.append({"lanes": lanes, "align": draw(st.booleans())})
        else:
            wet = draw(chains(types, depth - 1, drawn, 2))
            name = f"blend{len(drawn.blocks)}"
            drawn.blocks[name] = {"type": "blender", "wet_db": draw(st.sampled_from([-6.0, 0.0, "off"]))}
            chain.append({"blender": name, "wet": wet})
    drawn.chain = chain
    return drawn if into is None else chain


def new_block(draw: st.DrawFn, drawn: Drawn, type_name: str) -> str:
    """Declare another block and return its name."""
    name = f"b{len(drawn.blocks)}"
    drawn.blocks[name] = {"type": type_name, **{k: draw(v) for k, v in SETTINGS[type_name].items()}}
    return name


@st.composite
def sketches(
    draw: st.DrawFn, types: list[str] = ALL, cues: int = 3, memory: bool = True, frames: int = FRAMES
) -> dict[str, Any]:
    """A sketch with patches that engage, move, cut, reorder and change tempo, and cues for them."""
    drawn = draw(chains(types))
    top: dict[str, Any] = {
        "tempo_bpm": draw(st.sampled_from([240.0, 400.0])),
        "chain": drawn.chain,
        "blocks": drawn.blocks,
    }
    for block in drawn.blocks.values():
        if memory and draw(st.integers(0, 3)) == 0:
            block["tails"] = draw(st.sampled_from(["ring", "cut"]))
        if memory and draw(st.integers(0, 5)) == 0:
            block["latency_ms"] = draw(st.sampled_from([0.5, 3.0]))
        if draw(st.integers(0, 5)) == 0:
            block["when_off"] = draw(st.sampled_from(["pass", "silent"]))
        if draw(st.integers(0, 3)) == 0:
            block["switching"] = draw(st.sampled_from(["always_on", "free_standing"]))
    if types == ALL:
        top["controllers"] = draw(controllers(drawn))
        top["first_beat_s"] = draw(st.sampled_from([0.0, 0.0301]))
        if draw(st.booleans()):
            top["taps"] = [{"at_s": [0.001, 0.2012, 0.4]}]  # the second falls into some takes, the third into none
        for i, block in enumerate(drawn.blocks.values()):
            if block["type"] == "test_gate":
                block["listens_to"] = draw(st.sampled_from(["input", *drawn.names()[:i]]))
    patches: dict[str, Any] = {}
    for i in range(draw(st.integers(0, cues))):
        patches[f"p{i}"] = draw(patch_of(drawn, top.get("controllers", {})))
    if patches:
        top["patches"] = patches
        top["switches"] = [{"name": "A", "press": "patch p0", "second_press": "dry"}]
        at = st.lists(st.integers(1, frames - 1), min_size=1, max_size=cues + 2, unique=True)
        happens = st.one_of(st.sampled_from(sorted(patches)).map(lambda name: {"patch": name}), others(drawn))
        top["cues"] = [{"at_s": n / RATE_HZ, **draw(happens)} for n in draw(at)]
    return top


def others(drawn: Drawn) -> st.SearchStrategy[dict[str, Any]]:
    """What else a cue may do: press a switch, switch a block, mute, the dry sound."""
    switched = [n for n, b in drawn.blocks.items() if b.get("switching") != "always_on"]
    kinds = [st.just({"press": "A"}), *(st.fixed_dictionaries({k: st.booleans()}) for k in ("mute", "dry"))]
    if switched:
        kinds += [st.fixed_dictionaries({k: st.sampled_from(switched)}) for k in ("on", "off")]
    return st.one_of(kinds)


@st.composite
def controllers(draw: st.DrawFn, drawn: Drawn) -> dict[str, Any]:
    """Up to two controllers, each of another kind, moving one setting."""
    movable = [f"{n}.{k}" for n, b in drawn.blocks.items() for k in SETTINGS.get(b["type"], {}) if k in MOVABLE]
    kinds: list[dict[str, Any]] = [
        {"type": "breakpoints", "points": [[0.01, 0.1], [0.05, 1.0], [0.09, 0.3]]},
        {"type": "envelope", "low_db": -40.0},
        {"type": "test_follower", "listens_to": "input"},
        {"type": "breakpoints", "points": [["1:1", 0.8], ["1:1.25", 0.0], ["1:1.5", 1.0]]},
        {"type": "lfo", "rate_hz": 13.0, "shape": "triangle"},
        {"type": "lfo", "note": "1/16", "shape": "sample and hold"},
    ]
    entries = {}
    for i, setting in enumerate(draw(st.lists(st.sampled_from(movable), max_size=2, unique=True)) if movable else []):
        drive = {"setting": setting, "curve": draw(st.sampled_from(["linear", "s"])), **NARROW[setting.split(".")[1]]}
        entries[f"c{i}"] = {**draw(st.sampled_from(kinds)), "drives": [drive]}
    return entries


@st.composite
def patch_of(draw: st.DrawFn, drawn: Drawn, moved_by: dict[str, Any]) -> dict[str, Any]:
    """One patch."""
    patch: dict[str, Any] = {}
    of_patches = [n for n, b in drawn.blocks.items() if b.get("switching") != "free_standing"]
    if of_patches and draw(st.booleans()):
        patch["engage"] = draw(st.lists(st.sampled_from(of_patches), unique=True))
    for name in moved_by:
        if draw(st.integers(0, 2)) == 0:
            patch["controllers"] = {name: {"drives": []}}
    if draw(st.booleans()):
        patch["tempo_bpm"] = 300.0
    if len(drawn.chain) > 1 and draw(st.booleans()):
        patch["chain"] = drawn.chain[::-1]
    changes = {}
    for name, block in drawn.blocks.items():
        own = SETTINGS.get(block["type"], {})
        movable = [k for k in own if k in MOVABLE]
        if movable and draw(st.booleans()):
            key = draw(st.sampled_from(movable))
            changes[name] = {key: draw(own[key])}
    if changes:
        patch["blocks"] = changes
    return patch


def take(seed: int = 3, channels: int = 1, start: int = 0, stop: int = FRAMES, frames: int = FRAMES) -> np.ndarray:
    """Noise and a tone between two samples, silence around."""
    rng = np.random.default_rng(seed)
    x = np.zeros((channels, frames))
    t = np.arange(stop - start)
    x[:, start:stop] = 0.3 * np.sin(0.31 * t) + 0.05 * rng.standard_normal((channels, t.size))
    return x


def rendered(top: dict[str, Any], x: np.ndarray, probes: tuple[str, ...] = (), **how: Any) -> dict[str, np.ndarray]:
    """Every output of a sketch; a chain in which a detector would listen downstream is left out."""
    try:
        graph = build_graph(parse_sketch(text_of(top)), RATE_HZ, x.shape[0], probes)
    except GraphError:
        assume(False)
    return render_graph(graph, x, **how)


@few
@given(sketches(), st.sampled_from([1, 2]), st.sampled_from([7, 61, 509]), st.sampled_from([1, 2]))
def test_any_cuts_and_threads_give_the_same_bytes(top: dict[str, Any], channels: int, chunk: int, threads: int) -> None:
    x = take(channels=channels)
    probes = tuple(top["blocks"])[:2]
    whole = rendered(top, x, probes)
    cut = rendered(top, x, probes, chunk=chunk, threads=threads)
    assert {n: y.tobytes() for n, y in cut.items()} == {n: y.tobytes() for n, y in whole.items()}
    assert all(np.isfinite(y).all() for y in whole.values())


@few
@given(sketches(), st.integers(1, FRAMES - 1))
def test_what_comes_in_later_changes_nothing_before(top: dict[str, Any], n: int) -> None:
    x = take(7, stop=FRAMES)
    other = np.hstack([x[:, :n], take(8)[:, n:]])
    assert rendered(top, other)["out"][:, :n].tobytes() == rendered(top, x)["out"][:, :n].tobytes()


@few
@given(sketches(cues=1), st.integers(1, 30))
def test_single_samples_give_the_same_bytes(top: dict[str, Any], start: int) -> None:
    x = take(start=start, stop=200, frames=200)
    whole = rendered(top, x)["out"]
    assert rendered(top, x, chunk=1)["out"].tobytes() == whole.tobytes()


@few
@given(sketches())
def test_threads_change_nothing(top: dict[str, Any]) -> None:
    x = take()
    assert rendered(top, x, threads=2)["out"].tobytes() == rendered(top, x)["out"].tobytes()


@few
@given(sketches(frames=LONG))
def test_probes_change_nothing(top: dict[str, Any]) -> None:
    """Also through cues: what sleeps in a state is not woken by a probe. What goes on on wires may end later."""
    states = timeline(parse_sketch(text_of(top)))
    wires = tuple(dict.fromkeys(name for _, state in states for name in wire(state).points))
    x = take(stop=LONG, frames=LONG)
    plain, probed = rendered(top, x)["out"], rendered(top, x, wires)["out"]
    end = plain.shape[1]
    assert probed[:, :end].tobytes() == plain.tobytes()
    assert not probed[:, end:].any()


@few
@given(st.lists(sketches(cues=2), min_size=2, max_size=4), st.integers(0, 3))
def test_a_union_equals_single_renders(tops: list[dict[str, Any]], twice: int) -> None:
    tops = [*tops, tops[twice % len(tops)]]
    x = take()
    singles = [rendered(top, x, ("b0",)) for top in tops]
    builder = GraphBuilder(RATE_HZ, 1)
    for i, top in enumerate(tops):
        builder.add(parse_sketch(text_of(top)), label=str(i), probes=("b0",))
    together = render_graph(builder.build(), x, chunk=333, threads=2)
    for i, single in enumerate(singles):
        for name, alone in single.items():
            shared = together[f"{i}:{name}"]
            assert shared[:, : alone.shape[1]].tobytes() == alone.tobytes(), (i, name)


@few
@given(chains(LINEAR, depth=1), chains(LINEAR, depth=1), st.sampled_from([0.0, -7.0]), st.sampled_from([None, 0.4]))
def test_split_lanes_equal_their_sum(one: Drawn, two: Drawn, level_db: float, pan: float | None) -> None:
    renamed = {f"z{name}": block for name, block in two.blocks.items()}
    lanes: list[dict[str, Any]] = [
        {"chain": one.chain, "level_db": level_db},
        {"chain": with_prefix(two.chain, "z")},
    ]
    if pan is not None:
        lanes[1]["pan"] = pan
    blocks = one.blocks | renamed
    x = take()
    both = rendered({"chain": [{"lanes": lanes}], "blocks": blocks}, x)["out"]
    parts = [rendered({"chain": [{"lanes": [lane]}], "blocks": blocks}, x)["out"] for lane in lanes]
    frames = min(part.shape[1] for part in parts)
    total = parts[0][:, :frames] + parts[1][:, :frames]
    assert frames >= FRAMES
    assert np.abs(both[:, :frames] - total).max() <= 1e-15 * max(1.0, np.abs(total).max())


def with_prefix(chain: list[Any], prefix: str) -> list[Any]:
    """The chain with every block renamed."""
    renamed: list[Any] = []
    for step in chain:
        if isinstance(step, str):
            renamed.append(prefix + step)
        elif "blender" in step:
            renamed.append({"blender": prefix + step["blender"], "wet": with_prefix(step["wet"], prefix)})
        else:
            lanes = [
                lane if lane == "dry" else {**lane, "chain": with_prefix(lane["chain"], prefix)}
                for lane in step["lanes"]
            ]
            renamed.append({**step, "lanes": lanes})
    return renamed


def shifted(top: dict[str, Any], k: int) -> dict[str, Any]:
    """The same sketch with every cue k samples later."""
    cues = [{**cue, "at_s": (round(cue["at_s"] * RATE_HZ) + k) / RATE_HZ} for cue in top.get("cues", [])]
    return {**top, "cues": cues} if cues else top


@few
@given(sketches(TIME_INVARIANT), st.sampled_from([1, 7, 333]))
def test_take_and_cues_moved_move_the_sound(top: dict[str, Any], k: int) -> None:
    early = rendered(top, take(start=0, stop=600, frames=FRAMES))["out"]
    late = rendered(shifted(top, k), take(start=k, stop=600 + k, frames=FRAMES + k))["out"]
    assert not late[:, :k].any()
    frames = min(early.shape[1], late.shape[1] - k)
    assert late[:, k : k + frames].tobytes() == early[:, :frames].tobytes()


@few
@given(sketches(MEMORYLESS, memory=False), st.sampled_from([1, 7, 333]))
def test_cues_moved_move_the_change_and_nothing_else(top: dict[str, Any], k: int) -> None:
    x = np.full((1, FRAMES), 0.5)
    x = np.hstack([x, np.full((1, k), 0.5)])
    early, late = rendered(top, x)["out"], rendered(shifted(top, k), x)["out"]
    assert late[:, k : FRAMES + k].tobytes() == early[:, :FRAMES].tobytes()
    first = min((round(c["at_s"] * RATE_HZ) for c in top.get("cues", [])), default=FRAMES)
    assert (late[:, : first + k] == late[:, :1]).all()


@few
@given(chains(TIME_INVARIANT))
def test_a_block_that_slept_equals_a_new_one(drawn: Drawn) -> None:
    silent, awake = {"engage": []}, {"engage": drawn.names()}
    top = {"chain": drawn.chain, "blocks": drawn.blocks, "patches": {"silent": silent, "awake": awake}}
    sleep = {"at_s": FRAMES / RATE_HZ, "patch": "silent"}
    nodes = build_graph(parse_sketch(text_of({**top, "cues": [sleep]})), RATE_HZ).nodes
    asleep = max((end for n in nodes for _, end in n.awake if end < NEVER), default=FRAMES) + 100
    wake = {"at_s": (asleep + 200) / RATE_HZ, "patch": "awake"}
    frames = asleep + 900
    second = take(5, start=asleep, stop=frames, frames=frames)
    slept = rendered({**top, "cues": [sleep, wake]}, take(4, stop=FRAMES, frames=frames) + second)["out"]
    new = rendered({**top, "cues": [{"at_s": 0.0, "patch": "silent"}, wake]}, second)["out"]
    assert slept[:, asleep:].tobytes() == new[:, asleep:].tobytes()


@few
@given(sketches(TIME_INVARIANT, cues=2))
def test_silence_in_is_silence_out(top: dict[str, Any]) -> None:
    assert not rendered(top, np.zeros((1, FRAMES)))["out"].any()


@pytest.mark.parametrize("rate_hz", [8_000, 8_000.0])
def test_a_rate_written_as_a_whole_number_is_the_same_rate(rate_hz: float) -> None:
    top = {"chain": ["e", "p"], "blocks": {"e": {"type": "test_echo"}, "p": {"type": "test_pulse"}}}
    sketch = parse_sketch(text_of(top))
    reference = rendered(top, take())["out"]
    graph = build_graph(sketch, rate_hz, 1)
    assert render_graph(graph, take())["out"].tobytes() == reference.tobytes()
    assert isinstance(graph.sample_rate_hz, float)
