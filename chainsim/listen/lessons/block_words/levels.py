"""Blocks that change how loud it is, and where it stands."""

from __future__ import annotations

from typing import Any

from chainsim.listen.lessons.block_words.words import (
    SHAPES,
    BlockWords,
    decibels,
    dry_and_wet,
    is_on,
    level_change,
    millis,
    motion,
    valued,
)

LIMITS_FROM_RATIO = 100.0


def gain(s: Any) -> BlockWords:
    """Words for a gain."""
    way = (
        "it is turned off, so nothing comes out"
        if not is_on(s.gain_db)
        else "it leaves the level as it is"
        if s.gain_db == 0.0
        else f"it makes it {level_change(s.gain_db)}"
    )
    return BlockWords(
        f"It multiplies the sound and does nothing else. Here {way}.",
        "Nothing but the level: at one loudness you should hear no difference.",
        "You turn this. What becomes of the threshold of a box behind it?",
        "It must go along: whatever follows a level (a gate, a compressor, a filter that opens) hears the gain as "
        "louder playing.",
    )


def noise_gate(s: Any) -> BlockWords:
    """Words for a gate."""
    open_db, shut_db = decibels(s.threshold_db), decibels(s.threshold_db - s.hysteresis_db)
    shut = (
        "lets nothing through"
        if not is_on(s.floor_db)
        else "lets all through as it is"
        if s.floor_db == 0.0
        else f"turns what comes in down by {decibels(-s.floor_db)}"
    )
    when = f"{millis(s.hold_ms)} after that has fallen" if s.hold_ms > 0.0 else "as soon as that has fallen"
    one = s.hysteresis_db == 0.0
    return BlockWords(
        f"It opens when the level it listens to passes {open_db}FS, and shuts {when} under {shut_db}FS. "
        f"Shut, it {shut}.",
        "The rests, and the very end of each phrase: is a soft note cut short?",
        "It opens and shuts at the same level. What can go wrong?"
        if one
        else "It opens at one level and shuts at a lower one. Why not at the same?",
        "A note that dies away wavers about any level. With one threshold "
        + ("the gate rattles there, but for its hold." if one else "the gate would rattle there."),
    )


def compressor(s: Any) -> BlockWords:
    """Words for a compressor."""
    passes = (
        "comes out hardly any louder"
        if s.ratio >= LIMITS_FROM_RATIO
        else "comes out as it is, since the ratio is 1"
        if s.ratio == 1.0
        else f"comes out with 1 dB more for every {s.ratio:g} dB more"
    )
    made_up = f" Then it is made {level_change(s.make_up_db)}." if s.make_up_db != 0.0 else ""
    mixed = f" {dry_and_wet(s.dry_db, s.wet_db, 'what was compressed')}" if is_on(s.dry_db) or s.wet_db != 0.0 else ""
    return BlockWords(
        f"What passes {decibels(s.threshold_db)}FS {passes}. It takes {millis(s.attack_ms)} to turn down and "
        f"{millis(s.release_ms)} to come back.{made_up}{mixed}",
        "Soft notes against loud ones, and the tongue at the beginning of the loud ones.",
        "You play an accent. What makes it through, and what does not?",
        f"Its first {millis(s.attack_ms)} or so come through as they are; then the note is turned down. "
        "A slow attack keeps accents, a fast one takes them.",
    )


def limiter(s: Any) -> BlockWords:
    """Words for a limiter."""
    return BlockWords(
        f"It lets no peak over {valued(s.ceiling_dbtp, 'dBTP')}, and touches nothing below. To be down in time it "
        f"looks {millis(s.look_ahead_ms)} ahead, and so comes that much later.",
        "The loudest notes: do they duck? If you hear nothing, it is doing its work or has none.",
        "Why does a limiter belong at the end of a chain, and not at its beginning?",
        "What comes behind it could raise the peaks again. A guard stands at the door that is to be guarded.",
    )


def pan(s: Any) -> BlockWords:
    """Words for a pan."""
    side = (
        "in the middle"
        if s.pan == 0.0
        else f"{valued(abs(s.pan) * 100.0, '%')} to the {'right' if s.pan > 0.0 else 'left'}"
    )
    return BlockWords(
        f"It gives the sound a place between two loudspeakers and makes stereo of mono. Here it stands {side}.",
        "Where the horn stands when you shut your eyes; with headphones it is plainest.",
        "What is left of this block in a house that runs in mono?",
        "Its level, and nothing of its place: what stands only on one side comes out quieter.",
    )


def blender(s: Any) -> BlockWords:
    """Words for a blender."""
    around, through = (f"has {decibels(db)}" if is_on(db) else "is off" for db in (s.dry_db, s.wet_db))
    over = " The wet path is turned over." if s.flip_wet else ""
    blends = is_on(s.dry_db)
    return BlockWords(
        f"It sends the sound around a few blocks as well as through them, and adds both. The path around them "
        f"{around}, the path through them {through}.{over}",
        "The beginnings of the notes: they come from the path around."
        if blends
        else "The beginnings of the notes: have they suffered in the blocks?",
        "Why does a blend keep the player in front, even if the effect is strong?"
        if blends
        else "The path around is off. What would it bring?",
        "Tongue and breath come by the dry path, on time and unchanged, and the ear takes the rest for a colour of "
        "the same horn.",
    )


def tremolo(s: Any) -> BlockWords:
    """Words for a tremolo."""
    sides = " The two sides do not sway together, so it goes to and fro." if s.stereo_phase > 0.0 else ""
    sways = (
        f"swells and sinks by {valued(100.0 * s.depth, '%')} of the level, {SHAPES[s.shape]}"
        if s.depth > 0.0
        else "is set to no depth, so it stands still"
    )
    return BlockWords(
        f"It lets the level sway {motion(s.rate_hz, s.note)}, as a hand before the bell would. It {sways}.{sides}",
        "Long notes: count the swells against the beat.",
        "Is this vibrato?",
        "No: the pitch stands still, only the level moves. A player's vibrato often has both.",
    )


def noise(s: Any) -> BlockWords:
    """Words for a noise."""
    hum = f"a hum of {valued(s.hum_hz, 'Hz')} at {decibels(s.hum_db)}FS" if is_on(s.hum_db) else ""
    hiss = f"{s.colour} noise at {decibels(s.level_db)}FS" if is_on(s.level_db) else ""
    added = " and ".join(filter(None, (hiss, hum))) or "turned off"
    return BlockWords(
        f"It adds the hiss that a microphone or a box of your own has. Here it is {added}.",
        "The rests. Under the notes you will hardly hear it.",
        "Would a gate before this block help against it?",
        "No. A gate shuts out what comes into it; what is added behind it stays.",
    )


WORDS = {
    "gain": gain,
    "noise_gate": noise_gate,
    "compressor": compressor,
    "limiter": limiter,
    "pan": pan,
    "blender": blender,
    "tremolo": tremolo,
    "noise": noise,
}
