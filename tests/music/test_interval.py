"""Intervals as musicians write them: sizes from the theory of intervals."""

from __future__ import annotations

import pytest

from chainsim.errors import SettingError
from chainsim.music.interval import Interval, StepInterval, parse_interval

# text, semitones, steps, tidy text
SIZED = [
    ("P5 above", 7, 4, "P5 above"),
    ("M10 below", -16, -9, "M10 below"),
    ("m3 below", -3, -2, "m3 below"),
    ("M3 above", 4, 2, "M3 above"),
    ("A4 above", 6, 3, "A4 above"),
    ("d5 below", -6, -4, "d5 below"),
    ("P8 below", -12, -7, "P8 below"),
    ("P4 above", 5, 3, "P4 above"),
    ("m2 above", 1, 1, "m2 above"),
    ("d2 above", 0, 1, "d2 above"),
    ("A1 above", 1, 0, "A1 above"),
    ("P1 above", 0, 0, "unison"),
    ("d7 above", 9, 6, "d7 above"),
    ("A6 below", -10, -5, "A6 below"),
    ("m9 above", 13, 8, "m9 above"),
    ("P15 below", -24, -14, "P15 below"),
    ("P22 above", 36, 21, "P22 above"),
    ("d22 above", 35, 21, "d22 above"),
    ("p5 Above", 7, 4, "P5 above"),
    ("a4  above", 6, 3, "A4 above"),
    ("perfect fifth above", 7, 4, "P5 above"),
    ("Major tenth below", -16, -9, "M10 below"),
    ("minor 3rd above", 3, 2, "m3 above"),
    ("unison", 0, 0, "unison"),
    ("octave below", -12, -7, "P8 below"),
    ("fifteenth above", 24, 14, "P15 above"),
    ("+7 semitones", 7, 4, "+7 semitones"),
    ("-5 semitones", -5, -3, "-5 semitones"),
    ("−5 semitones", -5, -3, "-5 semitones"),  # noqa: RUF001 (the minus sign is the point)
    ("+1 semitone", 1, 1, "+1 semitone"),
    ("-36 semitones", -36, -21, "-36 semitones"),
    ("16 semitones below", -16, -9, "-16 semitones"),
    ("-0 semitones", 0, 0, "+0 semitones"),
]
IN_KEY = [
    ("third above", 2, "third above"),
    ("sixth below", -5, "sixth below"),
    ("Tenth above", 9, "tenth above"),
    ("10th below", -9, "tenth below"),
    ("twenty-first above", 20, "twenty-first above"),
]
NO_INTERVALS = [
    ("P3 above", 'allowed "M3 above", "m3 above", "A3 above" or "d3 above"'),
    ("M5 below", 'allowed "P5 below", "A5 below" or "d5 below"'),
    ("m8 above", 'allowed "P8 above", "A8 above" or "d8 above"'),
    ("d1 above", 'allowed "P1 above" or "A1 above"'),
    ("minor fifth above", 'allowed "P5 above"'),
    ("P5", 'did you mean "P5 above"?'),
    ("third", 'did you mean "third above"?'),
    ("thrid above", 'did you mean "third above"?'),
    ("perfekt fifth above", 'did you mean "perfect fifth above"?'),
    ("P5 abov", 'did you mean "P5 above"?'),
    ("M9 belov", 'did you mean "M9 below"?'),
    ("m10 belw", 'did you mean "m10 below"?'),
    ("5th abov", 'did you mean "fifth above"?'),
    ("third  abvoe", 'did you mean "third above"?'),
    ("tonth below", 'did you mean "tenth below"?'),
    ("minor thrid belwo", 'did you mean "minor third below"?'),
    ("M3above", 'did you mean "M3 above"?'),
    ("up a fifth", 'did you mean "fifth above"?'),
    ("+7 semitnes", 'did you mean "+7 semitones"?'),
    ("unisno", 'did you mean "unison"?'),
    ("7", 'did you mean "+7 semitones"?'),
    ("-5", 'did you mean "-5 semitones"?'),
    ("P5 down", 'did you mean "P5 below"?'),
    ("octave", 'did you mean "P8 above"?'),
    ("maj3 above", 'did you mean "M3 above"?'),
    ("+7", 'did you mean "+7 semitones"?'),
    ("7 semitones", '"+7 semitones", "7 semitones below"'),
    ("+7 semitones below", '"+7 semitones", "7 semitones below"'),
    ("+37 semitones", "allowed up to three octaves"),
    ("A22 above", "allowed up to three octaves"),
    ("m23 above", "allowed up to three octaves"),
    ("P0 above", "allowed up to three octaves"),
    ("+1.5 semitones", 'allowed such as "P5 above"'),
    ("Q5 above", 'allowed such as "P5 above"'),
    ("", 'allowed such as "P5 above"'),
    ("above", 'allowed such as "P5 above"'),
]


@pytest.mark.parametrize(("text", "semitones", "steps", "tidy"), SIZED)
def test_interval_that_needs_no_key(text: str, semitones: int, steps: int, tidy: str) -> None:
    assert parse_interval(text) == Interval(semitones, steps, tidy)


@pytest.mark.parametrize(("text", "steps", "tidy"), IN_KEY)
def test_interval_in_the_key(text: str, steps: int, tidy: str) -> None:
    assert parse_interval(text) == StepInterval(steps, tidy)


@pytest.mark.parametrize("text", [row[3] for row in SIZED] + [row[2] for row in IN_KEY])
def test_tidy_text_reads_back_as_itself(text: str) -> None:
    assert parse_interval(text).text == text


@pytest.mark.parametrize(("text", "told"), NO_INTERVALS)
def test_what_is_no_interval_is_refused_in_one_line(text: str, told: str) -> None:
    with pytest.raises(SettingError) as caught:
        parse_interval(text)
    assert f'no interval "{text}"' in str(caught.value)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_interval_and_its_inversion_make_an_octave() -> None:
    inversions = {"P4": "P5", "M2": "m7", "M3": "m6", "m3": "M6", "m2": "M7", "A4": "d5", "A2": "d7", "d4": "A5"}
    for one, other in inversions.items():
        up, rest = parse_interval(f"{one} above"), parse_interval(f"{other} above")
        assert isinstance(up, Interval)
        assert isinstance(rest, Interval)
        assert up.semitones + rest.semitones == 12
        assert up.steps + rest.steps == 7


@pytest.mark.parametrize("text", ["xyz", "", "+1.5 semitones", "99"])
def test_nothing_is_guessed_where_nothing_is_near(text: str) -> None:
    with pytest.raises(SettingError) as caught:
        parse_interval(text)
    assert "did you mean" not in str(caught.value)
