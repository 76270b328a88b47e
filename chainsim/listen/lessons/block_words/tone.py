"""Blocks that change the tone."""

from __future__ import annotations

from typing import Any

from chainsim.listen.lessons.block_words.words import (
    SHAPES,
    BlockWords,
    decibels,
    dry_and_wet,
    hertz,
    is_on,
    level_change,
    listed,
    millis,
    motion,
    number_of,
)

MOST_BANDS = 4


def equalizer(s: Any) -> BlockWords:
    """Words for an equalizer."""
    said = [_band(band) for band in s.bands[:MOST_BANDS]]
    more = len(s.bands) - MOST_BANDS
    said += [f"does as much in {number_of(more, 'more band', 'more bands')}"] if more > 0 else []
    set_so = f"Here it {listed(said)}." if said else "Here no band is set, so the tone stays as it is."
    if not is_on(s.gain_db):
        set_so += " What comes out is turned off."
    elif s.gain_db != 0.0:
        set_so += f" What comes out is made {level_change(s.gain_db)}."
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
    where = {"low_shelf": f"what lies below {at}", "high_shelf": f"what lies above {at}"}.get(
        band.shape, f"the range around {at}"
    )
    if band.gain_db == 0.0:
        return f"leaves {where} as it is"
    does = "raises" if band.gain_db > 0.0 else "lowers"
    return f"{does} {where} by {decibels(abs(band.gain_db))}"


TONE_OFF_HZ, LOW_CUT_OFF_HZ, HIGH_CUT_OFF_HZ = 18_000.0, 10.0, 20_000.0
"""Where these cut nothing."""

_CURVES = {
    "soft": "rounds the tops of the wave off",
    "hard": "cuts the tops of the wave off",
    "asymmetric": "rounds one side of the wave sooner than the other",
    "folding": "folds the tops of the wave back",
}


def drive(s: Any) -> BlockWords:
    """Words for a drive."""
    loud = (
        f"A horn of middle level comes out of it about {level_change(s.wet_db)}"
        if is_on(s.wet_db)
        else "It is turned off"
    )
    dark = f", darkened above {hertz(s.tone_hz)}" if s.tone_hz < TONE_OFF_HZ and is_on(s.wet_db) else ""
    beside = f" The sound as it came stands beside it at {decibels(s.dry_db)}." if is_on(s.dry_db) else ""
    return BlockWords(
        f"It takes the sound, {level_change(s.drive_db)}, into a curve that {_CURVES[s.shape]}, which makes new "
        f"partials above the horn's own. {loud}{dark}.{beside}",
        "Play loud, then soft: the grit comes with the loud notes.",
        "What comes out when two notes go into it at once, a horn and its echo?",
        "More than two: also their sums and differences, which fit no key. That is why a drive stands before the echo "
        "if the echo is to stay clean.",
    )


def envelope_filter(s: Any) -> BlockWords:
    """Words for an envelope filter."""
    low, high = hertz(s.sweep_low_hz), hertz(s.sweep_high_hz)
    way = f"from {low} up to {high}" if s.direction == "up" else f"from {high} down to {low}"
    start = low if s.direction == "up" else high
    moves = (
        f"the louder, the further {way}. It goes there in {millis(s.attack_ms)} and comes back in "
        f"{millis(s.release_ms)}."
        if is_on(s.sensitivity_db)
        else f"but here its ear is turned off, so it stays at {start}."
    )
    return BlockWords(
        f"A {s.response} filter that your playing moves: {moves}",
        "The vowel at the beginning of each note, and how it differs from soft to loud.",
        "What would a compressor before it do to the sweep?",
        "Make it flat, since all notes then reach the filter about as loud. If it listens to the horn itself "
        "(listens_to), it opens as you play all the same.",
    )


def ring_modulator(s: Any) -> BlockWords:
    """Words for a ring modulator."""
    follows = s.follows == "pitch"
    carrier = f"{s.ratio:g} times the note you play" if follows else hertz(s.freq_hz)
    stays = "stay in tune with you" if follows else "clang"
    return BlockWords(
        f"It multiplies the horn by a sine of {carrier}: every partial becomes two, one above and one below. "
        f"{dry_and_wet(s.dry_db, s.wet_db, 'what was multiplied')}",
        f"The new tones: they {stays} when you go up the scale.",
        "You play a semitone up, and the sine goes along. What do the new tones do?"
        if follows
        else "The sine stands still and you play a semitone up. What do the new tones do?",
        "They go up a semitone too: sums and differences of what moves by one factor move by it as well."
        if follows
        else "They do not move by a semitone: they move by the same number of hertz as you, half of them the other way "
        "where they lie under the sine. That is the clang.",
    )


