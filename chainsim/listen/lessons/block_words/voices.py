"""Blocks that play along: other pitches, other instruments."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from chainsim.listen.lessons.block_words.words import (
    BlockWords,
    decibels,
    hertz,
    is_on,
    level_change,
    listed,
    number_of,
    valued,
)

FOLLOWED = ("track", "tracked_midi")
"""Sources of a pitch that are the horn's own."""


def pitch_shifter(s: Any) -> BlockWords:
    """Words for a pitch shifter."""
    timbre = (
        "stays where it is"
        if s.formant >= 0.75
        else "goes along with the pitch"
        if s.formant <= 0.25
        else "goes part of the way"
    )
    return BlockWords(
        f"It plays your own sound at another pitch: {_places(s.voices)}. The timbre {timbre}, and the horn itself is "
        f"not in it: that needs a lane of its own.{_out(s.level_db)}",
        "The new voice: are your tongue and breath in it?",
        "Why does it come a little after you?",
        "It has to have heard a few waves of a note before it can know its pitch, and low notes have long waves.",
    )


def following_synth(s: Any) -> BlockWords:
    """Words for a following synth."""
    voices = listed(list(dict.fromkeys(v.waveform for v in s.voices))) if s.voices else "saw"
    shaped = "your own level shapes its notes" if s.amplitude == "horn" else "an envelope of its own shapes its notes"
    reaches = (
        "Only your pitch and level reach it"
        if s.source in FOLLOWED
        else f"Its notes come from {s.source}, not from your pitch"
    )
    return BlockWords(
        f"It makes a sound of its own ({voices}): {_places(s.voices)}. {reaches}; {shaped}, and its filter begins at "
        f"{hertz(s.cutoff_hz)}.{_out(s.level_db)}",
        "The beginnings of notes: it waits until it knows the pitch."
        if s.source in FOLLOWED
        else "The beginnings of notes: do you play together?",
        "You play a multiphonic. What does it do?",
        {
            "hold": "It is unsure of the pitch and keeps the last one.",
            "fade": "It is unsure of the pitch and fades out.",
            "mute": "It is unsure of the pitch and stops.",
        }[s.when_unsure]
        if s.source in FOLLOWED
        else f"Nothing: it reads its notes from {s.source}.",
    )


def wandering_bass(s: Any) -> BlockWords:
    """Words for a wandering bass."""
    level = f" It comes out at {decibels(s.level_db)}." if is_on(s.level_db) else _out(s.level_db)
    return BlockWords(
        f"It walks along with you in the key, a new note every {s.every}. The middle of its walk, seen from your note: "
        f"{s.interval}. Each note is drawn by chance, at most {number_of(s.range_steps, 'note', 'notes')} of the scale "
        f"from there.{level}",
        "Does it lead to your next note, or past it?",
        "You render it twice. Are the notes the same?",
        "Yes: the chance is drawn from the block's name and settings, so the same sketch gives the same walk.",
    )


def _places(voices: Sequence[Any]) -> str:
    """Where voices play: "along with you, P5 above; always on E2"."""
    along = [_along(v) for v in voices if v.pitch is None] if voices else ["in unison"]
    fixed = [f"{v.pitch}{_off(v)}" for v in voices if v.pitch is not None]
    told = [f"along with you, {listed(list(dict.fromkeys(along)))}"] if along else []
    told += [f"always on {listed(list(dict.fromkeys(fixed)))}, whatever you play"] if fixed else []
    return "; ".join(told)


def _along(voice: Any) -> str:
    return f"{'in unison' if voice.interval == 'unison' else voice.interval}{_off(voice)}"


def _off(voice: Any) -> str:
    return "" if voice.cents == 0.0 else f" ({valued(voice.cents, 'cents')} off)"


def _out(level_db: float) -> str:
    """What is said of the level of what comes out, unless it stays as it is."""
    if not is_on(level_db):
        return " What comes out is turned off."
    return "" if level_db == 0.0 else f" What comes out is made {level_change(level_db)}."


WORDS = {
    "pitch_shifter": pitch_shifter,
    "following_synth": following_synth,
    "wandering_bass": wandering_bass,
}
