"""What a sketch does to a take: how loud it comes out, what a fold to one channel loses, what its gates do."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from chainsim.batch.files.metering import OutputMeter
from chainsim.batch.files.metering import cautions as loud
from chainsim.blocks.noise_gate import NoiseGateSettings
from chainsim.dsp.envelope import low_cut_coefficient, low_cut_level
from chainsim.errors import GraphError
from chainsim.graph.build import Graph
from chainsim.graph.engine import Engine, Reader
from chainsim.graph.nodes import Edge, Node
from chainsim.graph.rendering import build_graph
from chainsim.measure.fitness import TakeFindings
from chainsim.measure.gaps import measure_gaps
from chainsim.measure.gating import Gating, measure_gating
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import BlockEntry, Sketch, State
from chainsim.units import Array, Audio

AS_WRITTEN = "as written"
GATE = "noise_gate"
HEARD = "what {} hears"
LOUD_LUFS = -14.0
Samples = npt.NDArray[np.float32]


@dataclass(frozen=True)
class FoldReport:
    """What the fold (L + R) / 2 keeps; (L - R) / 2 is lost."""

    quieter_db: float
    """By how much the fold, on both sides, is quieter than the stereo sound."""
    lost_share: float
    """Share of the energy that lies in the difference of left and right, 0 to 1."""


@dataclass(frozen=True)
class PlayedReport:
    """What comes out when the take is sent through the whole sketch, with its cues."""

    channels: int
    integrated_lufs: float
    true_peak_dbtp: float
    louder_by_lu: float
    """Than the take while that sounds, both on two loudspeakers; NaN if either is silent."""
    fold: FoldReport | None
    """Where the feed is mono and the sound is not."""


@dataclass(frozen=True)
class GateReport:
    """What one gate does to the take."""

    name: str
    state: str
    """The patch it was played in: the first one that engages it."""
    hears: str
    threshold_db: float
    suggested_threshold_db: float
    """From the rests of what its detector hears; NaN where these do not tell."""
    gating: Gating


def states(sketch: Sketch) -> Iterator[tuple[str, State]]:
    """Yield the sketch as written, then its patches, each by name."""
    yield AS_WRITTEN, sketch.base
    yield from ((name, patch.state) for name, patch in sketch.patches.items())


def alone(sketch: Sketch, state: State) -> Sketch:
    """The sketch in one of its states, without cues."""
    return replace(sketch.alone(), base=state)


def play(
    sketch: Sketch, audio: Samples, sample_rate_hz: float, findings: TakeFindings
) -> tuple[PlayedReport, tuple[GateReport, ...]]:
    """Send a take, shape (frames, channels), through the sketch, and through each patch that has gates of its own."""
    gates: list[GateReport] = []
    for name, part, entries in _with_gates(sketch):
        gates += _gate_reports(name, part, entries, audio, sample_rate_hz, findings)
    return _played(sketch, audio, sample_rate_hz, findings.fitness.integrated_lufs), tuple(gates)


def cautions(played: PlayedReport) -> list[str]:
    """What to mind before listening."""
    found = loud(played.true_peak_dbtp, played.louder_by_lu)
    if found or played.integrated_lufs > LOUD_LUFS:
        found.append("mind your ears: start with the volume down, and keep a limiter before headphones")
    return found


def _with_gates(sketch: Sketch) -> Iterator[tuple[str, Sketch, list[BlockEntry]]]:
    """States with the gates that they are the first to engage."""
    seen: set[str] = set()
    for name, state in states(sketch):
        engaged = [state.blocks[n] for n in block_names(state.chain) if state.blocks[n].common.engaged]
        entries = [e for e in engaged if e.type_name == GATE and e.name not in seen]
        seen |= {e.name for e in entries}
        if entries:
            yield name, alone(sketch, state), entries


def _gate_reports(
    state: str, sketch: Sketch, entries: list[BlockEntry], audio: Samples, rate_hz: float, findings: TakeFindings
) -> Iterator[GateReport]:
    entries = [e for e in entries if _is_heard(sketch, e.name, rate_hz, audio.shape[1])]
    graph = build_graph(sketch, rate_hz, audio.shape[1], [f"{e.name}:gain" for e in entries])
    gates = {e.name: graph.readings[f"{e.name}:gain"][0] for e in entries}
    detectors = {name: _Detector(graph, name, node) for name, node in gates.items()}
    gains = {name: np.ones(len(audio), np.float32) for name in gates}
    for n0, outputs in Engine(graph, _reader(audio), len(audio)).stream():
        for name, node in gates.items():
            begin = n0 - round(node.latency[0])
            _place(outputs[f"{name}:gain"][0], begin, gains[name])
            detectors[name].add(outputs[HEARD.format(name)])
    for entry in entries:
        assert isinstance(entry.settings, NoiseGateSettings)
        yield GateReport(
            name=entry.name,
            state=state,
            hears=entry.common.listens_to or "its own input",
            threshold_db=entry.settings.threshold_db,
            suggested_threshold_db=detectors[entry.name].threshold_db(len(audio)),
            gating=measure_gating(audio, gains[entry.name], rate_hz, findings.notes, findings.gaps.rests_s),
        )


def _is_heard(sketch: Sketch, gate: str, rate_hz: float, channels: int) -> bool:
    """Whether an engaged gate is in the graph at all: not in a lane that is off, or behind a blender that is away."""
    try:
        build_graph(sketch, rate_hz, channels, [f"{gate}:gain"])
    except GraphError:
        return False
    return True


class _Detector:
    """Listens where a gate's detector listens, and as it does: with its low cut."""

    def __init__(self, graph: Graph, name: str, gate: Node) -> None:
        edges = [Edge(e.source, e.gain) for e in gate.ports["detector"]]
        channels = max((e.source.channels for e in edges), default=1)
        graph.outputs[HEARD.format(name)] = ear = Node("junction", name, ports={"in": edges}, channels=channels)
        graph.nodes.append(ear)
        self._rate_hz = graph.sample_rate_hz
        assert isinstance(gate.settings, NoiseGateSettings)
        cutoff_hz = min(gate.settings.detector_low_cut_hz, 0.45 * self._rate_hz)
        self._cut = low_cut_coefficient(cutoff_hz, self._rate_hz)
        self._z = np.zeros((channels, 2))
        self._parts: list[Samples] = []

    def add(self, x: Audio) -> None:
        level = np.empty(x.shape[1])
        low_cut_level(x, self._cut, self._z, level)
        self._parts.append(level.astype(np.float32))

    def threshold_db(self, frames: int) -> float:
        """What the rests suggest; what comes after the take is no rest of the player's."""
        return measure_gaps(np.concatenate(self._parts)[:frames], self._rate_hz).gate_threshold_db


