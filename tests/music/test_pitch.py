"""Pitch names and frequencies against the definition of equal temperament."""

from __future__ import annotations

import pytest

from chainsim.errors import SettingError
from chainsim.music.pitch import hz_to_midi, midi_to_hz, parse_pitch, parse_pitch_class, pitch_name

# Scientific pitch notation: the octave number changes at C, C4 is MIDI 60 (usage).
PITCHES = [
    ("C4", 60),
    ("A4", 69),
    ("Bb3", 58),
    ("F#4", 66),
    ("C-1", 0),
    ("G9", 127),
    ("A0", 21),
    ("C8", 108),
    ("bb3", 58),
    ("b3", 59),
    ("B♭3", 58),
    ("F♯4", 66),
    ("C−1", 0),  # noqa: RUF001 (the minus sign is the point)
    (" C4 ", 60),
    ("Cb4", 59),
    ("B#3", 60),
    ("Bbb3", 57),
    ("F##4", 67),
]
NO_PITCHES = [
    ("H3", '"C-1" ... "G9"'),
    ("Bb", 'allowed with an octave, such as "Bb4"'),
    ("C10", '"C-1" ... "G9"'),
    ("G#9", '"C-1" ... "G9"'),
    ("Cb-1", '"C-1" ... "G9"'),
    ("Bp3", 'did you mean "B3"?'),
    ("Bb 3", 'did you mean "Bb3"?'),
    ("C#b4", "allowed a letter"),
    ("", "allowed a letter"),
    ("60", "allowed a letter"),
]


@pytest.mark.parametrize(("text", "midi"), PITCHES)
def test_pitch_has_its_number(text: str, midi: int) -> None:
    assert parse_pitch(text) == midi


@pytest.mark.parametrize(("text", "told"), NO_PITCHES)
def test_what_is_no_pitch_is_refused_in_one_line(text: str, told: str) -> None:
    with pytest.raises(SettingError) as caught:
        parse_pitch(text)
    assert f'no pitch "{text}"' in str(caught.value)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("flats", [True, False])
def test_every_name_reads_back(flats: bool) -> None:
    names = [pitch_name(n, flats=flats) for n in range(128)]
    assert [parse_pitch(name) for name in names] == list(range(128))
    assert (names[0], names[127]) == ("C-1", "G9")
    assert names[58] == ("Bb3" if flats else "A#3")


@pytest.mark.parametrize("midi", [-1, 128])
def test_note_numbers_outside_midi_have_no_name(midi: int) -> None:
    with pytest.raises(SettingError, match=rf"MIDI note = {midi}, allowed 0 ... 127"):
        pitch_name(midi)


NOTES = [
    ("Bb", (10, "Bb")),
    ("bb", (10, "Bb")),
    ("f♯", (6, "F#")),
    ("B flat", (10, "Bb")),
    ("E-flat", (3, "Eb")),
    ("F Sharp", (6, "F#")),
    ("Cb", (11, "Cb")),
    ("B", (11, "B")),
]


@pytest.mark.parametrize(("text", "note"), NOTES)
def test_note_without_octave(text: str, note: tuple[int, str]) -> None:
    assert parse_pitch_class(text) == note


@pytest.mark.parametrize("text", ["H", "Bb3", "", "flat", "B fl"])
def test_what_is_no_note_is_refused(text: str) -> None:
    with pytest.raises(SettingError, match=f'no note "{text}"'):
        parse_pitch_class(text)


# Computed from the definition with A4 = 440 Hz (ISO 16:1975); the printed digits bound the error.
FREQUENCIES = [
    (0, 8.1758, 5e-5),
    (21, 27.5, 1e-12),
    (36, 65.4064, 5e-5),
    (48, 130.8128, 5e-5),
    (60, 261.6256, 5e-5),
    (69, 440.0, 1e-12),
    (84, 1046.5023, 5e-5),
    (108, 4186.0090, 5e-5),
    (127, 12543.854, 5e-4),
]


@pytest.mark.parametrize(("midi", "freq_hz", "within"), FREQUENCIES)
def test_frequency_of_a_note(midi: int, freq_hz: float, within: float) -> None:
    assert abs(midi_to_hz(midi) - freq_hz) <= within
    assert hz_to_midi(midi_to_hz(midi)) == pytest.approx(midi, abs=1e-10)


def test_reference_pitch_moves_every_note() -> None:
    assert hz_to_midi(442.0) == pytest.approx(69.0785, abs=5e-5)  # 12 log2(442/440), by definition
    assert midi_to_hz(69, a4_hz=442.0) == 442.0
    assert hz_to_midi(221.0, a4_hz=442.0) == pytest.approx(57.0, abs=1e-12)


@pytest.mark.parametrize("freq_hz", [0.0, -1.0, float("nan")])
def test_no_note_without_frequency(freq_hz: float) -> None:
    with pytest.raises(SettingError, match="allowed above 0 Hz"):
        hz_to_midi(freq_hz)
