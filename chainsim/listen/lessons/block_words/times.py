"""Blocks that repeat, ring on, and sway."""

from __future__ import annotations

from typing import Any

from chainsim.listen.lessons.block_words.words import BlockWords, dry_and_wet, hertz, millis, motion, valued


def delay(s: Any) -> BlockWords:
    """Words for a delay."""
    when = millis(s.time_ms) if s.note is None else f"a {s.note} note"
    return BlockWords(
        f"It repeats what you play after {when}, each echo at {valued(s.feedback_percent, '%')} of the one before. "
        f"{dry_and_wet(s.dry_db, s.wet_db, 'the echoes')}",
        "The rests: count the echoes until you lose them.",
        "You play the next note before the echo comes. Which of the two does the ear take for yours?",
        "The one that comes first and is brighter. That is why echoes are often darkened: they step back.",
    )


_SPACES = {"hall": "a hall", "room": "a room", "plate": "a hanging metal plate", "springs": "coil springs"}


def reverb(s: Any) -> BlockWords:
    """Words for a reverb."""
    space = _SPACES.get(s.space, f"a {s.space}")
    return BlockWords(
        f"It lets the sound ring on as in {space}, falling by 60 dB in {valued(s.decay_s, 's')}. "
        f"{dry_and_wet(s.dry_db, s.wet_db, 'the reverb')}",
        "What is left a second after a short note, and whether it hides the next one.",
        "The venue is a stone church. What do you do with this block?",
        "Take most of it away: the church adds its own, and two spaces one after the other make a fog.",
    )


def chorus(s: Any) -> BlockWords:
    """Words for a chorus."""
    players = "one more player" if s.voices == 1 else f"{s.voices} more players"
    return BlockWords(
        f"It adds {players}, about {millis(s.delay_ms)} late and never quite in tune, since their times sway by "
        f"{millis(s.depth_ms)}. {dry_and_wet(s.dry_db, s.wet_db, 'the others')}",
        "Long notes: a slow beating, as in a section.",
        "Why is it out of tune if it only delays?",
        "A delay that grows plays the sound slower, and slower is lower; one that shrinks plays it higher.",
    )


def vibrato(s: Any) -> BlockWords:
    """Words for a vibrato."""
    return BlockWords(
        f"It lets the pitch sway by {valued(s.depth_cents, 'cents')} to either side, {motion(s.rate_hz, s.note)}. "
        "Nothing of the straight sound is left beside it.",
        "Long notes: does it fit the vibrato you play, or fight it?",
        "Blend it with the straight horn. What do you get?",
        "A chorus: two players, one of whom sways.",
    )


def frequency_divider(s: Any) -> BlockWords:
    """Words for a frequency divider."""
    return BlockWords(
        f"It counts the swings of your note below {hertz(s.high_cut_hz)} and makes a square an octave down out of "
        "every second one. It does so at once, and where the swings are unclear it counts wrong.",
        "Low, clear notes against high or breathy ones: where does it stumble?",
        "It is never late, a pitch shifter is. Why does it guess wrong then?",
        "It counts and does not know the pitch: a strong second partial looks like twice as many swings.",
    )


WORDS = {
    "delay": delay,
    "reverb": reverb,
    "chorus": chorus,
    "vibrato": vibrato,
    "frequency_divider": frequency_divider,
}
