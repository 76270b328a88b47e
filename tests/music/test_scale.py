"""Keys: which notes are in them, and harmonies in the key. Expected notes from music theory, spelled by hand."""

from __future__ import annotations

import pytest

from chainsim.errors import SettingError
from chainsim.music.interval import parse_interval
from chainsim.music.pitch import parse_pitch, parse_pitch_class, pitch_name
from chainsim.music.scale import parse_key

# Key and its notes, as any theory book spells them.
KEYS = [
    ("C major", "C D E F G A B"),
    ("E minor", "E F# G A B C D"),
    ("Bb major", "Bb C D Eb F G A"),
    ("B flat major", "Bb C D Eb F G A"),
    ("bb MAJOR", "Bb C D Eb F G A"),
    ("C ionian", "C D E F G A B"),
    ("G dorian", "G A Bb C D E F"),
    ("E phrygian", "E F G A B C D"),
    ("F lydian", "F G A B C D E"),
    ("G mixolydian", "G A B C D E F"),
    ("A aeolian", "A B C D E F G"),
    ("A natural minor", "A B C D E F G"),
    ("B locrian", "B C D E F G A"),
    ("A harmonic minor", "A B C D E F G#"),
    ("A melodic minor", "A B C D E F# G#"),
    ("C major pentatonic", "C D E G A"),
    ("A minor pentatonic", "A C D E G"),
    ("E blues", "E G A Bb B D"),
    ("E minor blues", "E G A Bb B D"),
    ("C whole-tone", "C D E F# G# A#"),
    ("C Whole Tone", "C D E F# G# A#"),
    ("C diminished", "C D Eb F Gb Ab A B"),
    ("C whole-half diminished", "C D Eb F Gb Ab A B"),
    ("C half-whole diminished", "C Db Eb E F# G A Bb"),
    ("F♯ minor", "F# G# A B C# D E"),
]
NO_KEYS = [
    ("C minr", 'did you mean "C minor"?'),
    ("G dorain", 'did you mean "G dorian"?'),
    ("bb harmonic minr", 'did you mean "Bb harmonic minor"?'),
    ("G mixolidian", 'did you mean "G mixolydian"?'),
    ("C wholetone", 'did you mean "C whole-tone"?'),
    ("E pentatonic", 'did you mean "E major pentatonic" or "E minor pentatonic"?'),
    ("F sharp melodic", 'did you mean "F# melodic minor"?'),
    ("G minor harmonic", 'did you mean "G harmonic minor"?'),
    ("C dim", 'did you mean "C diminished"?'),
    ("C m", 'did you mean "C minor"?'),
    ("E", 'did you mean "E major" or "E minor"?'),
    ("B flat", 'did you mean "Bb major" or "Bb minor"?'),
    ("Em", 'did you mean "E minor"?'),
    ("Bbm", 'did you mean "Bb minor"?'),
    ("Cmajor", 'did you mean "C major"?'),
    ("G#dorian", 'did you mean "G# dorian"?'),
    ("Am pentatonic", 'did you mean "A minor pentatonic"?'),
    ("C xyz", "allowed scales major, minor, "),
    ("F#m7", "allowed a tonic A to G"),
    ("C phyrgian", 'did you mean "C phrygian"?'),
    ("C lidyan", 'did you mean "C lydian"?'),
    ("Fb locrain", 'did you mean "Fb locrian"?'),
    ("C aeolean", 'did you mean "C aeolian"?'),
    ("C major pentatonc", 'did you mean "C major pentatonic"?'),
    ("C bleus", 'did you mean "C blues"?'),
    ("C half whole", 'did you mean "C half-whole diminished"?'),
    ("E minor.", 'did you mean "E minor"?'),
    ("E-minor", 'did you mean "E minor"?'),
    ("minor E", 'did you mean "E minor"?'),
    ("F#dorain", 'did you mean "F# dorian"?'),
    ("F shrp minor", 'did you mean "F# minor"?'),
    ("B falt", 'did you mean "Bb major" or "Bb minor"?'),
    # German: H is the note below C, flat and sharp notes end in -es and -is; B is Bb, but is taken as it stands
    ("H minor", 'did you mean "B minor"?'),
    ("Hm", 'did you mean "B minor"?'),
    ("Cis-Moll", 'did you mean "C# minor"?'),
    ("Es dur", 'did you mean "Eb major"?'),
    ("As dorisch", 'did you mean "Ab dorian"?'),
    ("do major", 'did you mean "C major"?'),
    ("sol mineur", 'did you mean "G minor"?'),
    ("J major", 'allowed a tonic A to G, b or # if need be, and a scale, such as "E minor"'),
    ("minor", "allowed a tonic A to G"),
    ("dorian", "allowed a tonic A to G"),  # not D "orian"
    ("blues", "allowed a tonic A to G"),
    ("dorain", "allowed a tonic A to G"),
    ("Fisharp minor", "allowed a tonic A to G"),
    ("As you like", "allowed a tonic A to G"),
    ("", "allowed a tonic A to G"),
]


