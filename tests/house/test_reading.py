"""Houses in sketches: what is resolved, and what is told of a wrong one."""

from __future__ import annotations

import tomllib

import jsonschema
import pytest

from chainsim.errors import SketchError
from chainsim.sketch.house import USUAL_SEATS
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.schema import sketch_schema

HOUSE = """
chain = ["gain"]
[house]
venue = "theatre"
acoustic_horn_db = -8.0
[house.seats.gangway]
horn_m = 7.0
loudspeaker_m = 5.5
[house.band]
file = "quay_band.wav"
loudness_lufs = -23.0
"""


def test_a_house_is_read() -> None:
    house = parse_sketch(HOUSE).house
    assert house is not None
    assert (house.settings.venue, house.settings.acoustic_horn_db) == ("theatre", -8.0)
    assert {name: (seat.horn_m, seat.loudspeaker_m) for name, seat in house.seats.items()} == {"gangway": (7.0, 5.5)}
    assert house.band is not None
    assert (house.band.file, house.band.loudness_lufs) == ("quay_band.wav", -23.0)


def test_without_a_house_there_is_none() -> None:
    assert parse_sketch('chain = ["gain"]').house is None


@pytest.mark.parametrize("venue", USUAL_SEATS)
def test_every_venue_has_a_front_row_and_a_back(venue: str) -> None:
    house = parse_sketch(f'chain = ["gain"]\n[house]\nvenue = "{venue}"').house
    assert house is not None
    assert house.seat("front_row").horn_m < house.seat("back").horn_m


def test_a_room_changes_what_it_says_and_keeps_the_rest() -> None:
    sketch = parse_sketch(
        HOUSE
        + """
[rooms.net_loft.house]
venue = "small club"
volume_m3 = 400.0
[rooms.net_loft.house.band]
loudness_lufs = -26.0
[rooms.chapel]
feed = "mono"
[rooms.quay.house]
impulse_response = "quay.wav"
[rooms.quay.house.seats.bollard]
horn_m = 3.0
loudspeaker_m = 12.0
"""
    )
    loft = sketch.in_room("net_loft").house
    assert loft is not None
    assert loft.band is not None
    assert (loft.settings.venue, loft.settings.volume_m3, loft.settings.acoustic_horn_db) == ("small club", 400.0, -8.0)
    assert (loft.band.file, loft.band.loudness_lufs) == ("quay_band.wav", -26.0)
    assert list(loft.seats) == ["gangway"]
    assert sketch.in_room("chapel").house == sketch.house
    quay = sketch.in_room("quay").house
    assert quay is not None
    assert (quay.settings.venue, quay.settings.impulse_response) == (None, "quay.wav")
    assert list(quay.seats) == ["bollard"]


def test_a_room_may_have_the_only_house() -> None:
    sketch = parse_sketch('chain = ["gain"]\n[rooms.net_loft.house]\nvenue = "small club"')
    assert sketch.house is None
    assert sketch.in_room("net_loft").house is not None


BASE = 'chain = ["gain"]\n'
WRONG = [
    ("house = 3", 'house: allowed a table, such as [house] with venue = "theatre"'),
    ("[house]", "house: allowed either a venue or an impulse_response, and one of them is needed"),
    ('[house]\nvenue = "hall"\nimpulse_response = "x.wav"', "house: allowed either a venue or an impulse_response"),
    ('[house]\nvenue = "theater"', 'house.venue = "theater", allowed small club | theatre | hall | open air; did you'),
    ('[house]\nvenue = "hall"\nseat = 3', 'house.seat: no setting "seat"; did you mean "seats"?'),
    ('[house]\nvenue = "open air"\ndecay_s = 1.0', "house: decay_s is a room's"),
    ('[house]\nvenue = "hall"\nimpulse_response_m = 4.0', "house: impulse_response_m does nothing without"),
    ('[house]\nvenue = "hall"\nvolume_m3 = 3.0', "house.volume_m3 = 3, allowed 30 ... 200000"),
    ('[house]\nvenue = "hall"\nacoustic_horn_db = 90.0',
     'house.acoustic_horn_db = 90 dB, allowed -80 ... 40 dB or "off"'),
    ('[house]\nvenue = "hall"\nseats = 3', "house.seats: allowed are tables only: [house.seats.NAME]"),
    ('[house]\nvenue = "hall"\n[house.seats.pit]\nhorn_m = 0.1', "house.seats.pit.horn_m = 0.1, allowed 0.5 ... 300"),
    ('[house]\nvenue = "hall"\n[house.seats.pit]\nhorn = 3.0',
     'house.seats.pit.horn: no setting "horn"; did you mean "horn_m"'),
    ('[house]\nvenue = "hall"\nband = "x.wav"',
     'house.band: allowed a table, such as [house.band] with file = "band.wav"'),
    ('[house]\nvenue = "hall"\n[house.band]\nloudness_lufs = -20.0', "house.band: file is missing"),
    ('[rooms.r.house]\nvenue = "loft"', 'rooms.r.house.venue = "loft", allowed small club'),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line"), WRONG)
def test_a_wrong_house_is_told_in_one_line(text: str, line: str) -> None:
    with pytest.raises(SketchError) as found:
        parse_sketch(BASE + text)
    assert len(found.value.faults) == 1
    assert found.value.faults[0].startswith(f"sketch: {line}")


def test_the_schema_knows_it() -> None:
    judge = jsonschema.Draft202012Validator(sketch_schema())
    assert judge.is_valid(tomllib.loads(HOUSE))
    for text in ('[house]\nvenue = "barn"', "[house.seats.pit]\nhorn_m = 0.1", '[rooms.r.house]\nseat = "x"'):
        assert not judge.is_valid(tomllib.loads(BASE + text))
