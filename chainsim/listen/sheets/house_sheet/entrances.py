"""When each patch comes, as the cues say."""

from __future__ import annotations

from chainsim.listen.sheets.stage_sheet.bars import BarCount, counts_bars
from chainsim.sketch.model import Sketch


def entrances(sketch: Sketch) -> dict[str, tuple[str, ...]]:
    """Where the cues bring in each patch: "bar 17", or "24.5 s" where no bars are counted; nothing without cues."""
    count = BarCount(sketch) if sketch.cues and counts_bars(sketch) else None
    position = sketch.board.start()
    found: dict[str, list[str]] = {}
    for cue in sketch.cues:
        before = position.patch
        position = sketch.board.apply(position, cue)
        if position.patch is not None and position.patch != before:
            bar = None if cue.bar or count is None else count.bar_at(cue.at_s)
            found.setdefault(position.patch, []).append(cue.when if bar is None else f"bar {bar}")
    return {patch: tuple(times) for patch, times in found.items()}
