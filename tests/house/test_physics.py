"""Air, distance and the sound field of rooms, against published tables and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import sosfreqz

from chainsim.house.air import SPEED_OF_SOUND_M_S, air_filter, attenuation_db_per_m, travel_s
from chainsim.house.seat import path_report, seat_report
from chainsim.house.sound_field import GROUND_GAIN, Reflected, RoomField, ground_reflection

OCTAVES_HZ = [1000.0 * 10.0 ** (0.3 * k) for k in range(-4, 4)]
"""Exact midbands of 63 Hz ... 8 kHz."""

ISO_9613_2_TABLE_2 = {
    (10.0, 70.0): (0.1, 0.4, 1.0, 1.9, 3.7, 9.7, 32.8, 117.0),
    (20.0, 70.0): (0.1, 0.3, 1.1, 2.8, 5.0, 9.0, 22.9, 76.6),
    (30.0, 70.0): (0.1, 0.3, 1.0, 3.1, 7.4, 12.7, 23.1, 59.3),
    (15.0, 20.0): (0.3, 0.6, 1.2, 2.7, 8.2, 28.2, 88.8, 202.0),
    (15.0, 50.0): (0.1, 0.5, 1.2, 2.2, 4.2, 10.8, 36.2, 129.0),
    (15.0, 80.0): (0.1, 0.3, 1.1, 2.4, 4.1, 8.3, 23.7, 82.8),
}
"""ISO 9613-2:1996, table 2: dB per km by (temperature in C, relative humidity in %), after the equations of ISO 9613-1;
from memory."""


@pytest.mark.parametrize("climate", ISO_9613_2_TABLE_2)
def test_air_takes_what_the_standard_says(climate: tuple[float, float]) -> None:
    for hz, printed in zip(OCTAVES_HZ, ISO_9613_2_TABLE_2[climate], strict=True):
        # Rounded to one decimal, over 100 to three figures; 4.15 is printed as 4.1.
        assert 1000.0 * attenuation_db_per_m(hz, *climate) == pytest.approx(
            printed, abs=0.5 if printed > 100 else 0.055
        )


@pytest.mark.parametrize("sample_rate_hz", [44_100.0, 48_000.0, 96_000.0, 192_000.0])
@pytest.mark.parametrize("distance_m", [1.0, 8.0, 22.0, 100.0])
def test_the_filter_follows_it(sample_rate_hz: float, distance_m: float) -> None:
    freqs_hz = np.array([125.0, 500.0, 1000.0, 2000.0, 4000.0, 6000.0, 8000.0, 10_000.0, 12_000.0])
    rows = air_filter(distance_m, sample_rate_hz)
    sos = np.column_stack([rows[:, :3], np.ones(len(rows)), rows[:, 3:]])
    level_db = 20.0 * np.log10(np.abs(sosfreqz(sos, freqs_hz, fs=sample_rate_hz)[1]))
    wanted_db = np.array([-attenuation_db_per_m(hz) * distance_m for hz in freqs_hz])
    # 0.12 dB in a theatre's back row, in proportion further out, a thirtieth of what air takes: nobody hears it.
    assert np.max(np.abs(level_db - wanted_db)) < 0.12 * max(1.0, distance_m / 22.0)
    assert level_db[[4, 8]] == pytest.approx(wanted_db[[4, 8]], abs=1e-9)


@pytest.mark.parametrize("sample_rate_hz", [8_000.0, 16_000.0, 22_050.0])
def test_the_filter_is_there_at_low_rates(sample_rate_hz: float) -> None:
    rows = air_filter(100.0, sample_rate_hz)
    freqs_hz = np.array([0.0, 0.17 * sample_rate_hz])
    sos = np.column_stack([rows[:, :3], np.ones(len(rows)), rows[:, 3:]])
    level_db = 20.0 * np.log10(np.abs(sosfreqz(sos, freqs_hz, fs=sample_rate_hz)[1]))
    assert level_db == pytest.approx([0.0, -100.0 * attenuation_db_per_m(min(4000.0, freqs_hz[1]))], abs=0.05)


def test_sound_takes_its_time() -> None:
    # CHECKS LA-5: 1 m of air at 343.2 m/s is 2.914 ms.
    assert 1000.0 * travel_s(1.0) == pytest.approx(2.914, abs=5e-4)


@pytest.mark.parametrize(("volume_m3", "decay_s"), [(500.0, 0.6), (5000.0, 1.1), (15000.0, 2.0)])
def test_a_room_is_what_the_revised_theory_says(volume_m3: float, decay_s: float) -> None:
    """Barron and Lee 1988: d = 100 / r^2, e + l = (31200 T / V) exp(-0.04 r / T); 0.04 is 6 ln 10 / c, rounded."""
    for distance_m in (3.0, 10.0, 30.0):
        found = RoomField(volume_m3, decay_s).reflected(distance_m, 0.0).energy
        barron = 31200.0 * decay_s / volume_m3 * math.exp(-0.04 * distance_m / decay_s) / 100.0
        # The rounding of 31200 and 0.04, and of the speed of sound in them: 0.1 dB.
        assert 10.0 * math.log10(found / barron) == pytest.approx(0.0, abs=0.1)


def test_without_its_fall_with_distance_it_is_the_diffuse_field() -> None:
    """Critical distance 0.057 sqrt(Q V / T), Kuttruff, Room Acoustics: there both fields are as loud."""
    volume_m3, decay_s, directivity_db = 5000.0, 1.1, 6.0
    critical_m = 0.057 * math.sqrt(10.0 ** (directivity_db / 10.0) * volume_m3 / decay_s)
    reflected = RoomField(volume_m3, decay_s).reflected(critical_m, directivity_db).energy
    diffuse = reflected * 10.0 ** (6.0 * critical_m / (SPEED_OF_SOUND_M_S * decay_s))
    assert 10.0 * math.log10(diffuse * critical_m**2) == pytest.approx(0.0, abs=0.1)


def test_the_ground_is_a_mirror() -> None:
    """By the image source: heights 1.3 m (bell) and 1.2 m (ear), 20 m apart on the line of sight."""
    horizontal_m = math.sqrt(20.0**2 - 0.1**2)
    image_m = math.hypot(horizontal_m, 1.3 + 1.2)
    found = ground_reflection(20.0, "horn")
    assert found.after_s == pytest.approx((image_m - 20.0) / 343.2, rel=1e-9)
    assert found.energy == pytest.approx((GROUND_GAIN / image_m) ** 2, rel=1e-9)


def test_a_seat_in_figures() -> None:
    """By hand: at 2 m -6.02 dB, at 10 m -20 dB; energies -10 -6.02 dB and -30 dB add to -15.85 dB."""
    horn = path_report(-10.0, 2.0, Reflected(0.01, 0.01))
    loudspeaker = path_report(0.0, 10.0, Reflected(0.01, 0.01))
    assert horn.direct_db == pytest.approx(-16.0206, abs=1e-4)
    assert horn.total_db == pytest.approx(10.0 * math.log10(0.025 + 0.001), abs=1e-9)
    assert loudspeaker.direct_to_reflected_db == pytest.approx(0.0, abs=1e-9)
    seat = seat_report("stalls", horn, loudspeaker, 4.0)
    assert seat.loudspeaker_later_ms == pytest.approx(4.0 + 8.0 * 2.914, abs=0.01)
    # Horn 0.026, loudspeaker 0.02: 0.026 / 0.046 is -2.48 dB.
    assert seat.mute_leaves_db == pytest.approx(-2.478, abs=1e-3)
    assert seat.warnings == ()


NOTHING = Reflected(1e-9, 0.01)


@pytest.mark.parametrize(
    ("horn_db", "horn_m", "loudspeaker_m", "latency_ms", "says"),
    [
        # 20 m further: 58 ms; 0 - (-10) - 20 log10(30 / 10) = 0.46 dB louder.
        (-10.0, 10.0, 30.0, 0.0, "the loudspeaker comes 58 ms after the horn and is not softer"),
        # 40 ms of chain make an echo where the way alone does not.
        (-10.0, 10.0, 14.0, 40.0, "the loudspeaker comes 52 ms after the horn and is not softer"),
        (0.0, 5.0, 30.0, 0.0, None),
        (-10.0, 30.0, 5.0, 0.0, None),
        # 1 m is 2.914 ms: first notch at 1 / (2 x 2.914 ms) = 171.6 Hz; equal levels leave nothing there.
        (-10.0 + 20.0 * math.log10(11.0 / 10.0), 11.0, 10.0, 0.0, None),
        (-6.0, 10.0, 11.0, 0.0, "a comb with its first notch at 172 Hz"),
        ("off", 10.0, 11.0, 0.0, None),
        ("off", 10.0, 80.0, 0.0, None),
    ],
)
def test_echoes_and_combs_are_told(
    horn_db: float | str, horn_m: float, loudspeaker_m: float, latency_ms: float, says: str | None
) -> None:
    level_db = -math.inf if isinstance(horn_db, str) else horn_db
    horn, loudspeaker = path_report(level_db, horn_m, NOTHING), path_report(0.0, loudspeaker_m, NOTHING)
    warnings = seat_report("pit", horn, loudspeaker, latency_ms).warnings
    if says is None:
        assert warnings == ()
    else:
        assert len(warnings) == 1
        assert says in warnings[0]
