"""A chain in one line: "echo > (sweep | dry) > hall"."""

from __future__ import annotations

from chainsim.listen.sheets.stage_sheet.value_text import level_text
from chainsim.sketch.chain import DRY, BlockStep, Chain, Lane, LanesStep, Step


def chain_line(chain: Chain) -> str:
    """Write a chain in one line: series with ">", lanes in parentheses, a blender's as "mix(dry | hall)"."""
    return " > ".join(_step(step) for step in chain) or DRY


def _step(step: Step) -> str:
    if isinstance(step, BlockStep):
        return step.name
    if isinstance(step, LanesStep):
        lanes = " | ".join(_lane(lane) for lane in step.lanes)
        return f"({lanes}) aligned" if step.align else f"({lanes})"
    return f"{step.name}({DRY} | {chain_line(step.wet)})"


def _lane(lane: Lane) -> str:
    level = f" {level_text(lane.level_db)}" if lane.level_db != 0.0 else ""
    pan = "" if lane.pan is None else f" pan {lane.pan:+g}"
    return chain_line(lane.chain) + level + pan
