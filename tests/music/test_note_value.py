"""Note values: arithmetic of quarters, dots, triplets and swing."""

from __future__ import annotations

import pytest

from chainsim.errors import SettingError
from chainsim.music.note_value import NoteValue, note_seconds, parse_note_value

VALUES = [
    ("1/4", 1.0, False),
    ("1/1", 4.0, False),
    ("2/1", 8.0, False),
    ("1/2", 2.0, False),
    ("1/64", 1.0 / 16.0, False),
    ("1/8 dotted", 0.75, False),
    ("dotted 1/8", 0.75, False),
    ("1/4 triplet", 2.0 / 3.0, False),
    ("  1/16   Triplet ", 1.0 / 6.0, False),
    ("1/8 swung", 0.5, True),
    ("1/16 swung", 0.25, True),
]
NO_VALUES = [
    ("1/3", '"1/1", "1/2", "1/4"'),
    ("3/16", 'did you mean "1/8 dotted"?'),
    ("3/4", 'did you mean "1/2 dotted"?'),
    ("1/8t", 'did you mean "1/8 triplet"?'),
    ("1/8 d", 'did you mean "1/8 dotted"?'),
    ("1/8 doted", 'did you mean "1/8 dotted"?'),
    ("1/4 swung", '"1/8 swung", "1/16 swung"'),
    ("1/8 dotted triplet", "alone or with dotted or triplet"),
    ("1/8 1/8", "alone or with dotted or triplet"),
    ("1/128", '"1/64"'),
    ("dotted", "alone or with dotted or triplet"),
    ("", "alone or with dotted or triplet"),
]


@pytest.mark.parametrize(("text", "beats", "swung"), VALUES)
def test_note_value_in_quarters(text: str, beats: float, swung: bool) -> None:
    value = parse_note_value(text)
    assert value.beats == pytest.approx(beats, rel=1e-15)
    assert value.swung == swung


@pytest.mark.parametrize(("text", "told"), NO_VALUES)
def test_what_is_no_note_value_is_refused_in_one_line(text: str, told: str) -> None:
    with pytest.raises(SettingError) as caught:
        parse_note_value(text)
    assert f'no note value "{text}"' in str(caught.value)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


# A quarter lasts 60000/bpm ms; a dot adds half, a triplet puts three in the time of two. Derived.
LENGTHS = [
    (120.0, "1/4", 500.0),
    (120.0, "1/8 dotted", 375.0),
    (120.0, "1/4 triplet", 333.333),
    (120.0, "1/8", 250.0),
    (120.0, "1/8 triplet", 166.667),
    (120.0, "1/16", 125.0),
    (137.0, "1/4", 437.956),
    (137.0, "1/8 dotted", 328.467),
]


@pytest.mark.parametrize(("bpm", "text", "length_ms"), LENGTHS)
def test_length_at_a_tempo(bpm: float, text: str, length_ms: float) -> None:
    assert 1000.0 * note_seconds(parse_note_value(text), bpm) == pytest.approx(length_ms, abs=0.001)
    assert note_seconds(parse_note_value(text), bpm, 66.7) == note_seconds(parse_note_value(text), bpm)


# Share of the quarter (of the eighth for sixteenths) that the first of the pair takes: 1/2, 2/3, 3/5. Derived.
SWUNG = [
    ("1/8 swung", 50.0, 250.0),
    ("1/8 swung", 200.0 / 3.0, 1000.0 / 3.0),
    ("1/8 swung", 60.0, 300.0),
    ("1/16 swung", 200.0 / 3.0, 500.0 / 3.0),
]


@pytest.mark.parametrize(("text", "swing_percent", "length_ms"), SWUNG)
def test_first_of_a_swung_pair_at_120_bpm(text: str, swing_percent: float, length_ms: float) -> None:
    assert 1000.0 * note_seconds(parse_note_value(text), 120.0, swing_percent) == pytest.approx(length_ms, rel=1e-12)


@pytest.mark.parametrize(
    ("bpm", "swing_percent", "told"),
    [
        (0.0, 50.0, "tempo_bpm = 0 bpm, allowed above 0 bpm"),
        (float("nan"), 50.0, "tempo_bpm = nan bpm"),
        (float("inf"), 50.0, "tempo_bpm = inf bpm"),
        (120.0, 0.0, "swing_percent = 0 %, allowed above 0 % and below 100 %"),
        (120.0, 100.0, "swing_percent = 100 %"),
    ],
)
def test_impossible_tempo_or_swing_is_refused(bpm: float, swing_percent: float, told: str) -> None:
    with pytest.raises(SettingError, match=told):
        note_seconds(NoteValue(0.5, swung=True), bpm, swing_percent)
