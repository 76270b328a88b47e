"""Bars and beats: "17:2.5" is bar 17, half a beat after its second beat; both count from 1.

    quarters = ((bar - 1) beats + beat - 1) 4 / unit                                            (1)

A beat is the note value under the line of the meter: in "6/8" a bar has six beats of half a quarter each.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from chainsim.errors import SettingError

MOST_BEATS = 32
UNITS = (1, 2, 4, 8, 16, 32)

_PLACE = re.compile(r"([0-9]{1,6})(?::([0-9]{1,2}(?:\.[0-9]+)?))?")
_PRINTED_DIGITS = 3


@dataclass(frozen=True)
class Meter:
    """A time signature.

    Attributes
    ----------
    beats : int
        Beats in a bar, 1 to 32.
    unit : int
        Note value of a beat: 4 is a quarter.
    """

    beats: int = 4
    unit: int = 4

    @property
    def quarters_per_beat(self) -> float:
        """Length of a beat."""
        return 4.0 / self.unit

    @property
    def text(self) -> str:
        """As it is written."""
        return f"{self.beats}/{self.unit}"


def parse_meter(text: str) -> Meter:
    """Read a meter such as "3/4".

    Raises
    ------
    SettingError
        If it is none: 1 to 32 beats over 1, 2, 4, 8, 16 or 32.
    """
    found = re.fullmatch(r"\s*([0-9]{1,2})\s*/\s*([0-9]{1,2})\s*", text)
    if found and 1 <= int(found[1]) <= MOST_BEATS and int(found[2]) in UNITS:
        return Meter(int(found[1]), int(found[2]))
    units = ", ".join(map(str, UNITS))
    raise SettingError(f'no meter "{text}", allowed 1 to {MOST_BEATS} beats over {units}, such as "3/4"')


def parse_place(text: str) -> tuple[int, float]:
    """Read bar and beat.

    Parameters
    ----------
    text : str
        "BAR:BEAT", both counted from 1, the beat with a fraction if need be; "17" is the first beat of bar 17.

    Raises
    ------
    SettingError
        If it is no place in any meter.
    """
    found = _PLACE.fullmatch(text.strip())
    bar, beat = (int(found[1]), float(found[2] or 1)) if found else (0, 0.0)
    if bar < 1 or not 1.0 <= beat < MOST_BEATS + 1:
        raise SettingError(f'no place "{text}", allowed "BAR:BEAT" such as "17:2.5", from bar 1 and beat 1 on')
    return bar, beat


def quarters_at(text: str, meter: Meter) -> float:
    """Quarters from the beginning of bar 1 to a place as `parse_place` reads it: equation (1).

    Raises
    ------
    SettingError
        If it is no place, or the bar has no such beat.
    """
    bar, beat = parse_place(text)
    if beat >= meter.beats + 1:
        raise SettingError(
            f'no place "{text}" in {meter.text}, allowed beats from 1 up to, not including, {meter.beats + 1}'
        )
    return ((bar - 1) * meter.beats + beat - 1.0) * meter.quarters_per_beat


def bar_beat(quarters: float, meter: Meter) -> str:
    """Bar and beat, to a thousandth of a beat, of a number of quarters since the beginning of bar 1.

    Raises
    ------
    SettingError
        If the number is negative or not finite.
    """
    if not 0.0 <= quarters < math.inf:
        raise SettingError(f"quarters = {quarters:g}, allowed 0 or more")
    bars, beats = divmod(round(quarters / meter.quarters_per_beat, _PRINTED_DIGITS), meter.beats)
    return f"{int(bars) + 1}:{round(beats + 1.0, _PRINTED_DIGITS):g}"