@pytest.mark.parametrize(("text", "notes"), KEYS)
def test_notes_of_a_key(text: str, notes: str) -> None:
    key = parse_key(text)
    expected = [parse_pitch_class(note)[0] for note in notes.split()]
    assert [(key.tonic_pc + d) % 12 for d in key.degrees] == expected
    assert [n for n in range(60, 72) if key.contains(n)] == sorted(60 + pc for pc in expected)
    assert parse_key(key.text) == key


@pytest.mark.parametrize(("text", "told"), NO_KEYS)
def test_what_is_no_key_is_refused_in_one_line(text: str, told: str) -> None:
    with pytest.raises(SettingError) as caught:
        parse_key(text)
    assert f'no key "{text}"' in str(caught.value)
    assert told in str(caught.value)
    assert ("did you mean" in str(caught.value)) == ("did you mean" in told)
    assert "\n" not in str(caught.value)


# Sharps (flats negative) on the staff, from the circle of fifths.
SIGNATURES = [
    ("C major", 0),
    ("G major", 1),
    ("F major", -1),
    ("F# major", 6),
    ("Gb major", -6),
    ("E minor", 1),
    ("C minor", -3),
    ("D dorian", 0),
    ("E phrygian", 0),
    ("F lydian", 0),
    ("G mixolydian", 0),
    ("B locrian", 0),
    ("A harmonic minor", 0),
]


@pytest.mark.parametrize(("text", "sharps"), SIGNATURES)
def test_key_signature(text: str, sharps: int) -> None:
    assert parse_key(text).signature == sharps


TONICS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
# Semitones from each degree of a major scale to its third above, fifth above and sixth below.
MAJOR_THIRDS = (4, 3, 3, 4, 4, 3, 3)
MAJOR_FIFTHS = (7, 7, 7, 7, 7, 7, 6)
MAJOR_SIXTHS_BELOW = (-8, -9, -9, -8, -8, -9, -9)


@pytest.mark.parametrize("tonic", TONICS)
def test_harmony_in_every_major_key(tonic: str) -> None:
    key = parse_key(f"{tonic} major")
    for octave in (-12, 0, 12):
        scale = [60 + octave + key.tonic_pc + d for d in (0, 2, 4, 5, 7, 9, 11)]
        assert tuple(key.step(n, 2) - n for n in scale) == MAJOR_THIRDS
        assert tuple(key.step(n, 4) - n for n in scale) == MAJOR_FIFTHS
        assert tuple(key.step(n, -5) - n for n in scale) == MAJOR_SIXTHS_BELOW
        assert tuple(key.step(n, 9) - n for n in scale) == tuple(12 + t for t in MAJOR_THIRDS)


