"""What a sketch does before any sound is made: the figures behind `chainsim check`."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from chainsim.batch.playing import AS_WRITTEN, alone, states
from chainsim.batch.refuge import Refuge, refuges
from chainsim.errors import GraphError, SketchError
from chainsim.graph.build import Graph
from chainsim.graph.engine import Engine, Reader
from chainsim.graph.nodes import Node
from chainsim.graph.rendering import build_graph
from chainsim.house.report import HouseReport, report_house
from chainsim.listen.drawing.text_drawing import draw_chain
from chainsim.sketch.chain import Chain, block_names
from chainsim.sketch.model import Sketch, State
from chainsim.sketch.timeline import muted_spans
from chainsim.stage.cues import Cue
from chainsim.stage.pitch_track import PitchTrack
from chainsim.stage.walk import Walk, walk
from chainsim.units import Audio

AIM_LATENCY_MS = 3.0
WARN_LATENCY_MS = 10.0
"""What horn players bear: M. Lester and J. Boley, "The Effects of Latency on Live Sound Monitoring", AES 123rd
Convention (2007), paper 7198; the saxophone is the strictest of the instruments in its table."""


@dataclass(frozen=True)
class NodeReport:
    """One thing that runs, in the order in which it runs."""

    name: str
    type: str
    latency_ms: float
    latency_at_output_ms: tuple[float, float]
    """From the take to its output, by the shortest and the longest way."""
    tail_s: float
    """Infinite if it never ends."""
    response_ms: float | None


@dataclass(frozen=True)
class StateReport:
    """The sketch as written, or one of its patches."""

    name: str
    picture: str
    latency_ms: tuple[float, float]
    tail_s: float
    out_channels: int
    made_stereo_by: tuple[str, ...]
    """Blocks that turn one channel into two."""
    chain_as_written: bool
    """Whether its chain is the sketch's own."""
    engaged: tuple[str, ...]
    disengaged: tuple[str, ...]
    nodes: tuple[NodeReport, ...]


@dataclass(frozen=True)
class CheckReport:
    """What there is to know of a sketch for takes of one rate and layout."""

    title: str
    sha256: str
    sample_rate_hz: float
    take_channels: int
    take_s: float | None
    """How long the take is, if there is one."""
    feed: str
    key: str | None
    """As it sounds."""
    room: str | None
    cues: tuple[Cue, ...]
    """In order of time."""
    muted_from_s: float | None
    """From when on the cues leave the feed muted to the end of the take, if they do."""
    walk: Walk | None
    """How one foot plays the cues, if there are switches."""
    refuges: tuple[Refuge, ...]
    """How far away the plain horn and silence are."""
    states: tuple[StateReport, ...]
    """As written, then every patch."""
    pitch_range_hz: tuple[float, float] | None
    """Where the pitch is looked for, if a block follows it."""
    second_instances: dict[str, int]
    """Blocks of which patches need more than one, with how many; the tail of one does not go on in another."""
    house: HouseReport | None
    """What comes to every seat of the house, by the chain as written."""
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        return asdict(self)

    def _repr_html_(self) -> str:
        """The chain in letters, latency and tail of it and of every patch, and the warnings, for notebooks."""
        from chainsim.listen.notebook import figure_text, picture_html, table_html

        rows = []
        for state in self.states:
            shortest, longest = map(figure_text, state.latency_ms)
            latency = shortest if shortest == longest else f"{shortest} to {longest}"
            tail = figure_text(state.tail_s) if math.isfinite(state.tail_s) else "never ends"
            rows.append([state.name, latency, tail, ", ".join(state.engaged) or "-"])
        caption = f"{self.title}: for takes of {self.sample_rate_hz:.0f} Hz"
        table = table_html(caption, ["patch", "latency ms", "tail s", "engaged"], rows, self.warnings)
        return f"<div>{picture_html(self.states[0].picture)}{table}</div>"


