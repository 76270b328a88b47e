"""Sentences made from figures: which words they use is decided by the numbers, never beforehand."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal, TypeAlias

from chainsim.listen.lessons.model import Claim
from chainsim.listen.page.model import Figure

Outcome: TypeAlias = Literal["more", "less", "same"]

INFINITE = 100.0
"""How far silence is said to be from what sounds, in dB."""

ROUNDING_DB = -100.0

NOT_MEASURED = "not to be measured"
_BRACKETS = re.compile(rf" *\([^()]*{NOT_MEASURED}[^()]*\)")
_SENTENCE_ENDS = re.compile(r"(?<=[.?!]) +")

UNIT_OF_DIFFERENCE = {"dBFS": "dB", "dBTP": "dB", "LUFS": "LU"}


@dataclass(frozen=True)
class Reading:
    """One measured figure, and what it is called; less than its floor is told as no more than that."""

    label: str
    value: float
    unit: str
    digits: int = 1
    floor: float = -math.inf

    @property
    def text(self) -> str:
        """The figure as a player reads it."""
        if math.isnan(self.value):
            return NOT_MEASURED
        if math.isinf(self.value):
            return "silence" if self.value < 0.0 else "without end"
        if self.value < self.floor:
            return f"less than {amount(self.floor, self.unit, 0)}"
        return amount(self.value, self.unit, self.digits)

    @property
    def figure(self) -> Figure:
        """It as a figure beside the claim."""
        return Figure(self.label, self.text)


def amount(value: float, unit: str, digits: int = 1) -> str:
    """A value with its unit: "9.3 dB", "1 450 Hz", "12 %"."""
    rounded = round(value, digits) + 0.0
    number = f"{rounded:,.{digits}f}".replace(",", " ").replace("-", "\N{MINUS SIGN}")
    return f"{number} {unit}".rstrip()


def measured_only(text: str) -> str:
    """A text without the brackets and sentences that a figure is lacking in, as the claims say so already."""
    without = _BRACKETS.sub("", text)
    return " ".join(sentence for sentence in _SENTENCE_ENDS.split(without) if NOT_MEASURED not in sentence)


def what_is_left(label: str, left_db: float) -> Reading:
    """A difference of two sounds, which under -100 dB is rounding."""
    return Reading(label, left_db, "dB", 0, floor=ROUNDING_DB)


def compared(
    first: Reading, second: Reading, *, least: float, expects: Outcome, more: str, less: str, same: str
) -> Claim:
    """Say how the second figure lies to the first.

    Parameters
    ----------
    first, second : Reading
        Of one unit.
    least : float
        What they must differ by to be called different, in that unit: about what the ear notices.
    expects : {"more", "less", "same"}
        What the lesson is about to show.
    more, less, same : str
        The sentences; {first}, {second} and {difference} stand for the figures.

    Returns
    -------
    Claim
        It holds if the figures came out as expected. If they did not, its sentence begins with that.
    """
    figures = (first.figure, second.figure)
    if math.isnan(first.value) or math.isnan(second.value):
        lacking = first if math.isnan(first.value) else second
        return Claim(f"On this take it cannot be told: {lacking.label} is {NOT_MEASURED}.", figures, False)
    difference = 0.0 if first.value == second.value else second.value - first.value
    outcome: Outcome = "same" if abs(difference) < least else "more" if difference > 0.0 else "less"
    unit = UNIT_OF_DIFFERENCE.get(first.unit, first.unit)
    if math.isinf(difference):
        apart = f"over {amount(INFINITE, unit, 0)}"
    else:
        apart = amount(abs(difference), unit, first.digits)
    sentence = {"more": more, "less": less, "same": same}[outcome].format(
        first=first.text, second=second.text, difference=apart
    )
    if outcome == expects:
        return Claim(sentence, figures, True)
    if outcome == "same":
        return Claim(f"On this take it makes no difference that counts ({apart}): {_lowered(sentence)}", figures, False)
    return Claim(f"On this take it is otherwise: {_lowered(sentence)}", figures, False)


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]