# key, note played, interval, harmony
HARMONIES = [
    ("C major", "E4", "third above", "G4"),
    ("C major", "C4", "third above", "E4"),
    ("C major", "C4", "third below", "A3"),
    ("C major", "B3", "second above", "C4"),
    ("C major", "F4", "fourth above", "B4"),
    ("G dorian", "Bb4", "third below", "G4"),
    ("G dorian", "C4", "third above", "E4"),
    ("A harmonic minor", "E4", "third above", "G#4"),
    ("E minor", "D4", "tenth below", "B2"),
    ("E minor", "C4", "P5 above", "G4"),
    ("E minor", "C4", "octave below", "C3"),
    ("E minor", "C#4", "octave below", "C#3"),
    ("E minor", "C#4", "unison", "C#4"),
    # Notes outside the key: thirds and sixths are true ones that stay in the key ...
    ("C major", "C#4", "third above", "E4"),
    ("C major", "Eb4", "third above", "G4"),
    ("C major", "F#4", "third above", "A4"),
    ("C major", "G#4", "third above", "B4"),
    ("C major", "Bb4", "third above", "D5"),
    ("C major", "C#4", "third below", "A3"),
    ("C major", "Eb4", "third below", "C4"),
    ("C major", "F#4", "third below", "D4"),
    ("C major", "Bb4", "third below", "G4"),
    ("C major", "C#4", "sixth above", "A4"),
    ("C major", "Eb4", "sixth above", "C5"),
    ("C major", "Bb4", "tenth above", "D6"),
    ("A minor", "G#4", "third above", "B4"),
    ("A minor", "F#4", "third above", "A4"),
    ("A harmonic minor", "G4", "third above", "B4"),
    # ... fifths and fourths perfect ones, inside the key where it has them.
    ("C major", "Eb4", "fifth above", "Bb4"),
    ("C major", "C#4", "fifth above", "G#4"),
    ("C major", "Bb4", "fifth above", "F5"),
    ("C major", "F#4", "fourth above", "B4"),
    ("C major", "G#4", "fourth above", "C#5"),
    # Scales of fewer or more notes: true intervals where they have them, otherwise the nearest.
    ("C major pentatonic", "C4", "third above", "E4"),
    ("C major pentatonic", "D4", "third above", "G4"),
    ("C major pentatonic", "A4", "third above", "C5"),
    ("C major pentatonic", "C4", "fifth above", "G4"),
    ("C major pentatonic", "E4", "fifth above", "C5"),
    ("C major pentatonic", "A4", "fifth below", "D4"),
    ("C major pentatonic", "C4", "sixth above", "A4"),
    ("C major pentatonic", "D4", "sixth above", "A4"),
    ("C major pentatonic", "C4", "tenth above", "E5"),
    ("C major pentatonic", "F4", "third above", "A4"),
    ("A blues", "A4", "fifth above", "E5"),
    ("A blues", "A4", "third above", "C5"),
    ("A blues", "D4", "fourth above", "G4"),
    ("A blues", "D4", "fifth above", "A4"),
    ("A blues", "Eb4", "third above", "G4"),
    ("A blues", "C#4", "third above", "E4"),
    ("C whole-tone", "C4", "third above", "E4"),
    ("C whole-tone", "C4", "fourth above", "F#4"),
    ("C whole-tone", "C4", "seventh above", "Bb4"),
    ("C diminished", "C4", "third above", "Eb4"),
    ("C diminished", "D4", "third above", "F4"),
    ("C diminished", "C4", "sixth above", "A4"),
]


@pytest.mark.parametrize(("key", "note", "interval", "harmony"), HARMONIES)
def test_harmony(key: str, note: str, interval: str, harmony: str) -> None:
    moved = parse_key(key).move(parse_pitch(note), parse_interval(interval))
    assert pitch_name(moved) == pitch_name(parse_pitch(harmony))


@pytest.mark.parametrize("scale", ["minor", "major pentatonic", "blues", "diminished"])
def test_a_sixth_above_outside_the_major_scale_is_a_third_below_an_octave_up(scale: str) -> None:
    key = parse_key(f"C {scale}")
    for midi in range(60, 72):
        assert key.step(midi, 5) == key.step(midi, -2) + 12
        assert key.step(midi, 3) == key.step(midi, -4) + 12


@pytest.mark.parametrize("scale", ["major", "harmonic minor", "blues", "whole-tone", "diminished", "minor pentatonic"])
def test_octaves_are_octaves_from_every_note_of_every_scale(scale: str) -> None:
    key = parse_key(f"Eb {scale}")
    for midi in range(40, 64):
        assert [key.step(midi, s) - midi for s in (-14, -7, 0, 7, 14)] == [-24, -12, 0, 12, 24]


# key, start, count, where it ends
WALKS = [
    ("C major", "C4", 1, "D4"),
    ("C major", "C4", -1, "B3"),
    ("C major", "C4", 8, "D5"),
    ("C major", "C#4", 1, "D4"),
    ("C major", "C#4", 2, "E4"),
    ("C major", "C#4", -1, "C4"),
    ("C major", "C#4", -2, "B3"),
    ("C major", "C#4", 0, "C#4"),
    ("D blues", "C4", 1, "D4"),
    ("D blues", "C#4", 1, "D4"),
    ("D blues", "D4", -6, "D3"),
    ("D major", "C4", 1, "C#4"),
    ("D major", "C4", -1, "B3"),
]


@pytest.mark.parametrize(("key", "start", "count", "end"), WALKS)
def test_walk_along_the_scale(key: str, start: str, count: int, end: str) -> None:
    assert parse_key(key).walk(parse_pitch(start), count) == parse_pitch(end)
