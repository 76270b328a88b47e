"""Where in the music a time of the take lies."""

from __future__ import annotations

from itertools import pairwise

from chainsim.music.meter import bar_beat, parse_meter
from chainsim.sketch.model import Sketch
from chainsim.sketch.timeline import moments

_COUNTED_TO_BEATS = 0.1
"""What a player can place between two beats."""


class BarCount:
    """Counts bars from the first beat on, through every tempo that cues and taps bring.

    Parameters
    ----------
    sketch : Sketch
        Its cues have their times.
    """

    def __init__(self, sketch: Sketch) -> None:
        self._meter = parse_meter(sketch.header.meter)
        begun = [(max(m.at_s, sketch.header.first_beat_s), m.tempo_bpm) for m in moments(sketch)]
        self._beats: list[tuple[float, float, float]] = []
        beats = 0.0
        for (at_s, bpm), (until_s, _) in pairwise([*begun, begun[-1]]):
            per_s = bpm / 60.0 / self._meter.quarters_per_beat
            self._beats.append((at_s, beats, per_s))
            beats += (until_s - at_s) * per_s

    def bar_at(self, at_s: float) -> str | None:
        """Bar, or bar:beat to a tenth of a beat: "11", "11:2.5"; None before the first beat.

        Parameters
        ----------
        at_s : float
            Time in the take.
        """
        passed = [place for place in self._beats if place[0] <= at_s]
        if not passed:
            return None
        since_s, beats, per_s = passed[-1]
        counted = round((beats + (at_s - since_s) * per_s) / _COUNTED_TO_BEATS) * _COUNTED_TO_BEATS
        return bar_text(bar_beat(counted * self._meter.quarters_per_beat, self._meter))


def bar_text(place: str) -> str:
    """A place without the beat where that is the first."""
    return place.removesuffix(":1")


def counts_bars(sketch: Sketch) -> bool:
    """Whether its reader counts bars: some cue stands in bars, or it says how they lie."""
    return any(cue.bar for cue in sketch.cues) or not {"meter", "first_beat_s"}.isdisjoint(
        sketch.header.model_fields_set
    )
