"""Marks of a device beside the values on the stage sheet, worked by hand."""

from __future__ import annotations

import pytest

from tests.listen.sheets.stage_sheet.sketches import MARKED, cell, mark, sheet


@pytest.mark.parametrize(
    ("decay", "expected"),
    [
        (2.0, "length 5"),
        (1.0, "length 3"),  # halfway from 0.5 to 2 by the logarithm
        (4.0, "length 7.5"),
        (0.4, "length past 1"),
        (9.0, "length past 10"),
    ],
)
def test_marks_of_a_setting_that_moves_by_the_logarithm(decay: float, expected: str) -> None:
    assert mark(sheet(MARKED.format(decay=decay, space="hall", wet=-20, time=300)), "hall", "decay") == expected


@pytest.mark.parametrize(
    ("wet", "expected"), [("-20", "mix 5"), ("-13", "mix 8.5"), ('"off"', "mix past 0"), ("-4", "mix past 10")]
)
def test_marks_of_a_level_are_even_in_db(wet: str, expected: str) -> None:
    assert mark(sheet(MARKED.format(decay=2, space="hall", wet=wet, time=300)), "hall", "wet") == expected


@pytest.mark.parametrize(
    ("time", "expected"),
    [
        (100, "time short"),
        (150, "time short, between short and mid"),
        (250, "time mid, between short and mid"),
        (600, "time 10, between mid and 10"),
        (701, "time past 10"),
    ],
)
def test_marks_that_are_words(time: float, expected: str) -> None:
    assert mark(sheet(MARKED.format(decay=2, space="hall", wet=-20, time=time)), "echo", "time") == expected


def test_marks_of_choices_are_exact() -> None:
    assert mark(sheet(MARKED.format(decay=2, space="plate", wet=-20, time=300)), "hall", "space") == "type II"
    assert mark(sheet(MARKED.format(decay=2, space="room", wet=-20, time=300)), "hall", "space") == ""


def test_a_note_value_has_the_mark_of_its_time() -> None:
    text = MARKED.format(decay=2, space="hall", wet=-20, time=300).replace("time_ms = 300", 'note = "1/2"')
    told = sheet("tempo_bpm = 120\n" + text.replace("[700, 10]", '[1500, "long"]'))
    assert mark(told, "echo", "time") == "time long, between mid and long"  # 1000 ms
    assert cell(told, "echo", "time") == "1/2 = 1000 ms at 120"
