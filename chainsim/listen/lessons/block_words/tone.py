"""Blocks that change the tone."""

from __future__ import annotations

from typing import Any

from chainsim.listen.lessons.block_words.words import (
    BlockWords,
    decibels,
    dry_and_wet,
    hertz,
    listed,
    millis,
    motion,
    valued,
)

MOST_BANDS = 4


def equalizer(s: Any) -> BlockWords:
    """Words for an equalizer."""
    said = [_band(band) for band in s.bands[:MOST_BANDS]]
    more = len(s.bands) - MOST_BANDS
    said += [f"does as much in {more} more bands"] if more > 0 else []
    set_so = f"Here it {listed(said)}." if said else "Here no band is set, so the tone stays as it is."
    return BlockWords(
        f"It raises or lowers parts of the range and leaves the rest. {set_so}",
        "The lowest notes and the breath: they lie at the ends of the range.",
        "You can get more brightness by raising the highs, or how else?",
        "By lowering the lows and turning up: to the ear it is nearly the same, and it leaves room for others.",
    )


def _band(band: Any) -> str:
    at = hertz(band.freq_hz)
    if band.shape == "high_pass":
        return f"cuts what lies below {at}"
    if band.shape == "low_pass":
        return f"cuts what lies above {at}"
    if band.shape == "notch":
        return f"takes out {at}"
    does = "raises" if band.gain_db >= 0.0 else "lowers"
    where = {"low_shelf": f"what lies below {at}", "high_shelf": f"what lies above {at}"}.get(
        band.shape, f"around {at}"
    )
    return f"{does} {where} by {decibels(abs(band.gain_db))}"


_CURVES = {
    "soft": "rounds the tops of the wave off",
    "hard": "cuts the tops of the wave off",
    "asymmetric": "rounds one side of the wave sooner than the other",
    "fold": "folds the tops of the wave back",
}


def drive(s: Any) -> BlockWords:
    """Words for a drive."""
    curve = _CURVES.get(s.shape, "bends the wave")
    beside = "" if s.dry_db == float("-inf") else f" The sound as it came stands beside it at {decibels(s.dry_db)}."
    return BlockWords(
        f"It pushes the sound by {decibels(s.drive_db)} into a curve that {curve}, which makes new partials above "
        f"the horn's own. What comes out is as loud as it came, and darkened above {hertz(s.tone_hz)}.{beside}",
        "Play loud, then soft: the grit comes with the loud notes.",
        "Two notes at once go into it, a horn and its echo. What comes out?",
        "More than two: also their sums and differences, which fit no key. That is why a drive stands before the echo "
        "if the echo is to stay clean.",
    )


def envelope_filter(s: Any) -> BlockWords:
    """Words for an envelope filter."""
    low, high = hertz(s.sweep_low_hz), hertz(s.sweep_high_hz)
    way = f"from {low} up to {high}" if s.direction == "up" else f"from {high} down to {low}"
    return BlockWords(
        f"A {s.response} filter that your playing moves: the louder, the further {way}. It goes there in "
        f"{millis(s.attack_ms)} and comes back in {millis(s.release_ms)}.",
        "The vowel at the beginning of each note, and how it differs from soft to loud.",
        "A compressor stands before it. Why does the sweep become flat?",
        "All notes then reach it about as loud. Let it listen to the horn instead: listens_to.",
    )


def ring_modulator(s: Any) -> BlockWords:
    """Words for a ring modulator."""
    carrier = hertz(s.freq_hz) if s.follows == "nothing" else f"{s.ratio:g} times the note you play"
    stays = "clang" if s.follows == "nothing" else "stay in tune with you"
    return BlockWords(
        f"It multiplies the horn by a sine of {carrier}: every partial becomes two, one above and one below. "
        f"{dry_and_wet(s.dry_db, s.wet_db, 'what was multiplied')}",
        f"The new tones: they {stays} when you go up the scale.",
        "The sine stands still and you play a semitone up. What do the new tones do?",
        "They do not move by a semitone: they move by the same number of hertz as you, half of them the other way "
        "where they lie under the sine. That is the clang.",
    )


def phaser(s: Any) -> BlockWords:
    """Words for a phaser."""
    return BlockWords(
        f"It turns the wave by {s.stages} stages and adds it to itself, which makes {s.stages // 2} soft notches. "
        f"They wander between {hertz(s.sweep_low_hz)} and {hertz(s.sweep_high_hz)}, {motion(s.rate_hz, s.note)}.",
        "A slow swirl through a long note: follow one of the notches up and down.",
        "Turn the dry path off. What is left?",
        "Hardly anything to hear: the notches are made where the two paths meet.",
    )


def flanger(s: Any) -> BlockWords:
    """Words for a flanger."""
    return BlockWords(
        f"A copy of the sound comes between {millis(s.shortest_ms)} and {millis(s.longest_ms)} late and moves "
        f"{motion(s.rate_hz, s.note)}. Where it is half a wave late it takes away, so a comb sweeps through the sound.",
        "A rush as of a passing train, strongest in breath and bright notes.",
        "Where is the first notch when the copy is 1 ms late?",
        "At 1 / (2 \N{MULTIPLICATION SIGN} 1 ms) = 500 Hz; then at three, five, seven times that.",
    )


def radio_link(s: Any) -> BlockWords:
    """Words for a radio link."""
    return BlockWords(
        f"It does what a wireless microphone does: {millis(s.transmission_ms)} later, cut to what lies between "
        f"{hertz(s.low_cut_hz)} and {hertz(s.high_cut_hz)}. {valued(s.dropouts_per_minute, 'times')} a minute on "
        f"average it drops out, for up to {millis(s.dropout_longest_ms)}.",
        "Short holes in long notes.",
        "Why rehearse with dropouts?",
        "To know which of your patches live on through one: an echo and a reverb hide a hole, a gate makes it longer.",
    )


def convolver(s: Any) -> BlockWords:
    """Words for a convolver."""
    return BlockWords(
        f"It puts the sound into a place or a thing that was recorded as a response ({s.file or 'none given'}). "
        f"{dry_and_wet(s.dry_db, s.wet_db, 'the place')}",
        "The colour and the end of each note: they are the place's own.",
        "The response was recorded from four metres. What is in it beside the room?",
        "The loudspeaker and the microphone it was recorded with, and the way through the air.",
    )


WORDS = {
    "equalizer": equalizer,
    "drive": drive,
    "envelope_filter": envelope_filter,
    "ring_modulator": ring_modulator,
    "phaser": phaser,
    "flanger": flanger,
    "radio_link": radio_link,
    "convolver": convolver,
}
