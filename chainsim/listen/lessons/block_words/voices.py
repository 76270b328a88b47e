"""Blocks that play along: other pitches, other instruments."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from chainsim.listen.lessons.block_words.words import BlockWords, decibels, hertz, listed, valued


def pitch_shifter(s: Any) -> BlockWords:
    """Words for a pitch shifter."""
    places = _places(s.voices) if s.voices else "in unison"
    timbre = (
        "stays where it is"
        if s.formant >= 0.75
        else "goes along with the pitch"
        if s.formant <= 0.25
        else "goes part of the way"
    )
    return BlockWords(
        f"It plays your own sound at other pitches, here {places}, and the timbre {timbre}. The horn itself is not "
        "in it: that comes by another lane.",
        "Is your tongue and breath in the new voice?",
        "Why does it come a little after you?",
        "It has to have heard a few waves of a note before it can know its pitch, and low notes have long waves.",
    )


def following_synth(s: Any) -> BlockWords:
    """Words for a following synth."""
    voices = listed(list(dict.fromkeys(v.waveform for v in s.voices))) if s.voices else "saw"
    places = _places(s.voices) if s.voices else "in unison"
    shaped = "your own level shapes its notes" if s.amplitude == "horn" else "an envelope of its own shapes its notes"
    return BlockWords(
        f"It makes a sound of its own ({voices}) that goes along with you {places}. Only your pitch and level reach "
        f"it: {shaped}, and its filter begins at {hertz(s.cutoff_hz)}.",
        "The beginnings of notes: it waits until it knows the pitch.",
        "You play a multiphonic. What does it do?",
        {
            "hold": "It is unsure of the pitch and keeps the last one.",
            "fade": "It is unsure of the pitch and fades out.",
            "mute": "It is unsure of the pitch and stops.",
        }[s.when_unsure],
    )


def wandering_bass(s: Any) -> BlockWords:
    """Words for a wandering bass."""
    return BlockWords(
        f"It walks under you in the key, a new note every {s.every}, about {s.interval} from what you play. Each note "
        f"is drawn by chance, at most {s.range_steps} notes of the scale from there, at {decibels(s.level_db)}.",
        "Does it lead to your next note, or past it?",
        "You render it twice. Are the notes the same?",
        "Yes: the chance is drawn from the block's name and settings, so the same sketch gives the same walk.",
    )


def _places(voices: Sequence[Any]) -> str:
    """Where voices play: "at P5 above and P4 below", "on E2"."""
    told = [f"on {v.pitch}" if v.pitch is not None else _interval(v) for v in voices]
    return listed(list(dict.fromkeys(told)))


def _interval(voice: Any) -> str:
    out = "" if voice.cents == 0.0 else f" ({valued(voice.cents, 'cents')} off)"
    return f"in unison{out}" if voice.interval == "unison" else f"at {voice.interval}{out}"


WORDS = {
    "pitch_shifter": pitch_shifter,
    "following_synth": following_synth,
    "wandering_bass": wandering_bass,
}
