"""What `chainsim check` says of a set under one foot: the walk through its cues, and the ways to safety."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from chainsim.cli.common import counted

if TYPE_CHECKING:
    from chainsim.batch.checking import CheckReport
    from chainsim.batch.refuge import Refuge
    from chainsim.stage.walk import Walk


def foot_lines(report: CheckReport) -> Iterator[str]:
    """All of it; cues alone where there are no switches."""
    first = next((cue for cue in report.cues if cue.kind == "patch"), None)
    if first is not None and first.at_s > 0.0:
        engaged = ", ".join(report.states[0].engaged) or "nothing"
        yield (
            f"\nUntil the first patch, at {first.at_s:.4g} s, the chain sounds as written, with {engaged}; a cue at"
            " 0 s would choose a patch"
        )
    if report.walk is not None:
        yield from _walk_lines(report.walk)
    elif report.cues:
        yield "\nCues: " + ", ".join(f"{cue.text} at {cue.when}" for cue in report.cues)
    if report.muted_from_s is not None:
        yield _muted_line(report, report.muted_from_s)
    if report.refuges:
        yield "" if report.walk is not None else "\nUnder one foot:"
        yield from map(_refuge_line, report.refuges)


def _walk_lines(walk: Walk) -> Iterator[str]:
    """What the foot does, cue by cue; an exclamation mark where it cannot."""
    impossible = set(walk.impossible)
    presses = counted(walk.presses, "press", "presses")
    yield f"\nUnder one foot: {counted(len(walk.steps), 'cue')} with {presses}, as few as it can in the time"
    yield from (f"{'!' if line in impossible else ' '} {line}" for line in walk.lines)
    if impossible:
        count = len(impossible)
        yield f"{counted(count, 'change')} {'is' if count == 1 else 'are'} not for one foot (!)"


def _muted_line(report: CheckReport, from_s: float) -> str:
    later = any(cue.at_s > from_s for cue in report.cues)
    if report.take_s is None:
        return f"Muted from {from_s:.1f} s {'to the last cue and beyond: no cue ends it' if later else 'on'}"
    return f"Muted from {from_s:.1f} s to the end of the take{': no cue in it ends that' if later else ''}"


def _refuge_line(refuge: Refuge) -> str:
    if refuge.presses is not None and refuge.presses <= 1:
        return f"{refuge.sound} is one press away from every patch"
    first, *more = refuge.patches
    where = f"the patch {first}" if not more else f"{len(refuge.patches)} patches, such as {first}"
    if refuge.presses is None:
        return f"! no switch leads to {refuge.sound} from {where}"
    return f"! {refuge.sound} is {refuge.presses} presses away from {where} ({', '.join(refuge.gestures)})"
