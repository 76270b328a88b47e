"""The cue list as the foot plays it, for the stage sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from chainsim.listen.sheets.stage_sheet.bars import BarCount, counts_bars
from chainsim.sketch.model import Sketch
from chainsim.stage.cues import Cue
from chainsim.stage.walk import WalkStep, walk


@dataclass(frozen=True)
class CueLine:
    """One cue.

    Attributes
    ----------
    at_s : float
    when, what : str
        "bar 17", or "24.5 s" where no bars are counted; "chorale", a patch, or "echo on".
    gestures : tuple of str
        What to press, in order; those that may be done ahead say so. "-" for nothing, "with the next" where a cue at
        the same time takes it along.
    caution : str
        What one foot cannot make of it, or what is heard on the way; empty if all is well.
    in_take : str
        Its time in the take, to find it there: "24.5 s"; empty where `when` is that already.
    """

    at_s: float
    when: str
    what: str
    gestures: tuple[str, ...]
    caution: str = ""
    in_take: str = ""


def cue_lines(sketch: Sketch) -> tuple[CueLine, ...]:
    """Every cue in order, with the fewest presses that lead through the list; without switches the cues alone."""
    if not sketch.switches:
        return _in_bars([CueLine(c.at_s, c.when, _what(c), ()) for c in sketch.cues], sketch)
    steps = walk(sketch.board, sketch.cues, sketch.foot).steps
    lines = [_line(cue, step) for cue, step in zip(sketch.cues, steps, strict=True)]
    return _in_bars(lines, sketch)


def _in_bars(lines: Sequence[CueLine], sketch: Sketch) -> tuple[CueLine, ...]:
    """The cues by bars, if bars are counted: those in seconds by the nearest place that can be counted."""
    if not counts_bars(sketch):
        return tuple(lines)
    count = BarCount(sketch)
    placed = []
    for line, cue in zip(lines, sketch.cues, strict=True):
        bar = None if cue.bar else count.bar_at(cue.at_s)
        when = line.when if bar is None else f"bar {bar}"
        in_take = f"{cue.at_s:.2f} s" if cue.bar or bar is not None else ""
        placed.append(replace(line, when=when, in_take=in_take))
    return tuple(placed)


def _line(cue: Cue, step: WalkStep) -> CueLine:
    gestures = tuple(f"{g} ahead" if i < step.ahead else g for i, g in enumerate(step.gestures))
    if not gestures:
        gestures = ("over MIDI" if not cue.by_foot else "with the next" if step.with_next else "-",)
    return CueLine(cue.at_s, cue.when, _what(cue), gestures, _caution(step))


def _what(cue: Cue) -> str:
    return cue.name if cue.kind == "patch" else cue.text


def _caution(step: WalkStep) -> str:
    if step.verdict == "out of reach":
        return "no switch leads there"
    on_the_way = f"{' and '.join(step.passes)} on the way" if step.passes else ""
    if step.verdict == "too fast" and step.time_s is not None:
        there_is_s, needs_s = (
            math.floor(100.0 * step.time_s + 1e-6) / 100.0,
            math.ceil(100.0 * step.needs_s - 1e-6) / 100.0,
        )
        too_fast = f"TOO FAST: {there_is_s:g} s, this foot needs {needs_s:g} s"
        return f"{too_fast}; {on_the_way}" if on_the_way else too_fast
    return on_the_way
