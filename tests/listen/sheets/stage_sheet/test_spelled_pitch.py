"""Pitches and keys on the stage sheet, as read and as they sound.

Written C sounds a major ninth lower on a tenor sax, a major sixth on an alto, two octaves less a minor third on a
baritone, a major second on a trumpet, a fifth on a French horn (any handbook of orchestration).
"""

from __future__ import annotations

import pytest

from tests.listen.sheets.stage_sheet.sketches import IN_KEY, cell, sheet


@pytest.mark.parametrize(
    ("horn", "interval", "expected"),
    [
        ("tenor sax", "M10 above", "M10 above: written C4 gives E5 (sounds Bb2, D4)"),
        ("alto sax", "P5 below", "P5 below: written C4 gives F3 (sounds Eb3, Ab2)"),
        ("baritone sax", "m3 above", "m3 above: written C4 gives Eb4 (sounds Eb2, Gb2)"),
        ("trumpet", "A4 above", "A4 above: written C4 gives F#4 (sounds Bb3, E4)"),
        ("french horn", "P8 below", "P8 below: written C4 gives C3 (sounds F3, F2)"),
        ("trombone", "-5 semitones", "-5 semitones: C4 gives G3"),
        ("alto recorder", "M2 above", "M2 above: C5 gives D5"),  # its lowest note is F4
        ("piccolo", "P5 above", "P5 above: written C5 gives G5 (sounds C6, G6)"),  # its lowest note is written D4
        ("tuba", "unison", "unison"),
    ],
)
def test_intervals_as_read_and_as_they_sound(horn: str, interval: str, expected: str) -> None:
    text = f'instrument = "{horn}"\nchain = ["pitch_shifter"]\n[blocks.pitch_shifter]\n'
    assert cell(sheet(text + f'voices = [{{ interval = "{interval}" }}]'), "pitch_shifter", "voice 1") == expected


def test_an_interval_in_the_key_has_an_example_in_each_key() -> None:
    # A third below F# in F# minor is D; from E, as it sounds, C
    told = sheet(IN_KEY)
    expected = "third below: written F#4 gives D4 (sounds E3, C3)"
    assert cell(told, "second", "voice 1") == f"{expected}, level -6 dB, pan -0.5"
    assert cell(told, "second", "voice 2") == "stays on E3, written F#4"
    # written A major sounds G major: A4 gives F#4, G3 gives E3
    both = sheet(IN_KEY + '[patches.a]\n[patches.b]\nkey = "A major"\n[[cues]]\nat_s = 0\npatch = "a"\n')
    text = cell(both, "second", "voice 1")
    assert "in F# minor written F#4 gives D4 (sounds E3, C3); in A major written A4 gives F#4 (sounds G3, E3)" in text


@pytest.mark.parametrize(
    ("horn", "key", "written"),
    [
        ("alto sax", "G minor", "E minor"),  # a major sixth up
        ("trumpet", "Bb major", "C major"),
        ("clarinet", "E major", "F# major"),  # six sharps as six flats: of the kind that E major has
        ("french horn", "Eb major", "Bb major"),
        ("piccolo", "D dorian", "D dorian"),
    ],
)
def test_a_sounding_key_is_told_as_it_is_read(horn: str, key: str, written: str) -> None:
    told = sheet(f'instrument = "{horn}"\nkey = "{key}"\nchain = []').key
    assert told is not None
    assert (told.sounding, told.written) == (key, written)


def test_a_written_key_keeps_its_spelling() -> None:
    told = sheet('instrument = "trumpet"\npitch_names = "written"\nkey = "Gb major"\nchain = []').key
    assert told is not None
    assert told.written == "Gb major"
    assert told.sounding == "E major"  # a tone below; Fb major has eight flats


def test_a_horn_in_c_reads_what_sounds() -> None:
    told = sheet('instrument = "trombone"\nkey = "F major"\nchain = []').key
    assert told is not None
    assert told.written is None
