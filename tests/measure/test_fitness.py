"""What a take is fit to judge, on takes made for it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.errors import AudioError
from chainsim.measure.fitness import clipped_places, measure_fitness
from chainsim.units import Array
from tests.sampled_horns import SampledHorn

RATE_HZ = 16_000
NOTES_S = ((0.5, 1.5), (2.5, 3.5), (5.0, 6.0))


def take(noise_db: float = -80.0, t60_s: float = 0.1, amplitude: float = 0.5, rate_hz: float = RATE_HZ) -> Array:
    """Three notes of 330 Hz that die away by 60 dB in t60_s from their ends on, over noise of the given rms."""
    t = np.arange(round(10 * rate_hz)) / rate_hz
    gain = np.zeros(t.size)
    for a, b in NOTES_S:
        fall = 10.0 ** (-3.0 * np.maximum(t - b, 0.0) / t60_s)
        gain = np.maximum(gain, np.clip((t - a) / 0.01, 0.0, 1.0) * fall)
    noise = 10.0 ** (noise_db / 20.0) * np.random.default_rng(2).standard_normal(t.size)
    return amplitude * gain * np.sin(2.0 * np.pi * 330.0 * t) + noise


def fits(x: Array, rate_hz: float = RATE_HZ) -> tuple[str, str, str]:
    levels, gates, reverbs = measure_fitness(x, rate_hz).fitness.verdicts
    return levels.fit, gates.fit, reverbs.fit


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 192_000])
def test_a_good_take(rate_hz: float) -> None:
    findings = measure_fitness(take(rate_hz=rate_hz), rate_hz)
    read = findings.fitness
    assert [v.fit for v in read.verdicts] == ["yes", "yes", "yes"]
    assert (read.channels, read.notes, read.clipped_places) == (1, 3, 0)
    assert read.seconds == pytest.approx(10.0)
    assert read.noise_rms_dbfs == pytest.approx(-80.0, abs=0.3)
    # 400 to 9600 normal samples of a block peak at 3 to 5 standard deviations: 9.5 to 14 dB
    assert -70.5 < read.noise_peak_dbfs < -66.0
    # a sine of 0.5 has -9.03 dBFS rms
    assert read.signal_to_noise_db == pytest.approx(70.97, abs=0.4)
    assert read.sample_peak_dbfs == pytest.approx(-6.02, abs=0.05)
    assert read.dc_dbfs < -80.0


@pytest.mark.parametrize("t60_s", [0.2, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("noise_db", [-80.0, -60.0])
def test_falls_of_known_length(t60_s: float, noise_db: float) -> None:
    # Noise under the fall lifts its end a little: 6 dB over it by 1 dB of 45 or so.
    assert measure_fitness(take(noise_db, t60_s), RATE_HZ).fitness.fall_60_db_s == pytest.approx(t60_s, rel=0.10)


def test_room_decides_about_reverbs() -> None:
    assert [fits(take(t60_s=t))[2] for t in (0.2, 0.7, 1.5)] == ["yes", "with care", "no"]


def test_noise_decides_about_gates() -> None:
    # -9 dBFS rms over noise: 61, 26 and 11 dB
    assert [fits(take(n))[1] for n in (-70.0, -35.0, -20.0)] == ["yes", "with care", "no"]
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    restless = 0.3 * (1.0 + 0.5 * np.sin(4.0 * t)) * np.sin(2.0 * np.pi * 300.0 * t)
    assert fits(restless)[1:] == ("no", "with care")
    edited = np.where(np.abs(take(-math.inf)) > 1e-4, take(-math.inf), 0.0)
    assert fits(edited)[1] == "with care"
    assert measure_fitness(edited, RATE_HZ).fitness.signal_to_noise_db == math.inf


def test_what_is_too_short_is_told_to_be_short_and_not_silent() -> None:
    """Within a note: 20 ms have no block of levels, and under 0.4 s there is no loudness."""
    for seconds in (0.02, 0.39):
        read = measure_fitness(take()[RATE_HZ : RATE_HZ + round(seconds * RATE_HZ)], RATE_HZ).fitness
        assert read.too_short
        assert {(v.fit, v.reason) for v in read.verdicts} == {("no", "the take is too short: under 0.4 s")}
    assert not measure_fitness(take()[: round(0.4 * RATE_HZ)], RATE_HZ).fitness.too_short


def test_clipping_is_counted_and_placed() -> None:
    x = np.clip(take(amplitude=1.2), -1.0, 1.0)
    read = measure_fitness(x, RATE_HZ).fitness
    # Every half wave of 330 Hz over 3 s of notes at 1.2: 660 a second, after a ramp of 10 ms; the falls add a few.
    assert 1_950 < read.clipped_places < 2_050
    assert 0.5 <= read.first_clip_s < 0.52
    assert read.verdicts[0].fit == "no"


def test_one_sample_at_full_scale_is_not_clipping() -> None:
    x = np.zeros((100, 2))
    x[10, 0] = x[20:22, 1] = x[30, 0] = x[31, 1] = 1.0
    x[50:53, 0] = -32_767.0 / 32_768.0
    assert clipped_places(x) == [20, 30, 50]
    assert clipped_places(np.zeros(5)) == []


@pytest.mark.parametrize("x", [np.zeros(RATE_HZ), np.zeros((1, 2)), np.zeros((0, 1))])
def test_silence_is_fit_for_nothing(x: Array) -> None:
    assert fits(x) == ("no", "no", "no")


@pytest.mark.parametrize("x", [np.full(RATE_HZ, 0.3), np.sign(np.sin(np.arange(RATE_HZ) * 0.1)), np.eye(RATE_HZ, 1)])
def test_odd_sounds_are_measured(x: Array) -> None:
    assert len(fits(x)) == 3


def test_an_offset_shows() -> None:
    assert measure_fitness(take() + 0.01, RATE_HZ).fitness.dc_dbfs == pytest.approx(-40.0, abs=0.1)


def test_not_a_number_is_refused() -> None:
    x = take()
    x[100] = math.nan
    with pytest.raises(AudioError):
        measure_fitness(x, RATE_HZ)


def test_a_sampled_saxophone_is_not_taken_for_wet(sampled_sax: SampledHorn) -> None:
    # The synthesizer's reverb is off. The phrase ends with the file, so there is nothing to tell the room by.
    read = measure_fitness(sampled_sax.audio, sampled_sax.sample_rate_hz).fitness
    assert math.isnan(read.fall_60_db_s)
    assert read.verdicts[2].fit == "with care"


@pytest.mark.parametrize("right", [1.0, 0.9, 0.5, 0.0])
def test_the_room_is_the_same_however_loud_the_other_channel_is(right: float) -> None:
    """The fall of the louder channel is that of the mono take: what is quieter on the other side adds nothing to it."""
    rate_hz = 8_000
    t = np.arange(4 * rate_hz) / rate_hz
    note = np.where(np.modf(t)[0] < 0.5, 1.0, np.exp(-6.9078 * (np.modf(t)[0] - 0.5) / 0.4))
    x = 0.4 * note * np.sin(2 * np.pi * 220 * t) + 3e-4 * np.random.default_rng(3).standard_normal(t.size)
    alone = measure_fitness(x, rate_hz).fitness.fall_60_db_s
    assert measure_fitness(np.column_stack([x, right * x]), rate_hz).fitness.fall_60_db_s == pytest.approx(
        alone, rel=1e-9
    )


@pytest.mark.parametrize(("gains", "silent"), [((1, 0), "right"), ((0.001, 1), "left"), ((1, 0.1), ""), ((1, 1), "")])
def test_a_channel_that_was_not_plugged_in_is_told(gains: tuple[float, float], silent: str) -> None:
    x = 0.4 * np.sin(2 * np.pi * 220 * np.arange(16_000) / 8_000)
    assert measure_fitness(np.outer(x, gains), 8_000).fitness.silent_channel == silent
