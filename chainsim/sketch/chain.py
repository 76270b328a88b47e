"""The chain as a series-parallel tree, and how it is read from a sketch.

A chain is a list. A word is a block; a table is a fork:

    ["warm_eq", { lanes = ["dry", ["tenths", "shade"], { chain = ["reed"], level_db = -3, pan = 0.2 }] },
     { blender = "sweep_mix", wet = ["sweep"] }, "plate"]
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterator
from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias

DRY = "dry"
INPUT = "input"
MAX_DEPTH = 16
MAX_BLOCKS = 200
MAX_FORKS = 64


@dataclass(frozen=True)
class BlockStep:
    """One block, by name."""

    name: str


@dataclass(frozen=True)
class Lane:
    """One lane of a fork: a chain (empty for the straight-through lane), its level and, if given, its pan.

    `number` is its place in the fork as written, from 1 on.
    """

    chain: Chain
    level_db: float = 0.0
    pan: float | None = None
    number: int = field(default=0, compare=False, repr=False)


@dataclass(frozen=True)
class LanesStep:
    """A fork into lanes that are summed; `align` delays the earlier lanes to the latest.

    `number` says which one it is of all that a sketch has; see `fork_numbers`.
    """

    lanes: tuple[Lane, ...]
    align: bool = False
    number: int = field(default=0, compare=False, repr=False)


@dataclass(frozen=True)
class BlenderStep:
    """A fork into the straight path and a wet chain, summed by the blender of that name."""

    name: str
    wet: Chain


Step: TypeAlias = BlockStep | LanesStep | BlenderStep
Chain: TypeAlias = tuple[Step, ...]


def block_names(chain: Chain) -> Iterator[str]:
    """Names of all blocks of a chain, in the order in which they are written."""
    for step in chain:
        if isinstance(step, BlockStep):
            yield step.name
        elif isinstance(step, BlenderStep):
            yield from block_names(step.wet)
            yield step.name
        else:
            for lane in step.lanes:
                yield from block_names(lane.chain)


def pruned(chain: Chain, keep: Container[str], closing: Container[str] = ()) -> Chain:
    """What is left of a chain when only some of its blocks are there.

    A lane that loses all its blocks goes with them, and so does one that loses a `closing` block: without it nothing
    came through. A fork of which no lane with blocks is left is a straight wire, so that the sound does not come twice.
    """
    steps: list[Step] = []
    for step in chain:
        if isinstance(step, BlockStep):
            steps += [step] if step.name in keep else []
        elif isinstance(step, LanesStep):
            open_lanes = [lane for lane in step.lanes if not any(_closed(s, keep, closing) for s in lane.chain)]
            lanes = [replace(lane, chain=pruned(lane.chain, keep, closing)) for lane in open_lanes]
            kept = tuple(now for now, was in zip(lanes, open_lanes, strict=True) if now.chain or not was.chain)
            steps += [replace(step, lanes=kept)] if any(lane.chain for lane in kept) else []
        else:
            wet = pruned(step.wet, keep, closing)
            steps += [BlenderStep(step.name, wet)] if step.name in keep and wet else []
    return tuple(steps)


def _closed(step: Step, keep: Container[str], closing: Container[str]) -> bool:
    return isinstance(step, BlockStep) and step.name not in keep and step.name in closing


def parse_chain(value: Any, place: str, faults: list[str]) -> Chain:
    """Read a chain out of a sketch's plain values; what is wrong is added to `faults`, each with its place."""
    chain = _series(value, place, faults, depth=0)
    names = list(block_names(chain))
    if len(names) > MAX_BLOCKS:
        faults.append(f"{place}: {len(names)} blocks, at most {MAX_BLOCKS} are allowed")
    forks = _fork_count(chain)
    if forks > MAX_FORKS:
        faults.append(f"{place}: {forks} forks, at most {MAX_FORKS} are allowed")
    for name in sorted({n for n in names if names.count(n) > 1}):
        faults.append(
            f'{place}: "{name}" stands in the chain {names.count(name)} times; a block can stand in one place only:'
            f" declare a second one under another name"
        )
    return chain


def _fork_count(chain: Chain) -> int:
    count = 0
    for step in chain:
        if isinstance(step, LanesStep):
            count += 1 + sum(_fork_count(lane.chain) for lane in step.lanes)
        elif isinstance(step, BlenderStep):
            count += 1 + _fork_count(step.wet)
    return count


