"""What a version's chain has, leaves out or sets otherwise beside the first one's, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TypeAlias

from chainsim.listen.sheets.block_words import BLOCK_WORDS, kind_text
from chainsim.settings import Settings
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import Sketch, State
from chainsim.sketch.timeline import timeline
from chainsim.stage.drives import Drive

MOST_NAMED = 5
"""Kinds of block in one list; the drawing shows all."""
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
    return "; ".join(_differences(_at_start(sketch), _at_start(first))) or ("as the first begins" if first.cues else "")


def _differences(state: State, first: State) -> Iterator[str]:
    own, others = _settings_by_kind(state), _settings_by_kind(first)
    found = list(_blocks_beside(own, others, but=LEVEL)) or list(_blocks_beside(own, others))
    if not found and _order(state) != _order(first):
        found = ["another order"]
    yield from found
    if state.tempo_bpm != first.tempo_bpm:
        yield f"{state.tempo_bpm:g} bpm"


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


def _at_start(sketch: Sketch) -> State:
    return timeline(sketch)[0][1]


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
    """Blocks of a kind, or their voices where each has a list of them: "2 synth voices", "delay (2)"."""
    called = _called(kind)
    voices = [voices for settings, _ in those if isinstance(voices := getattr(settings, "voices", None), list)]
    if len(voices) == len(those) and called.endswith(" voices"):
        count = sum(map(len, voices))
        return f"{count} {called if count > 1 else called.removesuffix('s')}"
    return called if len(those) == 1 else f"{called} ({len(those)})"


def _listed(names: Iterable[str]) -> str:
    known = list(names)
    more = len(known) - MOST_NAMED
    return ", ".join(known if more < 2 else [*known[:MOST_NAMED], f"{more} more"])
