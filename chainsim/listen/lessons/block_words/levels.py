"""Blocks that change how loud it is, and where it stands."""

from __future__ import annotations

from typing import Any

from chainsim.listen.lessons.block_words.words import BlockWords, decibels, millis, motion, valued


def gain(s: Any) -> BlockWords:
    """Words for a gain."""
    way = "louder" if s.gain_db > 0.0 else "quieter" if s.gain_db < 0.0 else "neither louder nor quieter"
    return BlockWords(
        f"It multiplies the sound and does nothing else. Here it makes it {way}, by {decibels(abs(s.gain_db))}.",
        "Nothing but the level: at one loudness you should hear no difference.",
        "A box behind this one has a threshold. What becomes of it when you turn this?",
        "It must go along: whatever follows a level (a gate, a compressor, a filter that opens) hears the gain as "
        "louder playing.",
    )


def noise_gate(s: Any) -> BlockWords:
    """Words for a gate."""
    open_db, shut_db = decibels(s.threshold_db), decibels(s.threshold_db - s.hysteresis_db)
    return BlockWords(
        f"It opens when the level it listens to passes {open_db}FS, and shuts {millis(s.hold_ms)} after that has "
        f"fallen under {shut_db}FS. Shut, it leaves {decibels(s.floor_db)} of what comes in.",
        "The rests, and the very end of each phrase: is a soft note cut short?",
        "It opens at one level and shuts at a lower one. Why not at the same?",
        "A note that dies away wavers about any level. With one threshold the gate would rattle there.",
    )


def compressor(s: Any) -> BlockWords:
    """Words for a compressor."""
    kind = "beside the sound as it came, which lifts soft notes" if s.dry_db > -200.0 else "and nothing beside it"
    return BlockWords(
        f"What passes {decibels(s.threshold_db)}FS comes out with 1 dB more for every {s.ratio:g} dB more. It takes "
        f"{millis(s.attack_ms)} to turn down and {millis(s.release_ms)} to come back, {kind}.",
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
        "It is the last box of a chain. Why not the first?",
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
        "The house runs in mono. What is left of this block?",
        "Its level, and nothing of its place: what stands only on one side comes out quieter.",
    )


def blender(s: Any) -> BlockWords:
    """Words for a blender."""
    turned = " The wet path is turned over." if s.flip_wet else ""
    return BlockWords(
        f"It sends the sound around a few blocks as well as through them, and adds both. The path around them has "
        f"{decibels(s.dry_db)}, the path through them {decibels(s.wet_db)}.{turned}",
        "The beginnings of the notes: they come from the path around.",
        "Why does a blend keep the player in front, even if the effect is strong?",
        "Tongue and breath come by the dry path, on time and unchanged, and the ear takes the rest for a colour of "
        "the same horn.",
    )


def tremolo(s: Any) -> BlockWords:
    """Words for a tremolo."""
    sides = " The two sides do not sway together, so it goes to and fro." if s.stereo_phase > 0.0 else ""
    return BlockWords(
        f"It lets the level sway {motion(s.rate_hz, s.note)}, as a hand before the bell would. It sinks by "
        f"{valued(100.0 * s.depth, '%')} of the level.{sides}",
        "Long notes: count the swells against the beat.",
        "Is this vibrato?",
        "No: the pitch stands still, only the level moves. A player's vibrato often has both.",
    )


def noise(s: Any) -> BlockWords:
    """Words for a noise."""
    hum = f", and a hum of {valued(s.hum_hz, 'Hz')} at {decibels(s.hum_db)}FS" if s.hum_db > -200.0 else ""
    return BlockWords(
        f"It adds the hiss that a microphone or a box of your own has. Here it is {s.colour} noise at "
        f"{decibels(s.level_db)}FS{hum}.",
        "The rests. Under the notes you will hardly hear it.",
        "A gate stands before this block. Does it help?",
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
