"""What players and engineers say of each kind of block: how it is tried, and what is gone without it."""

from __future__ import annotations

from typing import NamedTuple


class BlockWords(NamedTuple):
    """Words for one kind of block.

    Attributes
    ----------
    try_it : str
        What is heard when it is plugged right.
    without : str
        What there is no more, or what there is instead, when it is gone.
    shapes : bool
        Whether an engineer should know of it before adding the like.
    """

    try_it: str
    without: str
    shapes: bool = True


BLOCK_WORDS = {
    "blender": BlockWords("each of its two levels fades its own path", "nothing blends in its wet path", False),
    "chorus": BlockWords("a held note shimmers", "no shimmer"),
    "compressor": BlockWords("loud notes come nearer to soft ones", "loud and soft lie wider apart"),
    "convolver": BlockWords("a short note gets its room or body", "no such room or body"),
    "delay": BlockWords("a short note comes again", "no echoes"),
    "drive": BlockWords("loud notes turn rough", "no roughness"),
    "envelope_filter": BlockWords("louder notes sweep the tone", "no sweep"),
    "equalizer": BlockWords("switched off and on, the tone changes", "the horn's own tone"),
    "flanger": BlockWords("breath and tongue swoosh", "no swoosh"),
    "following_synth": BlockWords("its voices start and stop with the horn", "no synth voices"),
    "frequency_divider": BlockWords("an octave below growls along", "no octave below"),
    "gain": BlockWords("its knob makes it louder and softer", "another level", False),
    "limiter": BlockWords("the hardest attack comes no louder than a loud note", "nothing holds the peaks"),
    "noise": BlockWords("", "less noise", False),
    "noise_gate": BlockWords("stop playing: hiss and hum shut off", "noise and neighbours in the rests"),
    "pan": BlockWords("the sound goes from left to right", "the sound in the middle", False),
    "phaser": BlockWords("a held note turns slowly in tone", "no turning tone"),
    "pitch_shifter": BlockWords("its voices sound at their intervals, in tune", "no added voices"),
    "radio_link": BlockWords("walk about: no gaps", "no radio"),
    "reverb": BlockWords("a short note rings after", "no reverb"),
    "ring_modulator": BlockWords("notes turn to bells", "no bells"),
    "tremolo": BlockWords("a held note beats in loudness", "no beating"),
    "vibrato": BlockWords("a held note sways in pitch", "no sway"),
    "wandering_bass": BlockWords("a bass walks while you play", "no walking bass"),
}
"""By type of block."""


def kind_text(type_name: str) -> str:
    """A type in words: "noise gate"."""
    return type_name.replace("_", " ")


def named_with_kind(name: str, type_name: str) -> str:
    """A block with its kind, if its name does not say it."""
    return name if type_name in name else f"{name} ({kind_text(type_name)})"
