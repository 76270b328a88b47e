"""Sentences made from figures: the words follow the numbers, whatever was expected."""

from __future__ import annotations

import math

import pytest

from chainsim.listen.lessons.claims import Outcome, Reading, amount, compared, what_is_left
from chainsim.listen.lessons.model import Claim
from chainsim.listen.lessons.page import unbroken


def claim(first: float, second: float, expects: Outcome = "more") -> Claim:
    return compared(
        Reading("noise, gate first", first, "dBFS"),
        Reading("noise, gain first", second, "dBFS"),
        least=1.0,
        expects=expects,
        more="It lets {difference} more noise through.",
        less="It lets {difference} less noise through.",
        same="Both let {second} through.",
    )


@pytest.mark.parametrize(
    ("first", "second", "expects", "text", "holds"),
    [
        (-60.0, -50.7, "more", "It lets 9.3 dB more noise through.", True),
        (-50.7, -60.0, "more", "On this take it is otherwise: it lets 9.3 dB less noise through.", False),
        (-50.7, -60.0, "less", "It lets 9.3 dB less noise through.", True),
        (-60.0, -59.8, "same", "Both let \N{MINUS SIGN}59.8 dBFS through.", True),
        (-60.0, -59.8, "more", "On this take it makes no difference that counts (0.2 dB): "
         "both let \N{MINUS SIGN}59.8 dBFS through.", False),
        (-60.0, -58.0, "same", "On this take it is otherwise: it lets 2.0 dB more noise through.", False),
        (-math.inf, -50.0, "more", "It lets over 100 dB more noise through.", True),
        (-math.inf, -math.inf, "same", "Both let silence through.", True),
        (math.nan, -50.0, "more", "On this take it cannot be told: noise, gate first is not to be measured.", False),
    ],
)  # fmt: skip
def test_words_come_from_numbers(first: float, second: float, expects: Outcome, text: str, holds: bool) -> None:
    made = claim(first, second, expects)
    assert (made.text, made.holds) == (text, holds)
    assert [figure.label for figure in made.figures] == ["noise, gate first", "noise, gain first"]


def test_the_least_difference_itself_is_heard() -> None:
    assert claim(-60.0, -59.0).holds
    assert not claim(-60.0, -59.001).holds


@pytest.mark.parametrize(
    ("value", "unit", "digits", "text"),
    [
        (1449.6, "Hz", 0, "1 450 Hz"),
        (-0.04, "dB", 1, "0.0 dB"),
        (-12.34, "dB", 1, "\N{MINUS SIGN}12.3 dB"),
        (12.0, "", 0, "12"),
    ],
)
def test_amounts_are_written_as_a_player_reads_them(value: float, unit: str, digits: int, text: str) -> None:
    assert amount(value, unit, digits) == text


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("to 1 450 Hz, by 9.3 dB.", "to 1~450~Hz, by 9.3~dB."),
        ("12 % of it after 4 s", "12~% of it after 4~s"),
        ("2 sounds, step 3 so far", "2 sounds, step 3 so far"),
    ],
)
def test_no_line_breaks_between_a_figure_and_its_unit(text: str, kept: str) -> None:
    assert unbroken(text) == kept.replace("~", "\N{NO-BREAK SPACE}")


def test_rounding_is_not_told_as_a_figure() -> None:
    assert what_is_left("left", -312.0).text == "less than \N{MINUS SIGN}100 dB"
    assert what_is_left("left", -60.0).text == "\N{MINUS SIGN}60 dB"
