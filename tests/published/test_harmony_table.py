"""In-key harmonies of every scale note in all keys, against scales spelled letter by letter from the circle of fifths.

Music theory (any textbook): a third above a note is the scale's note two letters on, a fourth three, and so on. A key
of n sharps sharpens the first n of F C G D A E B, one of n flats flattens the first n of B E A D G C F; a mode has the
signature of the major key that has its notes; harmonic minor raises the seventh, melodic minor the sixth and seventh.
"""

from __future__ import annotations

import pytest

from chainsim.music.interval import parse_interval
from chainsim.music.pitch import parse_pitch, parse_pitch_class
from chainsim.music.scale import parse_key

FIFTHS = "FCGDAEB"
LETTERS = "CDEFGAB"
WHITE_KEYS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
TONICS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")

FLATTER = {
    "major": 0,
    "ionian": 0,
    "lydian": -1,
    "mixolydian": 1,
    "dorian": 2,
    "minor": 3,
    "aeolian": 3,
    "phrygian": 4,
    "locrian": 5,
    "harmonic minor": 3,
    "melodic minor": 3,
}
"""How many flats more than the major key on its tonic a scale has in its signature."""

RAISED = {"harmonic minor": (7,), "melodic minor": (6, 7)}

NUMBERS = {"second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7, "octave": 8, "tenth": 10}


def sharps_of(tonic: str, scale: str) -> dict[str, int]:
    """For each letter its sharps, or flats if negative."""
    signature = FIFTHS.index(tonic[0]) - 1 + 7 * (tonic.count("#") - tonic[1:].count("b")) - FLATTER[scale]
    sharps = {letter: (signature - place + 6) // 7 for place, letter in enumerate(FIFTHS)}
    for number in RAISED.get(scale, ()):
        sharps[LETTERS[(LETTERS.index(tonic[0]) + number - 1) % 7]] += 1
    return sharps


def midi_of(place: int, sharps: dict[str, int]) -> int:
    """MIDI number of a place on the staff: C4 is 28, D4 29."""
    octave, letter = divmod(place, 7)
    return 12 * octave + 12 + WHITE_KEYS[LETTERS[letter]] + sharps[LETTERS[letter]]


def test_spelling_of_the_truth() -> None:
    """Signatures that every player knows."""
    for tonic, scale, notes in (
        ("D", "major", "D E F# G A B C#"),
        ("Db", "major", "Db Eb F Gb Ab Bb C"),
        ("F#", "major", "F# G# A# B C# D# E#"),
        ("E", "minor", "E F# G A B C D"),
        ("G", "harmonic minor", "G A Bb C D Eb F#"),
        ("A", "melodic minor", "A B C D E F# G#"),
        ("G", "dorian", "G A Bb C D E F"),
        ("F", "lydian", "F G A B C D E"),
        ("B", "locrian", "B C D E F G A"),
    ):
        sharps = sharps_of(tonic, scale)
        assert {n[0]: n.count("#") - n[1:].count("b") for n in notes.split()} == sharps
    assert midi_of(28, sharps_of("C", "major")) == 60


@pytest.mark.parametrize("direction", ["above", "below"])
@pytest.mark.parametrize("scale", FLATTER)
@pytest.mark.parametrize("tonic", TONICS)
def test_every_harmony_of_every_scale_note(tonic: str, scale: str, direction: str) -> None:
    key, sharps = parse_key(f"{tonic} {scale}"), sharps_of(tonic, scale)
    for name, number in NUMBERS.items():
        interval = parse_interval(f"{name} {direction}")
        steps = number - 1 if direction == "above" else 1 - number
        for place in range(7, 63):
            assert key.move(midi_of(place, sharps), interval) == midi_of(place + steps, sharps), (name, place)


def test_the_checklist_s_own_pair() -> None:
    """C major: a third above E4 is G4, 3 semitones; above C4 it is E4, 4 semitones."""
    key, third = parse_key("C major"), parse_interval("third above")
    assert [key.move(parse_pitch(note), third) - parse_pitch(note) for note in ("E4", "C4")] == [3, 4]


# Scales without seven notes, and notes outside: worked out by hand from the rule that `Key.step` states. First what is
# played, then what sounds a third, fourth, fifth and sixth above it.
BY_HAND = {
    "C major pentatonic": ("C D E G A", "E G G C C", "E G A C D", "G A C D E", "A A C E E"),
    "Eb major pentatonic": ("Eb F G Bb C", "G Bb Bb Eb Eb", "G Bb C Eb F", "Bb C Eb F G", "C C Eb G G"),
    "A minor pentatonic": ("A C D E G", "C E G G C", "D E G A C", "E G A C D", "E A A C E"),
    "F# minor pentatonic": ("F# A B C# E", "A C# E E A", "B C# E F# A", "C# E F# A B", "C# F# F# A C#"),
    "A blues": ("A C D Eb E G", "C Eb G G G C", "D E G A A C", "E G A A C D", "E A A C C E"),
    "C whole-tone": ("C D E F# G# A#", "E F# G# A# C D", "F# G# A# C D E", "F# G# A# C D E", "G# A# C D E F#"),
    "Db whole-tone": ("Db Eb F G A B", "F G A B Db Eb", "G A B Db Eb F", "G A B Db Eb F", "A B Db Eb F G"),
    "C diminished": (
        "C D Eb F Gb Ab A B",
        "Eb F Gb Ab A B C D",
        "F Ab Ab B B D D F",
        "Gb A A C C Eb Eb Gb",
        "A B C D Eb F Gb Ab",
    ),
    "B half-whole diminished": (
        "B C D Eb F Gb Ab A",
        "D Eb F Gb Ab A B C",
        "F F Ab Ab B B D D",
        "Gb Gb A A C C Eb Eb",
        "Ab A B C D Eb F Gb",
    ),
    # Notes outside C major and G dorian.
    "C major": ("C# Eb F# G# Bb", "E G A B D", "F# Ab B C# Eb", "G# Bb C# D# F", "A C D F G"),
    "G dorian": ("G# B C# Eb F#", "C D E G A", "C# E F# Ab B", "D# F# G# Bb C#", "F G Bb C D"),
}


@pytest.mark.parametrize("text", BY_HAND)
def test_scales_without_seven_notes_and_notes_outside(text: str) -> None:
    key = parse_key(text)
    played, *rows = (row.split() for row in BY_HAND[text])
    for steps, row in zip((2, 3, 4, 5), rows, strict=True):
        for note, harmony in zip(played, row, strict=True):
            midi = 60 + parse_pitch_class(note)[0]
            found = key.step(midi, steps)
            assert found % 12 == parse_pitch_class(harmony)[0], (steps, note)
            assert 0 < found - midi < 12, (steps, note)


@pytest.mark.parametrize("scale", [text.split(" ", 1)[1] for text in BY_HAND])
@pytest.mark.parametrize("tonic", TONICS)
def test_a_key_is_another_key_moved(tonic: str, scale: str) -> None:
    here, there = parse_key(f"C {scale}"), parse_key(f"{tonic} {scale}")
    for midi in range(40, 80):
        for steps in range(-12, 13):
            assert there.step(midi + there.tonic_pc, steps) == here.step(midi, steps) + there.tonic_pc