def _played(sketch: Sketch, audio: Samples, rate_hz: float, take_lufs: float) -> PlayedReport:
    folds = sketch.header.feed == "mono"
    open_feed = replace(sketch, header=sketch.header.model_copy(update={"feed": "as_is"}))
    graph = build_graph(open_feed, rate_hz, audio.shape[1])
    width = graph.outputs["out"].channels
    channels = 1 if folds else width
    meter = OutputMeter(rate_hz, channels, len(audio) + math.ceil(graph.latency[1]))
    kept = lost = 0.0
    for n0, outputs in Engine(graph, _reader(audio), len(audio)).stream():
        y = outputs["out"]
        if folds and width == 2:
            middle, side = 0.5 * (y[0] + y[1]), 0.5 * (y[0] - y[1])
            kept, lost = kept + float(np.sum(middle**2)), lost + float(np.sum(side**2))
            y = middle[np.newaxis]
        meter.add(n0, np.ascontiguousarray(y))
    share = lost / (kept + lost) if kept + lost > 0.0 else 0.0
    return PlayedReport(
        channels=channels,
        integrated_lufs=meter.integrated_lufs,
        true_peak_dbtp=meter.peaks().true_peak_dbtp,
        louder_by_lu=meter.louder_by_lu(take_lufs, audio.shape[1]),
        fold=FoldReport(_quieter_db(share), share) if folds and width == 2 else None,
    )


def _quieter_db(lost_share: float) -> float:
    return -10.0 * math.log10(1.0 - lost_share) if lost_share < 1.0 else math.inf


def _place(part: Array, begin: int, whole: Samples) -> None:
    """Write a part that begins at frame `begin`, perhaps before 0, into the whole."""
    first, last = max(begin, 0), min(begin + part.size, whole.size)
    if first < last:
        whole[first:last] = part[first - begin : last - begin]


def _reader(audio: Samples) -> Reader:
    def read(n0: int, frames: int) -> Audio:
        part = np.zeros((audio.shape[1], frames))
        there = audio[n0 : n0 + frames]
        part[:, : len(there)] = there.T
        return part

    return read
