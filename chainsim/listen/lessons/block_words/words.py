"""The words for one block, and how values stand in them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class BlockWords:
    """What a walk tells of a block.

    Attributes
    ----------
    does : str
        Two sentences: what it is, and how it is set here.
    listen_for : str
    question, answer : str
    """

    does: str
    listen_for: str
    question: str
    answer: str


def valued(value: float, unit: str) -> str:
    """A setting as a player reads it: "12 dB", "off"."""
    if value == -math.inf:
        return "off"
    number = f"{value:.4g}" if abs(value) < 10_000.0 else f"{value:.0f}"
    return f"{number} {unit}".strip().replace("-", "\N{MINUS SIGN}")


def decibels(value: float) -> str:
    """A level; what is off has none."""
    return valued(value, "dB")


def hertz(value: float) -> str:
    """A frequency."""
    return valued(value, "Hz")


def millis(value: float) -> str:
    """A time in ms."""
    return valued(value, "ms")


def listed(words: Sequence[str]) -> str:
    """Words as a list: "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def is_on(level_db: float) -> bool:
    """Whether a level is not off."""
    return level_db > -math.inf


def number_of(count: int, one: str, more: str) -> str:
    """A count with its noun: "1 notch", "3 notches"."""
    return f"{count} {one if count == 1 else more}"


def level_change(level_db: float) -> str:
    """What a gain does to what it stands behind: "3 dB louder", "as loud as it is"."""
    if level_db == 0.0:
        return "as loud as it is"
    return f"{decibels(abs(level_db))} {'louder' if level_db > 0.0 else 'quieter'}"


def dry_and_wet(dry_db: float, wet_db: float, wet: str, *, several: bool = False) -> str:
    """How an effect stands beside what came in."""
    comes, is_ = ("come", "are") if several else ("comes", "is")
    if not is_on(dry_db) and not is_on(wet_db):
        return f"Here both {wet} and what came in are turned off, so nothing comes out."
    if not is_on(dry_db):
        return f"Nothing of what came in goes on as it was: out {comes} {wet} alone, at {decibels(wet_db)}."
    if not is_on(wet_db):
        return f"Here {wet} {is_} turned off, and only what came in goes on, at {decibels(dry_db)}."
    return f"What came in goes on at {decibels(dry_db)}, with {wet} at {decibels(wet_db)} beside it."


SHAPES = {
    "sine": "evenly",
    "triangle": "in straight lines",
    "saw": "in slow rises and sudden falls",
    "square": "in jumps between two places",
    "sample and hold": "in jumps to places drawn by chance",
}
"""How an LFO moves, by its shape."""


def motion(rate_hz: float, note: str | None) -> str:
    """How often something moves."""
    if note is not None:
        return f"once every {note} note"
    return "once a second" if rate_hz == 1.0 else f"{valued(rate_hz, 'times')} a second"
