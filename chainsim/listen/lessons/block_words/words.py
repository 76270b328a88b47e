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


def dry_and_wet(dry_db: float, wet_db: float, wet: str) -> str:
    """How an effect stands beside what came in."""
    if dry_db == -math.inf:
        return f"Nothing of what came in goes on as it was: out comes {wet} alone, at {decibels(wet_db)}."
    if wet_db == -math.inf:
        return f"Here {wet} is turned off, and only what came in goes on, at {decibels(dry_db)}."
    return f"What came in goes on at {decibels(dry_db)}, with {wet} at {decibels(wet_db)} beside it."


def motion(rate_hz: float, note: str | None) -> str:
    """How often something moves."""
    return f"{hertz(rate_hz).replace('Hz', 'times a second')}" if note is None else f"once every {note} note"
