"""The lowest note that the horn and every block may sound, from their settings alone."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from chainsim.listen.sheets.stage_sheet.spelled_pitch import nearest_note
from chainsim.music.horns import find_horn
from chainsim.music.interval import Interval, parse_interval
from chainsim.music.pitch import hz_to_midi, midi_to_hz, parse_pitch
from chainsim.music.scale import Key, parse_key
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import BlockEntry, Sketch, State

HORN = "the horn"


@dataclass(frozen=True)
class LowestNote:
    """Who sounds it, its frequency, its name as it sounds."""

    by: str
    freq_hz: float
    name: str


def lowest_notes(sketch: Sketch, states: list[State]) -> tuple[LowestNote, ...]:
    """The horn's lowest usual note, then those of engaged blocks that go below it, the lowest first.

    Nothing where neither instrument nor lowest pitch is known.
    """
    header = sketch.header
    if header.instrument is None and header.lowest_hz is None:
        return ()
    a4_hz = sketch.base.a4_hz
    horn_hz = header.lowest_hz or (find_horn(header.instrument).range_hz(a4_hz)[0] if header.instrument else 0.0)
    note = round(hz_to_midi(horn_hz, a4_hz))
    lowest: dict[str, float] = {}
    for state in states:
        key = None if state.key is None else parse_key(state.key)
        for name in block_names(state.chain):
            if state.blocks[name].common.engaged:
                for midi in _notes(state.blocks[name], note, key):
                    lowest[name] = min(lowest.get(name, math.inf), midi)
    below = sorted((midi, name) for name, midi in lowest.items() if midi < note)
    found = [(HORN, note), *((name, midi) for midi, name in below)]
    return tuple(LowestNote(by, *_sounds(midi, a4_hz, sketch.base.key)) for by, midi in found)


def unbounded_below(states: Iterable[State]) -> tuple[str, ...]:
    """Engaged blocks whose sound lies under any note that is played: ring modulators, by their difference tones."""
    entries = [state.blocks[name] for state in states for name in block_names(state.chain)]
    found = (entry.name for entry in entries if entry.common.engaged and entry.type_name == "ring_modulator")
    return tuple(dict.fromkeys(found))


def _sounds(midi: float, a4_hz: float, key: str | None) -> tuple[float, str]:
    freq_hz = midi_to_hz(midi, a4_hz)
    return freq_hz, nearest_note(freq_hz, a4_hz, key)


def _notes(entry: BlockEntry, note: int, key: Key | None) -> Iterator[float]:
    """What a block sounds when the horn plays a note, as MIDI numbers."""
    says: Any = entry.settings
    for voice in getattr(says, "voices", ()):
        pitch = getattr(voice, "pitch", None)
        yield from [float(parse_pitch(pitch))] if pitch is not None else _moved(voice.interval, note, key)
    if entry.type_name == "frequency_divider":
        octaves_down = ((1, says.octave_down_db), (2, says.two_octaves_down_db))
        yield from (note - 12.0 * octaves for octaves, level_db in octaves_down if level_db > -math.inf)
    if entry.type_name == "wandering_bass":
        for middle in _moved(says.interval, note, key):
            yield middle if key is None else float(_lowest_of_walk(key, round(middle), says.range_steps))


def _lowest_of_walk(key: Key, middle: int, steps: int) -> int:
    while not key.contains(middle):
        middle -= 1
    return key.walk(middle, -steps)


def _moved(text: str, note: int, key: Key | None) -> Iterator[float]:
    interval = parse_interval(text)
    if isinstance(interval, Interval):
        yield float(note + interval.semitones)
    elif key is not None:
        yield float(key.step(note, interval.steps))
