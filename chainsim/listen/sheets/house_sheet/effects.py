"""The effects that the feed brings along, so that nobody adds them twice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from chainsim.listen.sheets.block_words import BLOCK_WORDS, kind_text
from chainsim.listen.sheets.stage_sheet.value_text import Surroundings, distinct_tempi, value_text
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import Sketch, State

DETAILS = {
    "compressor": ("threshold_db", "ratio"),
    "delay": ("time_ms", "note", "feedback_percent"),
    "limiter": ("ceiling_dbtp",),
    "noise_gate": ("threshold_db",),
    "reverb": ("space", "decay_s"),
}
"""Settings that an engineer asks for; of others the kind says enough."""
_WORDS = {"threshold_db": "from {}", "ratio": "{}:1", "feedback_percent": "{} again", "ceiling_dbtp": "at {}"}


OF_THE_SOUND = frozenset({"drive", "envelope_filter", "equalizer", "following_synth", "radio_link", "wandering_bass"})
"""Types that make or shape the sound: an engineer equalizes for the room all the same. Of others there is enough."""


@dataclass(frozen=True)
class Effect:
    """One kind of effect as it is set, the blocks that are so, and the patches in which any of them is on.

    `enough` says that an engineer should add none of its kind.
    """

    text: str
    blocks: tuple[str, ...]
    patches: tuple[str, ...]
    enough: bool


def effects(sketch: Sketch, states: dict[str, State]) -> tuple[Effect, ...]:
    """Those that are on in any patch, those in most patches first."""
    on = [
        (patch, state.blocks[name], state.tempo_bpm)
        for patch, state in states.items()
        for name in block_names(state.chain)
        if name in state.engaged or name in sketch.own_switches
    ]
    found: dict[tuple[str, bool], tuple[list[str], list[str]]] = {}
    for patch, entry, _ in on:
        if BLOCK_WORDS[entry.type_name].shapes:
            tempi_bpm = distinct_tempi([bpm for _, other, bpm in on if other.name == entry.name])
            text = effect_text(entry.type_name, entry.settings, Surroundings(tempi_bpm=tempi_bpm))
            text += ", by its own switch" if entry.name in sketch.own_switches else ""
            blocks, patches = found.setdefault((text, entry.type_name not in OF_THE_SOUND), ([], []))
            blocks += [entry.name] if entry.name not in blocks else []
            patches += [patch] if patch not in patches else []
    ranked = sorted(found.items(), key=lambda item: -len(item[1][1]))
    return tuple(Effect(text, tuple(blocks), tuple(patches), enough) for (text, enough), (blocks, patches) in ranked)


def effect_text(type_name: str, settings: Any, around: Surroundings) -> str:
    """A kind of block with what matters of its settings: "reverb (hall, 2.2 s)"."""
    specs = settings.specs()
    told = []
    for name in DETAILS.get(type_name, ()):
        value = getattr(settings, name)
        if value is None or (name == "time_ms" and settings.note is not None):
            continue
        told.append(_WORDS.get(name, "{}").format(value_text(specs[name], value, around)))
    return kind_text(type_name) + (f" ({', '.join(told)})" if told else "")
