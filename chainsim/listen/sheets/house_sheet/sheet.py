"""What stands on the house sheet: one page for the engineer, of the feed and of nobody's person."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from chainsim.graph.build import Graph
from chainsim.graph.rendering import build_graph
from chainsim.listen.sheets.failure_sheet.sheet import played_states
from chainsim.listen.sheets.gestures import gestures_for
from chainsim.listen.sheets.house_sheet.effects import Effect, effects
from chainsim.listen.sheets.house_sheet.entrances import entrances
from chainsim.listen.sheets.house_sheet.figures import HouseFigures, PatchFigures
from chainsim.listen.sheets.house_sheet.lowest_notes import LowestNote, lowest_notes, unbounded_below
from chainsim.listen.sheets.wiring_sheet.sheet import wiring_sheet
from chainsim.music.horns import find_horn
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import Sketch, State

RATE_HZ = 48_000.0
SPREAD_LU = 3.0
"""How far patches may lie apart, the loudest from the quietest, for one position of the fader."""
CAUTIONS = (
    "Phantom supply (48 V): switch it with the fader down, and only onto what its maker allows it for.",
    "Mains, supplies and earth: makers' manuals, local codes, licensed people.",
    "Start low, raise slowly: feedback and resonance can jump in level. Mind all ears.",
)


@dataclass(frozen=True)
class HouseSheet:
    """What stands on the sheet.

    Attributes
    ----------
    title : str
    room, instrument : str or None
    patches : tuple of str
    channels : int
        Of the feed: 1, or 2 for left and right.
    latency_ms : (least, most)
        From the microphone to the feed, over all patches and ways; both by the graph, not by ear.
    effects : tuple of Effect
    lowest : tuple of LowestNote
    unbounded_below : tuple of str
        Blocks that sound under whatever is played.
    mutes, plain : tuple of str
        What the player presses or holds for silence, and for the plain horn.
    entrances : mapping of patch to tuple of str
        Where the cues bring it in.
    off_at_first : tuple of str
        Blocks with switches of their own that are off in some patch until the player switches them: figures are without
        them.
    states_levels : bool
        Whether the sketch says what its figures are on a wire.
    figures : HouseFigures or None
        None without a take.
    cautions : tuple of str
    """

    title: str
    room: str | None
    instrument: str | None
    patches: tuple[str, ...]
    channels: int
    latency_ms: tuple[float, float]
    effects: tuple[Effect, ...]
    lowest: tuple[LowestNote, ...]
    unbounded_below: tuple[str, ...]
    mutes: tuple[str, ...]
    plain: tuple[str, ...]
    entrances: Mapping[str, tuple[str, ...]]
    off_at_first: tuple[str, ...]
    states_levels: bool
    figures: HouseFigures | None
    cautions: tuple[str, ...] = CAUTIONS

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for programs."""
        return {**asdict(self), "spread_lu": self.spread_lu}

    @property
    def sounding(self) -> tuple[PatchFigures, ...]:
        """Figures of the patches that are not silent, the loudest first."""
        known = () if self.figures is None else self.figures.patches
        return tuple(sorted((p for p in known if math.isfinite(p.integrated_lufs)), key=lambda p: -p.integrated_lufs))

    @property
    def spread_lu(self) -> float | None:
        """From the loudest patch to the quietest, as printed: to a tenth."""
        return _apart_lu(self.sounding[0], self.sounding[-1]) if self.sounding else None

    @property
    def to_ride(self) -> tuple[tuple[PatchFigures, float], ...]:
        """Patches that one position of the fader does not do for, with their LU over those that it does for.

        It stands where it does for most of them: for as many as lie within 3 LU, the loudest of such.
        """
        within = [
            [p for p in self.sounding[i:] if _apart_lu(first, p) <= SPREAD_LU] for i, first in enumerate(self.sounding)
        ]
        most = max(within, key=len, default=[])
        others = [p for p in self.sounding if p not in most]
        return tuple((p, p.integrated_lufs - statistics.mean(q.integrated_lufs for q in most)) for p in others)


def house_sheet(sketch: Sketch, *, channels: int = 1, figures: HouseFigures | None = None) -> HouseSheet:
    """Gather what an engineer has to know.

    Parameters
    ----------
    sketch : Sketch
        As it is set in its room, if it is in one.
    channels : int
        Of the microphone: 1, or 2.
    figures : HouseFigures, optional
        What a take tells.

    Raises
    ------
    SketchError, GraphError
        If a chain cannot be built.
    """
    header = sketch.header
    states = played_states(sketch)
    graphs = _graphs(sketch, channels)
    return HouseSheet(
        title=sketch.title,
        room=sketch.room,
        instrument=None if header.instrument is None else find_horn(header.instrument).name,
        patches=tuple(states),
        channels=_feed_channels(sketch, channels, graphs),
        latency_ms=(
            1000.0 * min(g.latency[0] for g in graphs) / RATE_HZ,
            1000.0 * max(g.latency[1] for g in graphs) / RATE_HZ,
        ),
        effects=effects(sketch, states),
        lowest=lowest_notes(sketch, list(states.values())),
        unbounded_below=unbounded_below(sketch, list(states.values())),
        mutes=gestures_for(sketch.board, "mute"),
        plain=gestures_for(sketch.board, "dry"),
        entrances=entrances(sketch),
        off_at_first=_off_at_first(sketch, list(states.values())),
        states_levels=sketch.levels is not None,
        figures=figures,
    )


def feed_channels(sketch: Sketch, channels: int) -> int:
    """Lines to the desk, of a microphone with so many channels: as many as the widest patch has.

    Raises
    ------
    SketchError, GraphError
        If a chain cannot be built.
    """
    return _feed_channels(sketch, channels, _graphs(sketch, channels))


def _off_at_first(sketch: Sketch, states: Sequence[State]) -> tuple[str, ...]:
    off = {name for state in states for name in block_names(state.chain) if name in sketch.own_switches - state.engaged}
    return tuple(sorted(off))


def _graphs(sketch: Sketch, channels: int) -> list[Graph]:
    return [build_graph(sketch.alone(name), RATE_HZ, channels) for name in (sketch.patches or [None])]


def _feed_channels(sketch: Sketch, channels: int, graphs: Sequence[Graph]) -> int:
    # A patch with a chain of its own may be wider than what is plugged for the sketch as written.
    plugged = wiring_sheet(sketch, channels=channels).cabling.out_channels
    return max(plugged, *(graph.channels("out") for graph in graphs))


def _apart_lu(louder: PatchFigures, softer: PatchFigures) -> float:
    # Of what is printed, so that nobody who takes one from the other finds another figure.
    return round(round(louder.integrated_lufs, 1) - round(softer.integrated_lufs, 1), 1)
