"""Blocks that repeat, ring on, and sway."""

from __future__ import annotations

from typing import Any

from chainsim.listen.lessons.block_words.words import (
    SHAPES,
    BlockWords,
    decibels,
    dry_and_wet,
    hertz,
    is_on,
    listed,
    millis,
    motion,
    valued,
)


def delay(s: Any) -> BlockWords:
    """Words for a delay."""
    when = millis(s.time_ms) if s.note is None else f"a {s.note} note"
    once = s.feedback_percent == 0.0
    goes_on = "once" if once else f"each echo at {valued(s.feedback_percent, '%')} of the one before"
    sides = " The echoes begin on the left and change sides." if s.stereo == "crossed" else ""
    wet = dry_and_wet(s.dry_db, s.wet_db, "the echo" if once else "the echoes", several=not once)
    return BlockWords(
        f"It repeats what you play after {when}, {goes_on}.{sides} {wet}",
        "The rests: where does the echo stand in the beat?"
        if once
        else "The rests: count the echoes until you lose them.",
        "You play the next note before the echo comes. Which of the two does the ear take for yours?",
        "The one that comes first and is brighter. That is why echoes are often darkened: they step back.",
    )


_SPACES = {"hall": "a hall", "room": "a room", "plate": "a hanging metal plate", "spring": "coil springs"}


def reverb(s: Any) -> BlockWords:
    """Words for a reverb."""
    return BlockWords(
        f"It lets the sound ring on as in {_SPACES[s.space]}, falling by 60 dB in {valued(s.decay_s, 's')}. "
        f"{dry_and_wet(s.dry_db, s.wet_db, 'the reverb')}",
        "What is left a second after a short note, and whether it hides the next one.",
        "What would you do with this block in a stone church?",
        "Take most of it away: the church adds its own, and two spaces one after the other make a fog.",
    )


def chorus(s: Any) -> BlockWords:
    """Words for a chorus."""
    alone = s.voices == 1
    players, times = (
        ("one more player", "its time sways") if alone else (f"{s.voices} more players", "their times sway")
    )
    sway = (
        f"and never quite in tune, since {times} by {millis(s.depth_ms)}, {SHAPES[s.shape]}"
        if s.depth_ms > 0.0
        else "and in tune, as nothing sways here"
    )
    others = dry_and_wet(s.dry_db, s.wet_db, "the other" if alone else "the others", several=not alone)
    return BlockWords(
        f"It adds {players}, about {millis(s.delay_ms)} late {sway}. {others}",
        "Long notes: a slow beating, as in a section.",
        "How can a box that only delays be out of tune?",
        "A delay that grows plays the sound slower, and slower is lower; one that shrinks plays it higher.",
    )


def vibrato(s: Any) -> BlockWords:
    """Words for a vibrato."""
    sway = (
        f"by {valued(s.depth_cents, 'cents')} to either side, {motion(s.rate_hz, s.note)}, {SHAPES[s.shape]}"
        if s.depth_cents > 0.0
        else "when it is turned up; here it stands still"
    )
    return BlockWords(
        f"It lets the pitch sway {sway}. Nothing of the straight sound is left beside it.",
        "Long notes: does it fit the vibrato you play, or fight it?",
        "Blend it with the straight horn. What do you get?",
        "A chorus: two players, one of whom sways.",
    )


def frequency_divider(s: Any) -> BlockWords:
    """Words for a frequency divider."""
    squares = [
        f"a square {where} out of every {which} one, at {decibels(level_db)}"
        for where, which, level_db in (
            ("an octave down", "second", s.octave_down_db),
            ("two octaves down", "fourth", s.two_octaves_down_db),
        )
        if is_on(level_db)
    ]
    makes = f"makes {listed(squares)}" if squares else "makes nothing of them, as both its squares are turned off"
    horn = f"What came in goes on at {decibels(s.dry_db)}." if is_on(s.dry_db) else "Nothing of what came in goes on."
    return BlockWords(
        f"It counts the swings of your note below {hertz(s.high_cut_hz)} and {makes}. {horn} "
        "It does so at once, and where the swings are unclear it counts wrong.",
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
