"""Random sketches for drawings: nested forks and blends, levels, pans, blocks that are out, detectors that listen."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st

TYPES = ("gain", "delay", "reverb", "noise_gate", "compressor", "following_synth", "envelope_filter")
WITH_DETECTOR = ("noise_gate", "compressor", "following_synth", "envelope_filter")
LEVELS = (0.0, -3.0, 2.5, "off")


@st.composite
def sketch_texts(draw: st.DrawFn, depth: int = 2, most: int = 3, types: Sequence[str] = TYPES) -> str:
    """The text of a sketch."""
    blocks: dict[str, dict[str, Any]] = {}
    chain = _toml(_series(draw, blocks, depth, most, types))
    names = ["input", *blocks]
    for name, block in blocks.items():
        if block["type"] in WITH_DETECTOR and draw(st.booleans()):
            earlier = names[: names.index(name)]
            block["listens_to"] = draw(st.sampled_from(earlier))
    lines = [f"chain = {chain}"]
    for name, block in blocks.items():
        lines += [f"[blocks.{name}]", *(f"{key} = {_toml(value)}" for key, value in block.items())]
    driven = [name for name, block in blocks.items() if block["type"] == "gain"]
    if driven and draw(st.booleans()):
        drives = [{"setting": f"{name}.gain_db", "low": -6, "high": 0} for name in driven]
        lines += ["[controllers.swell]", 'type = "breakpoints"', "points = [[0.0, 0.0], [1.0, 1.0]]"]
        lines += [f"drives = {_toml(drives)}"]
    return "\n".join(lines) + "\n"


def _series(
    draw: st.DrawFn, blocks: dict[str, dict[str, Any]], depth: int, most: int, types: Sequence[str]
) -> list[Any]:
    steps: list[Any] = []
    for _ in range(draw(st.integers(0, most))):
        kind = draw(st.sampled_from(["block", "block", "lanes", "blender"] if depth else ["block"]))
        if kind == "block":
            steps.append(_declared(draw, blocks, draw(st.sampled_from(types))))
        elif kind == "lanes":
            lanes = [_lane(draw, blocks, depth, most, types) for _ in range(draw(st.integers(1, 3)))]
            steps.append({"lanes": lanes, "align": draw(st.booleans())})
        else:
            wet = _series(draw, blocks, depth - 1, most, types)
            steps.append({"blender": _declared(draw, blocks, "blender"), "wet": wet})
    return steps


def _lane(
    draw: st.DrawFn, blocks: dict[str, dict[str, Any]], depth: int, most: int, types: Sequence[str]
) -> dict[str, Any]:
    lane: dict[str, Any] = {
        "chain": _series(draw, blocks, depth - 1, most, types),
        "level_db": draw(st.sampled_from(LEVELS)),
    }
    if draw(st.booleans()):
        lane["pan"] = draw(st.sampled_from([-1.0, 0.0, 0.25]))
    return lane


def _declared(draw: st.DrawFn, blocks: dict[str, dict[str, Any]], type_name: str) -> str:
    name = f"{draw(st.sampled_from(['b', 'wide_shelf', 'W' * 40]))}{len(blocks)}"
    blocks[name] = {"type": type_name, "engaged": draw(st.sampled_from([True, True, True, False]))}
    if type_name == "gain":
        blocks[name]["latency_ms"] = draw(st.sampled_from([0, 0, 3, 5]))
    if type_name == "blender":
        blocks[name] |= {key: draw(st.sampled_from(LEVELS)) for key in ("dry_db", "wet_db")}
        blocks[name]["flip_wet"] = draw(st.booleans())
    return name


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(v)}" for key, v in value.items()) + " }"
    return f"[{', '.join(map(_toml, value))}]" if isinstance(value, list) else json.dumps(value)
