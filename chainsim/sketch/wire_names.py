"""What the wires of a chain are called: as probes ask for them, and as drawings and pages name them.

A block's output has the block's name. Forks and their lanes have numbers; see `fork_numbers`. No block's name has a
blank in it, so none of these can be one.
"""

from __future__ import annotations

from typing import Literal

Leg = Literal["dry", "wet"]


def sum_name(fork: int) -> str:
    """What a fork of lanes gives: "sum 1"."""
    return f"sum {fork}"


def part_sum_name(fork: int, lane: int) -> str:
    """What its lanes from this one on give, where they are summed before those above them: "sum 1.2"."""
    return f"sum {fork}.{lane}"


def lane_name(fork: int, lane: int) -> str:
    """A lane after its level and pan: "lane 1.2"."""
    return f"lane {fork}.{lane}"


def before_pan_name(fork: int, lane: int) -> str:
    """A lane between its level and its pan: "lane 1.2 before pan"."""
    return f"{lane_name(fork, lane)} before pan"


def aligned_name(fork: int, lane: int) -> str:
    """A lane that has waited for the latest of its fork: "lane 1.2 aligned"."""
    return f"{lane_name(fork, lane)} aligned"


def leg_name(blender: str, leg: Leg) -> str:
    """What a blender sums, behind its dry or wet level: "mix dry"."""
    return f"{blender} {leg}"
