"""Which states of a sketch occur on stage, and at which tempi."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chainsim.sketch.model import Sketch
from chainsim.sketch.timeline import moments
from chainsim.stage.taps import FURTHEST_S

_AS_GOOD_AS = 0.005
"""Relative: so far two tempi may differ that a sheet tells as one."""


@dataclass(frozen=True)
class Occurrence:
    """A patch, or under None the sketch as written, and the tempi at which it is heard."""

    patch: str | None
    tempi_bpm: tuple[float, ...]


def occurrences(sketch: Sketch) -> tuple[Occurrence, ...]:
    """Every patch; before them the sketch as written, unless a cue at the very beginning leaves it.

    A tempo that the cue list taps counts where it holds, not while it is still being tapped; near to one that is
    written it is that one.
    """
    written = [sketch.base.tempo_bpm, *(p.state.tempo_bpm for p in sketch.patches.values())]
    found: dict[str | None, list[float]] = {None: [], **{n: [p.state.tempo_bpm] for n, p in sketch.patches.items()}}
    walked = list(moments(sketch))
    for moment, after in zip(walked, [*walked[1:], None], strict=True):
        lasts_s = FURTHEST_S if after is None else after.at_s - moment.at_s
        being_tapped = after is not None and after.tempo_bpm != moment.tempo_bpm and lasts_s < FURTHEST_S
        if lasts_s > 0.0 and not being_tapped:
            found[moment.position.patch].append(_nearest(moment.tempo_bpm, written))
    if not sketch.patches:
        found[None].append(sketch.base.tempo_bpm)
    return tuple(Occurrence(patch, tuple(dict.fromkeys(tempi))) for patch, tempi in found.items() if tempi)


def _nearest(bpm: float, written: Sequence[float]) -> float:
    near = min(written, key=lambda w: abs(w / bpm - 1.0))
    return near if abs(near / bpm - 1.0) < _AS_GOOD_AS else bpm
