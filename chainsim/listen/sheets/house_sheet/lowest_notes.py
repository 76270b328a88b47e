"""The lowest note that the horn and every block may sound, from their settings alone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
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
    """The horn's lowest usual note, then those of blocks that go below it while they are on, the lowest first.

    Nothing where neither instrument nor lowest pitch is known.
    """
    horn_hz = _horn_hz(sketch)
    if horn_hz == 0.0:
        return ()
    a4_hz = sketch.base.a4_hz
    note = round(hz_to_midi(horn_hz, a4_hz))
    lowest: dict[str, float] = {}
    for state in states:
        key = None if state.key is None else parse_key(state.key)
        for name in block_names(state.chain):
            entry = state.blocks[name]
            if _may_be_on(sketch, entry):
                found = list(_notes(entry, note, key))
                difference_hz = _lowest_difference_hz(entry, state, horn_hz)
                if 0.0 < difference_hz < math.inf:
                    found.append(hz_to_midi(difference_hz, a4_hz))
                lowest[name] = min([lowest.get(name, math.inf), *found])
    below = sorted((midi, name) for name, midi in lowest.items() if midi < note)
    told = [(HORN, note), *((name, midi) for midi, name in below)]
    return tuple(LowestNote(by, *_sounds(midi, a4_hz, sketch.base.key)) for by, midi in told)


def unbounded_below(sketch: Sketch, states: Sequence[State]) -> tuple[str, ...]:
    """Blocks whose sound may lie as low as can be, whatever the horn's lowest note: by their difference tones."""
    horn_hz = _horn_hz(sketch)
    found = (
        name
        for state in states
        for name in block_names(state.chain)
        if _may_be_on(sketch, state.blocks[name]) and _lowest_difference_hz(state.blocks[name], state, horn_hz) == 0.0
    )
    return tuple(dict.fromkeys(found))


def _horn_hz(sketch: Sketch) -> float:
    """Lowest usual note of the horn; 0 where it is not known."""
    header = sketch.header
    if header.lowest_hz is not None:
        return header.lowest_hz
    return 0.0 if header.instrument is None else find_horn(header.instrument).range_hz(sketch.base.a4_hz)[0]


def _may_be_on(sketch: Sketch, entry: BlockEntry) -> bool:
    return entry.common.engaged or entry.name in sketch.engaged_by_hand


def _lowest_difference_hz(entry: BlockEntry, state: State, horn_hz: float) -> float:
    """Lowest tone of a ring modulator, |f - c| over all partials f of notes from the horn's lowest one up.

    0 where there is no lowest: a carrier that stands still comes as near to some note as can be. Infinite where a
    block has no carrier.
    """
    says: Any = entry.settings
    moves = {setting for block, setting in state.drives if block == entry.name}
    if entry.type_name != "ring_modulator" or (says.wet_db == -math.inf and "wet_db" not in moves):
        return math.inf
    if says.follows == "nothing":
        return 0.0 if "freq_hz" in moves else max(horn_hz - float(says.freq_hz), 0.0)
    if "ratio" in moves:
        return 0.0
    apart = (abs(k - float(says.ratio)) for k in range(1, math.ceil(says.ratio) + 2))
    return horn_hz * min(a for a in apart if a > 1e-9)


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
