"""Values of settings in a player's words: times in ms at the tempo, frequencies with their notes, levels in dB."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from chainsim.listen.sheets.stage_sheet.spelled_pitch import HornPart, nearest_note
from chainsim.music.note_value import note_seconds, parse_note_value
from chainsim.music.pitch import parse_pitch
from chainsim.settings import Settings, Spec

NOTE_VALUES = ("note", "every")
"""Settings, of whatever block, that are note values; likewise below."""
INTERVALS = ("interval",)
PITCHES = ("pitch", "lowest_note")

_NAMED_FROM_HZ = 20.0
"""Below, a frequency is a rate and no pitch."""
_UNIT_SUFFIXES = ("_db", "_hz", "_ms", "_s", "_cents", "_bpm", "_percent", "_samples")


@dataclass(frozen=True)
class Surroundings:
    """What the words for a value depend on beside the value.

    Attributes
    ----------
    tempi_bpm : sequence of float
        Tempi at which it is heard.
    keys : sequence of str
        Sounding keys in which it is heard.
    a4_hz : float
    part : HornPart
    """

    tempi_bpm: Sequence[float] = ()
    keys: Sequence[str] = ()
    a4_hz: float = 440.0
    part: HornPart = field(default_factory=HornPart)

    @property
    def key(self) -> str | None:
        """The first of the keys, which spells the black keys."""
        return self.keys[0] if self.keys else None


def setting_label(name: str) -> str:
    """A setting's name without its unit: "low cut"."""
    suffix = next((s for s in _UNIT_SUFFIXES if name.endswith(s)), "")
    return name.removesuffix(suffix).replace("_", " ")


def number_text(value: float) -> str:
    """A number with no more digits than a hand can set."""
    return f"{value:.5g}"


def level_text(level_db: float) -> str:
    """A level with its sign, or "off"."""
    return "off" if level_db == -math.inf else f"{level_db:+.4g} dB" if level_db else "0 dB"


def ms_text(ms: float) -> str:
    """A time in three digits: "326 ms", "78.3 ms"."""
    return f"{ms:.0f} ms" if ms >= 100.0 else f"{ms:.3g} ms"


def bpm_text(bpm: float) -> str:
    """A tempo to a tenth: "138", "131.6"."""
    return f"{round(bpm, 1):g}"


def note_value_ms(note: str, bpm: float, swing_percent: float) -> float:
    """How long a note value lasts at a tempo."""
    return 1000.0 * note_seconds(parse_note_value(note), bpm, swing_percent)


def distinct_tempi(tempi_bpm: Sequence[float]) -> list[float]:
    """Tempi in order, each once as it is printed."""
    found: dict[str, float] = {}
    for bpm in tempi_bpm:
        found.setdefault(bpm_text(bpm), bpm)
    return list(found.values())


def note_value_text(note: str, tempi_bpm: Sequence[float], swing_percent: float) -> str:
    """A note value with its length: "1/8 dotted = 326 ms at 138, 625 ms at 72"."""
    times = [
        f"{ms_text(note_value_ms(note, bpm, swing_percent))} at {bpm_text(bpm)}" for bpm in distinct_tempi(tempi_bpm)
    ]
    swung = f" {number_text(swing_percent)} %" if parse_note_value(note).swung else ""
    return f"{note}{swung}" + (f" = {', '.join(times)}" if times else "")


def value_text(spec: Spec, value: Any, around: Surroundings, swing_percent: float = 50.0) -> str:
    """One value of a setting, with its unit.

    Parameters
    ----------
    spec : Spec
    value : Any
        In the setting's own unit.
    around : Surroundings
    swing_percent : float
        Share of the long note, for swung note values.
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        if spec.name in NOTE_VALUES:
            return note_value_text(value, around.tempi_bpm, swing_percent)
        if spec.name in INTERVALS:
            return around.part.interval(value, around.keys)
        if spec.name in PITCHES:
            return around.part.pitch(parse_pitch(value), around.key)
        return value.replace("_", " ") if spec.choices else value
    if not isinstance(value, int | float):
        return str(value)
    if spec.unit == "dB":
        return level_text(value)
    if spec.unit == "cents" and spec.low is not None and spec.low < 0.0:
        return f"{value:+.5g} cents"
    if spec.unit == "Hz":
        note = nearest_note(value, around.a4_hz, around.key) if value >= _NAMED_FROM_HZ else ""
        return f"{number_text(value)} Hz" + (f" ({note})" if note and "rate" not in spec.name else "")
    return number_text(value) + ("" if spec.unit == "1" else f" {spec.unit}")


def item_text(item: Settings, around: Surroundings) -> str:
    """One voice, band or LFO: where it plays, or its kind, first; then what differs from its defaults."""
    values = _in_force(item)
    specs = item.specs()
    first = next((n for n in (*PITCHES, *INTERVALS, "shape") if n in values), None)
    parts = [] if first is None else [_drone(specs[first], values[first], around)]
    for name, value in values.items():
        if name != first and (value != specs[name].default or name in ("freq_hz", "rate_hz", *NOTE_VALUES)):
            text = value_text(specs[name], value, around)
            bare = specs[name].choices or name in ("freq_hz", "cents", *NOTE_VALUES)
            parts.append(text if bare else f"{setting_label(name)} {text}")
    return ", ".join(parts)


def _drone(spec: Spec, value: Any, around: Surroundings) -> str:
    text = value_text(spec, value, around)
    return f"stays on {text}" if spec.name in PITCHES else text


def _in_force(item: Settings) -> Mapping[str, Any]:
    """Its settings without those that do nothing, and of alternatives only the one that is written."""
    values = {n: getattr(item, n) for n in item.specs() if n not in item.idle()}
    for group in item.alternatives:
        put_aside = group[:-1] if values.get(group[-1]) is not None else group[-1:]
        values = {n: v for n, v in values.items() if n not in put_aside}
    return values
