"""Levels on wires against arithmetic and the published value of a resistor's noise."""

from __future__ import annotations

import math

import pytest

from chainsim.batch.house_feed import Feed, ways_to_the_house
from chainsim.measure.electrical import (
    loading_db,
    microphone_dbu,
    sum_of_powers_db,
    thermal_noise_dbu,
    turns_db,
    volts_to_dbu,
)
from chainsim.sketch.levels import Levels
from chainsim.sketch.loading import parse_sketch


@pytest.mark.parametrize(
    ("dbu", "volts"),
    [
        (0.0, 0.774597),  # sqrt(0.6): 1 mW in 600 ohm
        (4.0, 1.22765),
        (2.2185, 1.0),  # 0 dBV
        (-7.7815, 0.316228),  # -10 dBV
        (18.0, 6.153),  # full scale where -18 dBFS (EBU R 68-2000) is lined up to 0 dBu
        (24.0, 12.277),  # where -20 dBFS (SMPTE RP 155) is lined up to +4 dBu
    ],
)
def test_volts(dbu: float, volts: float) -> None:
    assert volts_to_dbu(volts) == pytest.approx(dbu, abs=1e-3)


@pytest.mark.parametrize(("source", "load", "db"), [(150, 1500, -0.83), (20_000, 10_000, -9.54), (10_000, 1e6, -0.09)])
def test_loading(source: float, load: float, db: float) -> None:
    """Voltage dividers."""
    assert loading_db(source, load) == pytest.approx(db, abs=0.005)


def test_turns() -> None:
    """Transformers: 20 log10 of the turns."""
    assert turns_db(12.0) == pytest.approx(-21.58, abs=0.005)
    assert turns_db(10.0) == pytest.approx(-20.0, abs=1e-12)


@pytest.mark.parametrize(
    ("ohms", "kelvin", "dbu"),
    [
        (150, 300, -130.82),  # the published value of 150 ohm at 20 kHz; the others by Nyquist's formula
        (150, 290, -130.96),
        (200, 300, -129.57),
        (200, 290, -129.72),
        (600, 290, -124.9),
        (10_000, 290, -112.7),
    ],
)
def test_thermal_noise(ohms: float, kelvin: float, dbu: float) -> None:
    assert thermal_noise_dbu(ohms, kelvin=kelvin) == pytest.approx(dbu, abs=0.05)


def test_a_microphone() -> None:
    """1 Pa is 94 dB SPL: 2 mV/Pa give 2 mV there, ten times that at 114 dB SPL."""
    assert microphone_dbu(2.0, 94.0) == pytest.approx(20.0 * math.log10(0.002 / math.sqrt(0.6)), abs=1e-9)
    assert microphone_dbu(2.0, 114.0) - microphone_dbu(2.0, 94.0) == pytest.approx(20.0)


def test_noise_adds_by_power() -> None:
    assert sum_of_powers_db([-60.0, -60.0]) == pytest.approx(-56.99, abs=0.005)
    assert sum_of_powers_db([-math.inf]) == -math.inf


def levels(text: str = "") -> Levels:
    found = parse_sketch(f'chain = ["gain"]\n[levels]\ninput_dbu = 4\n{text}').levels
    assert found is not None
    return found


def test_ways_to_the_house_by_hand() -> None:
    """1 kohm into 1 Mohm loses 0.009 dB, 150 ohm into 1.5 kohm 0.828 dB; through 12:1 the input is 216 kohm: 0.040 dB.

    Line: 1 kohm into 10 kohm loses 0.828 dB. The noise at each input is the power sum of the chain's, as much lower as
    the signal, of the box's and of the input's own.
    """
    powered, unpowered, passive, straight = ways_to_the_house(Feed(0.0, 12.0, -80.0), levels())
    assert powered.nominal_dbu == pytest.approx(-0.8365, abs=0.001)
    assert powered.headroom_db == pytest.approx(-12.0 + 0.8365, abs=0.001)  # the input clips at 0 dBu, the box at +8
    assert powered.clips_first == "the input"
    assert powered.noise_dbu == pytest.approx(10.0 * math.log10(10**-8.08365 + 10**-10.0 + 10**-12.8), abs=0.001)
    assert not unpowered.arrives
    assert passive.nominal_dbu == pytest.approx(-21.584 - 0.040, abs=0.001)
    assert passive.gain_db == pytest.approx(4.0 + 21.624, abs=0.001)
    assert passive.headroom_db == pytest.approx(20.0 - 12.0 + 0.040, abs=0.001)
    assert passive.clips_first == "the box"
    assert straight.nominal_dbu == pytest.approx(-0.8279, abs=0.001)
    assert straight.headroom_db == pytest.approx(8.828, abs=0.001)


def test_a_pad_moves_what_clips() -> None:
    """20 dB of pad before the transformer: 20 dB less arrives, and the box has 20 dB more room."""
    bare = ways_to_the_house(Feed(0.0, 12.0, -80.0), levels())[2]
    padded = ways_to_the_house(Feed(0.0, 12.0, -80.0), levels("[levels.passive_box]\npad_db = 20"))[2]
    assert padded.nominal_dbu - bare.nominal_dbu == pytest.approx(-20.0)
    assert padded.headroom_db - bare.headroom_db == pytest.approx(20.0)
