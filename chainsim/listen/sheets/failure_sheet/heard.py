"""What is heard of a state, as an expression: which blocks the sound goes through, and what their detectors hear.

What gives silence is left out, so two states with equal expressions sound equal, sample by sample. Expressions are
numbered as they are met, and equal ones have one number: a chain of many forks stays small.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, field

from chainsim.block import block_type, settings_json
from chainsim.graph.wiring import After, Input, Signal, Silence, Sum, Wiring, heard_at, wire
from chainsim.listen.sheets.failure_sheet.without_box import MIXES, gives_nothing
from chainsim.sketch.model import BlockEntry, ControllerEntry, State
from chainsim.stage.drives import Drive

SILENT = -1
_MAKES_SOUND_OF_NOTHING = "noise"
_GATE = "noise_gate"
_HEARS_THE_HORN = ("track", "tracked_midi")


@dataclass(frozen=True)
class Part:
    """One expression: the take, a sum, or a block.

    Attributes
    ----------
    block : str or None
    sources : tuple of int
        What comes in.
    told_by : tuple of int
        What its detector and its controllers hear; -1 is silence.
    passes_the_horn : bool
        Whether what comes in is still the horn when it comes out.
    """

    block: str | None
    sources: tuple[int, ...]
    told_by: tuple[int, ...] = ()
    passes_the_horn: bool = True

    @property
    def is_the_take(self) -> bool:
        """Whether it is what the microphone hears."""
        return self.block is None and not self.sources


@dataclass
class Expressions:
    """Every expression that was met."""

    parts: list[Part] = field(default_factory=list)
    _numbers: dict[Hashable, int] = field(default_factory=dict)

    def number(self, key: Hashable, part: Part) -> int:
        """The number of an expression."""
        found = self._numbers.setdefault(key, len(self.parts))
        if found == len(self.parts):
            self.parts.append(part)
        return found

    def inside(self, number: int) -> dict[str, int]:
        """The blocks that are heard in an expression, by their own numbers."""
        return {part.block: n for n, part in self._walk(number) if part.block is not None}

    def holds_the_horn(self, number: int) -> bool:
        """Whether the horn itself comes through, and not only its echo, or what follows it."""
        return any(part.is_the_take for _, part in self._walk(number, only_the_horn=True))

    def _walk(self, number: int, *, only_the_horn: bool = False) -> Iterator[tuple[int, Part]]:
        waiting, seen = [number], {SILENT}
        while waiting:
            here = waiting.pop()
            if here not in seen:
                seen.add(here)
                part = self.parts[here]
                yield here, part
                waiting += part.sources if part.passes_the_horn or not only_the_horn else ()


def heard(state: State, controllers: Mapping[str, ControllerEntry], expressions: Expressions) -> int:
    """The number of what comes out of a state, -1 for silence."""
    if state.muted:
        return SILENT
    return _Hearing(state, controllers, expressions).of(None)


class _Hearing:
    def __init__(self, state: State, controllers: Mapping[str, ControllerEntry], expressions: Expressions) -> None:
        self._state, self._controllers, self._all = state, controllers, expressions
        self._wiring: Wiring = wire(state)
        self._blocks: dict[str, int] = {}

    def of(self, signal: Signal | None) -> int:
        """The number of a signal; None is the end of the chain."""
        match self._wiring.out if signal is None else signal:
            case Input():
                return self._all.number("input", Part(None, ()))
            case After(name):
                return self._block(name)
            case Sum() as fork:
                return self._sum(fork)
            case Silence():
                return SILENT
        raise AssertionError(signal)

    def _sum(self, fork: Sum) -> int:
        terms = [(self.of(term.signal), term.gain, term.pan) for term in fork.terms]
        sounding = tuple(term for term in terms if term[0] != SILENT)
        if not sounding:
            return SILENT
        return self._all.number(("sum", fork.align, sounding), Part(None, tuple(n for n, _, _ in sounding)))

    def _block(self, name: str) -> int:
        if name not in self._blocks:
            self._blocks[name] = SILENT  # a loop by way of detectors is refused where it is rendered
            self._blocks[name] = self._new_block(self._state.blocks[name])
        return self._blocks[name]

    def _new_block(self, entry: BlockEntry) -> int:
        if gives_nothing(entry, self._state):
            return SILENT
        cls, name = block_type(entry.type_name), entry.name
        ports = self._wiring.ports[name]
        sources = tuple(self._into(entry, port, ports[port]) for port in cls.audio_inputs)
        detector = self.of(ports["detector"]) if "detector" in ports else SILENT
        drives = {s: d for (block, s), d in self._state.drives.items() if block == name}
        told = tuple(self._told(controller) for controller, _ in drives.values())
        if not self._sounds(entry, sources, detector) or (detector == SILENT and self._stays_shut(entry)):
            return SILENT
        about = (name, entry.type_name, settings_json(entry.settings), entry.common.latency_ms, repr(drives))
        told_by = ((detector,) if "detector" in ports else ()) + told
        # What a synth makes is made of no sound that comes in.
        into = () if cls.generates else sources
        part = Part(name, tuple(n for n in into if n != SILENT), told_by, self._passes_the_horn(entry, drives))
        return self._all.number((about, into, told_by), part)

    def _into(self, entry: BlockEntry, port: str, signal: Signal) -> int:
        """What comes in by a port; silence by a blender's path whose level is off, and is not moved."""
        level = f"{port}_db"
        off = getattr(entry.settings, level, 0.0) == -math.inf and (entry.name, level) not in self._state.drives
        return SILENT if off and entry.type_name == MIXES else self.of(signal)

    @staticmethod
    def _passes_the_horn(entry: BlockEntry, drives: Mapping[str, tuple[str, Drive]]) -> bool:
        cls, settings = block_type(entry.type_name), entry.settings
        extremes = {name: (getattr(settings, name),) * 2 for name, spec in settings.specs().items() if spec.movable}
        extremes.update({name: (min(d.low, d.high), max(d.low, d.high)) for name, (_, d) in drives.items()})
        only_rings = cls.rings and extremes.get("dry_db", (0.0, 0.0))[1] == -math.inf
        return not only_rings and cls.copies(settings, extremes) == "all"

    def _told(self, controller: str) -> int:
        """What a controller follows; one that follows no sound is told by the horn as much as by anything."""
        place = self._controllers[controller].listens_to if controller in self._controllers else None
        return self.of(Input() if place is None else heard_at(place, self._wiring))

    def _stays_shut(self, entry: BlockEntry) -> bool:
        """Whether it lets nothing through at all while its detector hears nothing."""
        driven = (entry.name, "floor_db") in self._state.drives
        return entry.type_name == _GATE and getattr(entry.settings, "floor_db", 0.0) == -math.inf and not driven

    @staticmethod
    def _sounds(entry: BlockEntry, sources: tuple[int, ...], detector: int) -> bool:
        cls = block_type(entry.type_name)
        if entry.type_name == _MAKES_SOUND_OF_NOTHING:
            return True
        if cls.generates:
            return detector != SILENT or getattr(entry.settings, "source", "track") not in _HEARS_THE_HORN
        return any(source != SILENT for source in sources)