def check_sketch(
    sketch: Sketch, sample_rate_hz: float = 48_000.0, channels: int = 1, take_s: float | None = None
) -> CheckReport:
    """Build a sketch and each of its patches, and report what came of it.

    Parameters
    ----------
    sketch : Sketch
    sample_rate_hz : float
    channels : int
        Of the take.
    take_s : float, optional
        How long it is; cues that act after its end are told.

    Raises
    ------
    SketchError
        If the chain or one of its patches cannot be built for such takes; the message names the patch.
    """
    reports, warnings, faults, range_hz = [], list(sketch.warnings), [], None
    for name, state in states(sketch):
        place = "" if name == AS_WRITTEN else f"patches.{name}: "
        try:
            graph = build_graph(alone(sketch, state), sample_rate_hz, channels)
        except (GraphError, SketchError) as error:
            lines = str(error).splitlines()
            found = [line if line.startswith("controllers.") else place + line for line in lines]
            faults += [line for line in found if line not in faults]
            continue
        reports.append(_state_report(name, state, graph, sketch.base.chain))
        range_hz = sketch.header.pitch_range_hz if tracks_pitch(graph) else range_hz
        found = [*graph.warnings, *Engine(graph, _silent(channels), 0).warnings]
        warnings += [place + w for w in found if w not in warnings]
    if faults:
        raise SketchError(faults)
    house = None
    if sketch.house is not None:
        latency_ms = reports[0].latency_ms[0]
        house = report_house(sketch.house, sketch.assets, sample_rate_hz, latency_ms, take_s)
    header = sketch.header
    if range_hz is not None and header.instrument is None and None in (header.lowest_hz, header.highest_hz):
        warnings.append(
            f"the pitch is looked for between {range_hz[0]:.0f} and {range_hz[1]:.0f} Hz;"
            " name the instrument, and the tracker has less to mistake"
        )
    return CheckReport(
        title=sketch.title,
        sha256=sketch.sha256,
        sample_rate_hz=sample_rate_hz,
        take_channels=channels,
        take_s=take_s,
        feed=sketch.header.feed,
        key=sketch.base.key,
        room=sketch.room,
        cues=sketch.cues,
        muted_from_s=_muted_from_s(sketch, math.inf if take_s is None else take_s),
        refuges=refuges(sketch),
        walk=walk(sketch.board, sketch.cues, sketch.foot, take_s) if sketch.switches and sketch.cues else None,
        states=tuple(reports),
        pitch_range_hz=range_hz,
        second_instances=_second_instances(sketch, sample_rate_hz, channels),
        house=house,
        warnings=tuple(warnings),
    )


def _muted_from_s(sketch: Sketch, end_s: float) -> float | None:
    """When the mute begins that lasts until then, if there is one."""
    from_s: float | None = None
    last_s = math.nan
    for span_from_s, to_s in muted_spans(sketch):
        from_s = from_s if span_from_s == last_s else span_from_s
        if from_s is not None and from_s < end_s <= to_s:
            return from_s
        last_s = to_s
    return None


def tracks_pitch(graph: Graph) -> bool:
    """Whether the pitch of a sound is looked for in it: notes out of a MIDI file need no tracker."""
    return any(n.block_class is PitchTrack for n in graph.nodes)


def _state_report(name: str, state: State, graph: Graph, written: Chain) -> StateReport:
    rate_hz = graph.sample_rate_hz
    blocks = [n for n in graph.nodes if n.kind == "block"]
    nodes = tuple(
        NodeReport(
            name=n.name,
            type=n.block_class.type_name if n.block_class is not None else "",
            latency_ms=1000.0 * n.own_latency / rate_hz,
            latency_at_output_ms=_milliseconds(n.latency, rate_hz),
            tail_s=n.own_tail_s,
            response_ms=_response_ms(n),
        )
        for n in blocks
    )
    widening = [n.name for n in blocks if n.channels == 2 and all(s.channels == 1 for s in n.sources())]
    # A feed of one channel ends in the fold; what is folded is what counts here.
    before_fold = [s.channels for n in blocks if n.name == "fold to mono" for s in n.sources()]
    in_chain = list(block_names(state.chain))
    return StateReport(
        name=name,
        picture=draw_chain(state),
        latency_ms=_milliseconds(graph.latency, rate_hz),
        tail_s=max(n.tail_s for n in graph.outputs.values()),
        out_channels=max([graph.outputs["out"].channels, *before_fold]),
        made_stereo_by=tuple(widening),
        chain_as_written=state.chain == written,
        engaged=tuple(n for n in in_chain if state.blocks[n].common.engaged),
        disengaged=tuple(n for n in in_chain if not state.blocks[n].common.engaged),
        nodes=nodes,
    )


def _response_ms(node: Node) -> float | None:
    """Within what time a block answers a note: its own, and that of what tells it of the note."""
    times = [n.block.response_s for n in (node, *_followed(node)) if n.block is not None]
    known = [t for t in times if t is not None]
    return 1000.0 * sum(known) if known else None


def _followed(node: Node) -> list[Node]:
    """Its control sources, and theirs."""
    return [found for source in node.controls.values() for found in (source, *_followed(source))]


def _milliseconds(samples: tuple[float, float], rate_hz: float) -> tuple[float, float]:
    return 1000.0 * samples[0] / rate_hz, 1000.0 * samples[1] / rate_hz


def _second_instances(sketch: Sketch, sample_rate_hz: float, channels: int) -> dict[str, int]:
    """Play every patch once, also those that no cue calls, and count the instances of each block."""
    last_s = max((cue.at_s for cue in sketch.cues), default=0.0)
    every = (Cue(last_s + k, "patch", name) for k, name in enumerate(sketch.patches, start=1))
    cues = (*sketch.cues, *every)
    if not cues:
        return {}
    graph = build_graph(replace(sketch, cues=cues), sample_rate_hz, channels)
    counts = Counter(n.seed_name for n in graph.nodes if n.kind == "block" and n.seed_name)
    return {name: count for name, count in counts.items() if count > 1}


def _silent(channels: int) -> Reader:
    def read(n0: int, frames: int) -> Audio:
        return np.zeros((channels, frames))

    return read
