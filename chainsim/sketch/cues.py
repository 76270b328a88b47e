"""Reading cues and taps, from the sketch and from a file beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, get_args

from pydantic import Field

from chainsim.errors import SettingError, nearest
from chainsim.music.meter import Meter, quarters_at
from chainsim.settings import Settings, fixed, flag, words
from chainsim.sketch.model import BlockEntry
from chainsim.sketch.reading import list_of, read_settings
from chainsim.stage.board import Switch
from chainsim.stage.cues import Cue, CueKind
from chainsim.stage.taps import tempi_of_taps

LATEST_S = 86_400.0


class CueSettings(Settings):
    """A cue: when, and what from then on; one of each."""

    at_s: float | None = fixed(None, 0.0, LATEST_S, "s", "when, from the beginning of the take")
    at_bar: str | None = words(None, 'or where: "BAR:BEAT" from first_beat_s on')
    patch: str | None = words(None, "this patch")
    press: str | None = words(None, "this switch is pressed")
    hold: str | None = words(None, "this switch is held down")
    on: str | None = words(None, "this block is engaged")
    off: str | None = words(None, "this block is disengaged")
    mute: bool | None = flag(None, "the feed is silent, or heard again")
    dry: bool | None = flag(None, "the plain horn, or the patch again")


class TapSettings(Settings):
    """Taps of a foot: their tempo holds from then on."""

    at_s: list[float] = Field(description="when, in order", json_schema_extra={"unit": "s"})


WHAT = ("patch", "press", "hold", "on", "off", "mute", "dry")


@dataclass(frozen=True)
class WrittenCue:
    """A cue whose time may still be a place in bars: quarters since the first beat."""

    cue: Cue
    quarters: float | None = None


@dataclass
class Known:
    """What cues may name."""

    patches: Mapping[str, Any]
    switches: Mapping[str, Switch]
    blocks: Mapping[str, BlockEntry]
    meter: Meter = field(default_factory=Meter)


def read_cues(
    tables: Sequence[Mapping[str, Any]], known: Known, places: Sequence[str], faults: list[str]
) -> list[WrittenCue]:
    """Read a list of cues, in the order in which they are written; `places` says of each where it stands."""
    read = (_cue(table, known, place, faults) for table, place in zip(tables, places, strict=True))
    return [cue for cue in read if cue is not None]


def read_taps(values: Mapping[str, Any], faults: list[str]) -> tuple[tuple[float, ...], ...]:
    """Read rows of taps."""
    rows = []
    for i, table in enumerate(list_of(values, "taps", faults)):
        read = read_settings(TapSettings, table, f"taps[{i}]", faults)
        if read is None:
            continue
        try:
            tempi_of_taps(read.at_s)
        except SettingError as error:
            faults.append(f"taps[{i}].at_s: {error}")
            continue
        if read.at_s[0] < 0.0 or read.at_s[-1] > LATEST_S:
            faults.append(f"taps[{i}].at_s: allowed times of 0 ... {LATEST_S:g} s")
        rows.append(tuple(read.at_s))
    return tuple(sorted(rows))


def _cue(table: Mapping[str, Any], known: Known, place: str, faults: list[str]) -> WrittenCue | None:
    read = read_settings(CueSettings, table, place, faults)
    if read is None:
        return None
    given = [key for key in WHAT if getattr(read, key) is not None]
    if len(given) != 1:
        faults.append(f"{place}: {_named(given)}, allowed one of {', '.join(WHAT)}")
        return None
    if (read.at_s is None) == (read.at_bar is None):
        found = "does not say when" if read.at_s is None else "says at_s and at_bar"
        faults.append(f"{place}: {found}, allowed one of at_s, at_bar")
        return None
    value = getattr(read, given[0])
    kind, name, on = _what(given[0], value)
    where = {"patch": known.patches, "press": known.switches, "hold": known.switches, "block": known.blocks}.get(kind)
    if where is not None and name not in where:
        kinds = {"press": "switch", "hold": "switch"}.get(kind, kind)
        faults.append(f'{place}.{given[0]}: no {kinds} "{name}"{nearest(name, where)}')
        return None
    if kind == "block" and known.blocks[name].common.switching == "always_on":
        faults.append(f'{place}.{given[0]}: "{name}" is always on, so no cue switches it')
        return None
    if kind == "hold" and known.switches[name].hold is None:
        faults.append(f'{place}.hold: the switch "{name}" does nothing when it is held')
        return None
    cue = Cue(read.at_s or 0.0, kind, name, on, bar=read.at_bar or "")
    if read.at_bar is None:
        return WrittenCue(cue)
    try:
        return WrittenCue(cue, quarters_at(read.at_bar, known.meter))
    except SettingError as error:
        faults.append(f"{place}.at_bar: {error}")
        return None


def _what(key: str, value: str | bool) -> tuple[CueKind, str, bool]:
    if key in ("on", "off"):
        return "block", str(value), key == "on"
    kind: CueKind = next(k for k in get_args(CueKind) if k == key)
    return (kind, "", bool(value)) if isinstance(value, bool) else (kind, value, True)


def _named(given: list[str]) -> str:
    return f"says {' and '.join(given)}" if given else "does not say what happens"
