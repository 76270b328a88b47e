"""What a version's chain has, leaves out or sets otherwise beside the first one's, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain
from typing import Any, TypeAlias

from chainsim.batch.listening.wiring_words import wiring_beside
from chainsim.block import Block, block_type
from chainsim.listen.sheets.block_words import BLOCK_WORDS, kind_text
from chainsim.music.interval import parse_interval
from chainsim.settings import Settings
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import Sketch, State
from chainsim.sketch.timeline import timeline
from chainsim.stage.controllers import CONTROLLER_TYPES
from chainsim.stage.drives import Drive

MOST_NAMED = 5
"""Kinds of block in one list; the drawing shows all."""
MOST_PLACED = 3
"""Voices of which it is said where they play."""
HEARD_AS = {
    "convolver": "room or body",
    "drive": "distortion",
    "envelope_filter": "sweeping filter",
    "following_synth": "synth voices",
    "frequency_divider": "octave below",
    "pitch_shifter": "shifted voices",
    "wandering_bass": "walking bass",
}
"""What a block is to the ear, where the name of its type does not say it."""
WIRING = "blender"
LEVEL = "gain"
"""Told of only where nothing else is: versions are heard at one loudness."""
AS_PLAYED = "changes by its cues"

AsSet: TypeAlias = tuple[Settings, Mapping[str, Drive]]
"""What a block is set to, and what moves which of its settings."""
SettingsByKind: TypeAlias = dict[str, list[AsSet]]


def chain_beside(sketch: Sketch, first: Sketch) -> str:
    """What one does that the other does not: "adds 2 synth voices, delay; without reverb; otherwise set: equalizer".

    Of a first one with cues that is what it does when it begins.

    Parameters
    ----------
    sketch, first : Sketch
        One patch alone, or a sketch as written.

    Returns
    -------
    str
        Empty if both do the same.
    """
    if sketch.cues:
        return AS_PLAYED
    state, first_state = timeline(sketch)[0][1], timeline(first)[0][1]
    found = list(_differences(state, first_state))
    if state.tempo_bpm != first_state.tempo_bpm and _follows_tempo(sketch, state):
        found.append(f"{state.tempo_bpm:g} bpm")
    return "; ".join(found) or ("version 1 begins like this" if first.cues else "")


def _differences(state: State, first: State) -> list[str]:
    own, others = _settings_by_kind(state), _settings_by_kind(first)
    levels_apart = len(own.get(LEVEL, ())) != len(others.get(LEVEL, ()))
    found = list(_blocks_beside(own, others, but=LEVEL))
    if all(len(own.get(kind, ())) == len(others.get(kind, ())) for kind in {*own, *others} - {LEVEL}):
        wiring = wiring_beside(state, first, but=(LEVEL,) if levels_apart else ())
        found = [wiring, *found] if wiring else found
    return found or list(_blocks_beside(own, others))


def _follows_tempo(sketch: Sketch, state: State) -> bool:
    """Whether a block that is heard, or what moves one, goes by beats."""
    movers = {name for (block, _), (name, _) in state.drives.items() if block in state.engaged}
    heard, moving = [state.blocks[name] for name in state.engaged], [sketch.controllers[name] for name in movers]
    return any(_in_beats(block_type(entry.type_name), entry.settings) for entry in heard) or any(
        _in_beats(CONTROLLER_TYPES[entry.type_name], entry.settings) for entry in moving
    )


def _in_beats(cls: type[Block[Any]], settings: Settings) -> bool:
    """Whether it makes use of the tempo: where it may have note values, if it has one."""
    rates = getattr(settings, "lfos", [settings] if hasattr(settings, "note") else None)
    return "tempo" in cls.controls_for(settings) and (rates is None or any(rate.note is not None for rate in rates))


def _blocks_beside(own: SettingsByKind, others: SettingsByKind, *, but: str | None = None) -> Iterator[str]:
    kinds = [kind for kind in dict.fromkeys([*own, *others]) if kind != but]
    more = {kind: len(own.get(kind, ())) - len(others.get(kind, ())) for kind in kinds}
    added = [_counted(kind, _only_in(own[kind], others.get(kind, ()))[-n:]) for kind, n in more.items() if n > 0]
    left_out = [_counted(kind, _only_in(others[kind], own.get(kind, ()))[n:]) for kind, n in more.items() if n < 0]
    changed = [_called(kind) for kind in kinds if _otherwise_set(own.get(kind, ()), others.get(kind, ()))]
    if added:
        yield f"adds {_listed(added)}"
    if left_out:
        yield f"without {_listed(left_out)}"
    if changed:
        yield f"otherwise set: {_listed(changed)}"


def _otherwise_set(own: Sequence[AsSet], others: Sequence[AsSet]) -> bool:
    """Whether some of those that both have are set otherwise."""
    return len(own) - len(_only_in(own, others)) < min(len(own), len(others))


def _only_in(own: Sequence[AsSet], others: Sequence[AsSet]) -> list[AsSet]:
    """What has no like among the others; of two delays, each may be the other's."""
    left, found = list(others), []
    for one in own:
        if one in left:
            left.remove(one)
        else:
            found.append(one)
    return found


def _order(state: State) -> list[str]:
    """Kinds of the engaged blocks as they stand in the chain."""
    return [state.blocks[name].type_name for name in _names(state) if name in state.engaged]


def _names(state: State) -> list[str]:
    return list(block_names(state.chain))


def _settings_by_kind(state: State) -> SettingsByKind:
    """What each engaged block is set to and driven by, by its kind; those that shape the sound come first."""
    kinds = [kind for kind in _order(state) if kind != WIRING]
    found: SettingsByKind = {kind: [] for kind in sorted(kinds, key=lambda kind: not _shapes(kind))}
    for name in _names(state):
        entry = state.blocks[name]
        if entry.type_name in found and name in state.engaged:
            driven = {setting: drive for (block, setting), (_, drive) in state.drives.items() if block == name}
            found[entry.type_name].append((entry.settings, driven))
    return found


def _shapes(kind: str) -> bool:
    return kind not in BLOCK_WORDS or BLOCK_WORDS[kind].shapes


def _called(kind: str) -> str:
    return HEARD_AS.get(kind, kind_text(kind))


def _counted(kind: str, those: Sequence[AsSet]) -> str:
    """Blocks of a kind, or their voices where each has a list of them: "2 shifted voices (P5 above, P4 below)"."""
    called = _called(kind)
    lists = [voices for settings, _ in those if isinstance(voices := getattr(settings, "voices", None), list)]
    if len(lists) == len(those) and called.endswith(" voices"):
        voices = list(chain.from_iterable(lists))
        where = [voice.pitch or parse_interval(voice.interval).text for voice in voices]
        told = f" ({', '.join(where)})" if len(where) <= MOST_PLACED and set(where) != {"unison"} else ""
        return f"{len(voices)} {called if len(voices) > 1 else called.removesuffix('s')}{told if voices else ''}"
    return called if len(those) == 1 else f"{called} ({len(those)})"


def _listed(names: Iterable[str]) -> str:
    known = list(names)
    more = len(known) - MOST_NAMED
    return ", ".join(known if more < 2 else [*known[:MOST_NAMED], f"{more} more"])
