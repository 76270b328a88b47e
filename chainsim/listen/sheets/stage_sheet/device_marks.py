"""Where a value stands on the knob of a player's own device."""

from __future__ import annotations

import bisect
import math
from typing import Any

from chainsim.settings import Spec
from chainsim.sketch.model import Marks


def mark_of(marks: Marks, spec: Spec, value: Any) -> str:
    """Where to put the knob.

    Parameters
    ----------
    marks : Marks
    spec : Spec
        Of the setting; frequencies, and what moves by the logarithm, are read between the marks by the logarithm.
    value : number or str
        In the setting's own unit; minus infinity is a level that is off.

    Returns
    -------
    str
        "length 3": between two marks that are numbers the number in between. Between two of which one is a word:
        "tone II, between I and II", the nearer one first. Beyond the ends: "length past 10". Empty for a word
        that has no mark.
    """
    found = _on_knob(marks, spec, value)
    return f"{marks.knob} {found}" if found else ""


def _on_knob(marks: Marks, spec: Spec, value: Any) -> str:
    for at, mark in marks.points:
        if at == value:
            return _text(mark)
    if spec.low is None:
        return ""
    points = [(float(at), mark) for at, mark in marks.points]
    place = bisect.bisect_left([at for at, _ in points], value)
    if place in (0, len(points)):
        return f"past {_text(points[0 if place == 0 else -1][1])}"
    (low, mark_below), (high, mark_above) = points[place - 1 : place + 1]
    if low > 0.0 and (spec.law == "log" or spec.unit == "Hz"):
        low, value, high = math.log(low), math.log(value), math.log(high)
    share = (value - low) / (high - low)
    if isinstance(mark_below, float) and isinstance(mark_above, float):
        return _between(mark_below, mark_above, share)
    nearer = mark_below if share <= 0.5 else mark_above
    return f"{_text(nearer)}, between {_text(mark_below)} and {_text(mark_above)}"


def _between(below: float, above: float, share: float) -> str:
    """Rounded to what a hand can set: a hundredth of the way, or up to a tenth where that is a rounder number."""
    width = abs(above - below)
    decimals = max(0, 2 - math.ceil(math.log10(width))) if width > 0.0 else 0
    return _text(round(below + share * (above - below), decimals))


def _text(mark: str | float) -> str:
    return mark if isinstance(mark, str) else f"{mark:g}"
