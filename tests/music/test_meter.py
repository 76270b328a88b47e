"""Meters, bars and beats: counting, by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chainsim.errors import SettingError
from chainsim.music.meter import MOST_BEATS, UNITS, Meter, bar_beat, parse_meter, quarters_at


@pytest.mark.parametrize(
    ("text", "beats", "unit"), [("4/4", 4, 4), ("3/4", 3, 4), ("6/8", 6, 8), (" 12 / 16 ", 12, 16), ("32/1", 32, 1)]
)
def test_meter_is_read(text: str, beats: int, unit: int) -> None:
    assert parse_meter(text) == Meter(beats, unit)


@pytest.mark.parametrize(
    "text", ["", "4", "0/4", "33/4", "4/3", "4/64", "4/0", "-3/4", "3/4/4", "three/4", "3.5/4", "٣/٤"]
)
def test_what_is_no_meter_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(SettingError) as caught:
        parse_meter(text)
    assert str(caught.value) == f'no meter "{text}", allowed 1 to 32 beats over 1, 2, 4, 8, 16, 32, such as "3/4"'


# Counted on paper: bars before, times their length in quarters, and the beats before.
PLACES = [
    ("1:1", "4/4", 0.0),
    ("1", "4/4", 0.0),
    ("2", "4/4", 4.0),
    ("17:2.5", "4/4", 16 * 4 + 1.5),
    ("17:2.5", "3/4", 16 * 3 + 1.5),
    ("3:4", "6/8", 2 * 3 + 1.5),
    ("2:1.25", "7/8", 3.5 + 0.125),
    ("2:2", "2/2", 4 + 2.0),
    ("5:1", "1/32", 4 / 8),
    (" 2:3 ", "3/4", 5.0),
    ("2:3.999", "3/4", 5.999),
]


@pytest.mark.parametrize(("text", "meter", "quarters"), PLACES)
def test_quarters_since_bar_1(text: str, meter: str, quarters: float) -> None:
    assert quarters_at(text, parse_meter(meter)) == pytest.approx(quarters, abs=1e-12)


@pytest.mark.parametrize(
    "text", ["", "0:1", "0", "3:0", "3:0.5", "3:33", "-1:1", "3:", ":2", "3:1:1", "3.5", "3:1,5", "a:1", "3: 2"]
)
def test_what_is_no_place_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(SettingError) as caught:
        quarters_at(text, Meter(3, 4))
    assert str(caught.value) == f'no place "{text}", allowed "BAR:BEAT" such as "17:2.5", from bar 1 and beat 1 on'


@pytest.mark.parametrize("text", ["3:4", "3:4.0", "1:32.999"])
def test_a_waltz_has_no_fourth_beat(text: str) -> None:
    with pytest.raises(SettingError) as caught:
        quarters_at(text, Meter(3, 4))
    assert str(caught.value) == f'no place "{text}" in 3/4, allowed beats from 1 up to, not including, 4'


@pytest.mark.parametrize(
    ("quarters", "meter", "text"),
    [
        (0.0, "4/4", "1:1"),
        (65.5, "4/4", "17:2.5"),
        (7.5, "6/8", "3:4"),
        (3.99996, "4/4", "2:1"),
        (1.0 / 3.0, "4/4", "1:1.333"),
        (3 * 99_998.0, "3/4", "99999:1"),
    ],
)
def test_place_of_quarters(quarters: float, meter: str, text: str) -> None:
    assert bar_beat(quarters, parse_meter(meter)) == text


@given(
    st.integers(1, 999_999),
    st.integers(0, 31_999),
    st.builds(Meter, st.integers(1, MOST_BEATS), st.sampled_from(UNITS)),
)
def test_every_place_reads_back(bar: int, thousandths: int, meter: Meter) -> None:
    text = f"{bar}:{1 + thousandths % (1000 * meter.beats) / 1000:g}"
    assert bar_beat(quarters_at(text, meter), meter) == text


@pytest.mark.parametrize("quarters", [-0.1, float("nan"), float("inf")])
def test_no_place_before_the_beginning(quarters: float) -> None:
    with pytest.raises(SettingError, match="allowed 0 or more"):
        bar_beat(quarters, Meter())