def _series(value: Any, place: str, faults: list[str], depth: int) -> Chain:
    if depth > MAX_DEPTH:
        faults.append(f"{place}: nested more than {MAX_DEPTH} forks deep")
        return ()
    if not isinstance(value, list):
        faults.append(f"{place}: found {_found(value)}, allowed a list of block names and forks")
        return ()
    steps = (_step(item, f"{place}[{i}]", faults, depth) for i, item in enumerate(value))
    return tuple(step for step in steps if step is not None)


def _step(item: Any, place: str, faults: list[str], depth: int) -> Step | None:
    if isinstance(item, str):
        if item in (DRY, INPUT):
            faults.append(f'{place}: "{item}" is not a block; "{DRY}" can only be a lane of its own')
            return None
        return BlockStep(item)
    if isinstance(item, dict) and "lanes" in item:
        _unknown_keys(item, ("lanes", "align"), place, faults)
        return _lanes(item, place, faults, depth)
    if isinstance(item, dict) and "blender" in item:
        _unknown_keys(item, ("blender", "wet"), place, faults)
        if not isinstance(item["blender"], str):
            faults.append(f"{place}.blender: found {_found(item['blender'])}, allowed a block's name")
            return None
        if "wet" not in item:
            faults.append(f'{place}: a blender needs its wet chain: {{ blender = "{item["blender"]}", wet = [...] }}')
        return BlenderStep(item["blender"], _series(item.get("wet", []), f"{place}.wet", faults, depth + 1))
    faults.append(f"{place}: found {_found(item)}, allowed a block's name, {{ lanes = [...] }} or {{ blender = ... }}")
    return None


def _lanes(item: dict[str, Any], place: str, faults: list[str], depth: int) -> LanesStep | None:
    lanes, align = item["lanes"], item.get("align", False)
    if not isinstance(align, bool):
        faults.append(f"{place}.align: found {_found(align)}, allowed true or false")
    if not isinstance(lanes, list) or not lanes:
        faults.append(f"{place}.lanes: found {_found(lanes)}, allowed a list of at least one lane")
        return None
    return LanesStep(
        tuple(_lane(lane, f"{place}.lanes[{i}]", faults, depth) for i, lane in enumerate(lanes)), bool(align)
    )


def _lane(lane: Any, place: str, faults: list[str], depth: int) -> Lane:
    if lane == DRY:
        return Lane(())
    if isinstance(lane, str):
        return Lane(_series([lane], place, faults, depth + 1))
    if isinstance(lane, dict) and "lanes" not in lane and "blender" not in lane:
        _unknown_keys(lane, ("chain", "level_db", "pan"), place, faults)
        if "chain" not in lane:
            faults.append(f'{place}: a lane needs its chain: {{ chain = [...] }}, or chain = "dry"')
        chain = lane.get("chain", [])
        level_db = (
            -math.inf if lane.get("level_db") == "off" else _number(lane, "level_db", 0.0, -96, 24, place, faults)
        )
        pan = _number(lane, "pan", 0.0, -1, 1, place, faults) if "pan" in lane else None
        inner = () if chain in (DRY, [DRY]) else _series(chain, f"{place}.chain", faults, depth + 1)
        return Lane(inner, level_db, pan)
    return Lane(_series(lane if isinstance(lane, list) else [lane], place, faults, depth + 1))


def _number(
    table: dict[str, Any], key: str, default: float, low: float, high: float, place: str, faults: list[str]
) -> float:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        unit = " dB" if key.endswith("_db") else ""
        faults.append(f"{place}.{key}: found {_found(value)}, allowed {low:g} ... {high:g}{unit}")
        return default
    return float(value)


def _unknown_keys(table: dict[str, Any], known: tuple[str, ...], place: str, faults: list[str]) -> None:
    for key in table:
        if key not in known:
            faults.append(f'{place}: no entry "{key}", allowed {", ".join(known)}')


def _found(value: Any) -> str:
    if isinstance(value, str | int | float):
        return repr(value)[:60]
    return {list: "a list", dict: "a table", bool: "a yes/no"}.get(type(value), type(value).__name__)
