"""Horns: names, transposition and ranges against a table of reference pages; and written keys."""

from __future__ import annotations

import pytest

from chainsim.errors import SettingError
from chainsim.music.horns import HORNS, find_horn
from chainsim.music.pitch import parse_pitch
from chainsim.music.written import sounding_key

# Name, written range, written-to-sounding semitones, sounding ends in Hz. Transpositions and written ranges from
# reference pages; the frequencies follow from equal temperament at A4 = 440 Hz.
REFERENCE = [
    ("soprano sax", "Bb3", "F6", -2, 207.65, 1244.51),
    ("alto sax", "Bb3", "F6", -9, 138.59, 830.61),
    ("tenor sax", "Bb3", "F6", -14, 103.83, 622.25),
    ("baritone sax", "Bb3", "F6", -21, 69.30, 415.30),
    ("trumpet", "F#3", "C6", -2, 164.81, 932.33),
    ("clarinet", "E3", "C7", -2, 146.83, 1864.66),
    ("french horn", "F#2", "C6", -7, 61.74, 698.46),
    ("flute", "C4", "C7", 0, 261.63, 2093.00),
    ("trombone", "E2", "C5", 0, 82.41, 523.25),
]


@pytest.mark.parametrize(("name", "low", "high", "transposition", "low_hz", "high_hz"), REFERENCE)
def test_horn_against_reference(
    name: str, low: str, high: str, transposition: int, low_hz: float, high_hz: float
) -> None:
    horn = find_horn(name)
    assert horn.transposition == transposition
    assert (parse_pitch(low) + transposition, parse_pitch(high) + transposition) == (horn.low, horn.high)
    assert horn.range_hz() == pytest.approx((low_hz, high_hz), abs=0.005)


# Saxes share their written range, whatever their size. Common practice; altissimo a sixth over the written F#6.
@pytest.mark.parametrize("name", [name for name in HORNS if name.endswith("sax")])
def test_saxes_are_fingered_alike(name: str) -> None:
    horn = HORNS[name]
    written = [midi - horn.transposition for midi in (horn.reach_low, horn.low, horn.high, horn.reach_high)]
    lowest = "A3" if name == "baritone sax" else "Bb3"
    assert written == [parse_pitch(pitch) for pitch in (lowest, "Bb3", "F6", "Eb7")]


@pytest.mark.parametrize("name", HORNS)
def test_every_row_is_sound(name: str) -> None:
    horn = HORNS[name]
    assert find_horn(name) is horn
    assert horn.name == name
    assert 0 <= horn.reach_low <= horn.low < horn.high < horn.reach_high <= 127
    assert horn.source
    low_hz, high_hz = horn.reach_hz(442.0)
    assert low_hz < 442.0 * 2.0 ** ((horn.low - 68.99) / 12.0)
    assert high_hz > 442.0 * 2.0 ** ((horn.high - 69) / 12.0)


def test_flute_reaches_over_2100_hz_and_baritone_sax_its_low_a() -> None:
    assert find_horn("flute").reach_hz()[1] > 2100.0
    assert find_horn("baritone sax").reach_hz()[0] == pytest.approx(65.41, abs=0.005)


NAMES = [
    ("tenor saxophone", "tenor sax"),
    ("Tenor Sax", "tenor sax"),
    ("Bb tenor sax", "tenor sax"),
    ("B♭ soprano sax", "soprano sax"),
    ("bari sax", "baritone sax"),
    ("C-melody sax", "c melody sax"),
    ("B flat clarinet", "clarinet"),
    ("E-flat clarinet", "eb clarinet"),
    ("clarinet in A", "a clarinet"),
    ("clarinet in B flat", "clarinet"),
    ("Bb trumpet", "trumpet"),
    ("trumpet in C", "c trumpet"),
    ("C trumpet", "c trumpet"),
    ("flugel horn", "flugelhorn"),
    ("horn", "french horn"),
    ("Horn in F", "french horn"),
    ("tenor trombone", "trombone"),
    ("Bb trombone", "trombone"),
    ("F tuba", "tuba"),
    ("C flute", "flute"),
    ("cor anglais", "english horn"),
    ("oboe d’amore", "oboe d'amore"),  # noqa: RUF001 (the curly apostrophe is the point)
    ("bass  trombone", "bass trombone"),
    ("piccolo trumpet", "piccolo trumpet"),
]
NO_HORNS = [
    ("flugelhron", 'did you mean "flugelhorn"?'),
    ("trumpt", 'did you mean "trumpet"?'),
    ("tenor", 'did you mean "tenor sax"?'),
    ("D trumpet", "the trumpet known here is in Bb"),
    ("Bb alto sax", "the alto sax known here is in Eb"),
    ("kazoo", "allowed sopranino sax, soprano sax"),
    ("sax", "allowed sopranino sax, soprano sax"),
    ("", "allowed sopranino sax, soprano sax"),
]


@pytest.mark.parametrize(("text", "name"), NAMES)
def test_names_players_use(text: str, name: str) -> None:
    assert find_horn(text).name == name


@pytest.mark.parametrize(("text", "told"), NO_HORNS)
def test_unknown_horn_is_refused_in_one_line(text: str, told: str) -> None:
    with pytest.raises(SettingError) as caught:
        find_horn(text)
    assert f'no horn "{text}"' in str(caught.value)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


# Written note, horn, sounding note.
WRITTEN = [
    ("C5", "tenor sax", "Bb3"),
    ("C5", "alto sax", "Eb4"),
    ("A3", "baritone sax", "C2"),
    ("D4", "clarinet", "C4"),
    ("C4", "french horn", "F3"),
    ("C4", "piccolo", "C5"),
    ("C4", "piccolo trumpet", "Bb4"),
    ("C4", "eb clarinet", "Eb4"),
    ("C4", "alto flute", "G3"),
    ("C4", "trombone", "C4"),
]


@pytest.mark.parametrize(("written", "name", "sounds"), WRITTEN)
def test_written_and_sounding_pitch(written: str, name: str, sounds: str) -> None:
    assert parse_pitch(written) + find_horn(name).transposition == parse_pitch(sounds)


# Written key, horn, sounding key.
SOUNDING_KEYS = [
    ("E minor", "clarinet", "D minor"),
    ("C major", "alto sax", "Eb major"),
    ("A major", "tenor sax", "G major"),
    ("F# major", "alto sax", "A major"),
    ("Ab minor", "alto sax", "B minor"),
    ("G dorian", "french horn", "C dorian"),
    ("D major", "french horn", "G major"),
    ("Eb major", "flute", "Eb major"),
    ("F# major", "flute", "F# major"),
    ("Gb major", "flute", "Gb major"),
    ("G# minor", "trumpet", "F# minor"),
    ("D blues", "trumpet", "C blues"),
]


@pytest.mark.parametrize(("written", "name", "sounds"), SOUNDING_KEYS)
def test_sounding_key(written: str, name: str, sounds: str) -> None:
    assert sounding_key(written, find_horn(name)) == sounds


def test_sounding_key_refuses_what_is_no_key() -> None:
    with pytest.raises(SettingError, match='did you mean "E minor"'):
        sounding_key("E minr", find_horn("clarinet"))