def phaser(s: Any) -> BlockWords:
    """Words for a phaser."""
    notches = number_of(s.stages // 2, "soft notch", "soft notches")
    wander = "It wanders" if s.stages // 2 == 1 else "They wander"
    both = is_on(s.dry_db) and is_on(s.wet_db)
    makes = (
        f"adds it to itself, which makes {notches}. {wander} between {hertz(s.sweep_low_hz)} and "
        f"{hertz(s.sweep_high_hz)}, {motion(s.rate_hz, s.note)}, {SHAPES[s.shape]}."
        if both
        else f"would add it to itself for {notches}; but one of both paths is off here, so nothing meets."
    )
    return BlockWords(
        f"It turns the wave by {s.stages} stages and {makes}",
        "A slow swirl through a long note: follow one of the notches up and down.",
        "What is left of it when one of its two paths is off?",
        "Hardly anything to hear: the notches are made where the two paths meet.",
    )


def flanger(s: Any) -> BlockWords:
    """Words for a flanger."""
    way = (
        f"A copy of the sound moves from {millis(s.longest_ms)} before it to {millis(s.longest_ms)} behind it"
        if s.through_zero
        else f"A copy of the sound comes between {millis(s.shortest_ms)} and {millis(s.longest_ms)} late and moves"
    )
    late = (
        "is whole waves late it takes away, since it is turned over"
        if s.flip_wet
        else "is half a wave late it takes away"
    )
    meets = (
        f"Where it {late}, so a comb sweeps through the sound."
        if is_on(s.dry_db) and is_on(s.wet_db)
        else "One of the two is off here, so there is nothing to take away."
    )
    return BlockWords(
        f"{way} {motion(s.rate_hz, s.note)}, {SHAPES[s.shape]}. {meets}",
        "A rush as of a passing train, strongest in breath and bright notes.",
        "Where are the notches when the copy, turned over as it is, meets the sound 1 ms late?"
        if s.flip_wet
        else "Where is the first notch when the copy meets the sound 1 ms late?",
        "At 0 Hz, so the bass goes, then at 1 / 1 ms = 1000 Hz and at two, three, four times that."
        if s.flip_wet
        else "At 1 / (2 \N{MULTIPLICATION SIGN} 1 ms) = 500 Hz; then at three, five, seven times that.",
    )


def radio_link(s: Any) -> BlockWords:
    """Words for a radio link."""
    low, high = s.low_cut_hz > LOW_CUT_OFF_HZ, s.high_cut_hz < HIGH_CUT_OFF_HZ
    cut = (
        f"cut to what lies between {hertz(s.low_cut_hz)} and {hertz(s.high_cut_hz)}"
        if low and high
        else f"without what lies below {hertz(s.low_cut_hz)}"
        if low
        else f"without what lies above {hertz(s.high_cut_hz)}"
        if high
        else "with the whole range"
    )
    late = f"{millis(s.transmission_ms)} later, " if s.transmission_ms > 0.0 else ""
    often = "Once" if s.dropouts_per_minute == 1.0 else f"{s.dropouts_per_minute:.4g} times"
    left = f", to {decibels(s.dropout_db)}" if is_on(s.dropout_db) else ""
    drops = (
        f"{often} a minute on average it drops out{left}, for up to {millis(s.dropout_longest_ms)}."
        if s.dropouts_per_minute > 0.0
        else "Here it never drops out."
    )
    return BlockWords(
        f"It does what a wireless microphone does: the sound comes {late}{cut}. {drops}",
        "Short holes in long notes.",
        "Why rehearse with dropouts?",
        "To know which of your patches live on through one: an echo and a reverb hide a hole, a gate makes it longer.",
    )


def convolver(s: Any) -> BlockWords:
    """Words for a convolver."""
    return BlockWords(
        f"It puts the sound into a place or a thing that was recorded as a response ({s.file or 'no file is given'}). "
        f"{dry_and_wet(s.dry_db, s.wet_db, 'the place')}",
        "The colour and the end of each note: they are the place's own.",
        "What is in a response recorded from four metres away, beside the room?",
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
