"""Tap tempo: exact where the taps are, and hardly moved by one bad tap among five to eight."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chainsim.errors import SettingError
from chainsim.stage.taps import tempi_of_taps, tempo_of_taps


def taps(bpm: float, count: int, start_s: float = 2.0) -> list[float]:
    return [start_s + k * 60.0 / bpm for k in range(count)]


@pytest.mark.parametrize("bpm", [20.0, 73.0, 120.0, 138.5, 400.0])
@pytest.mark.parametrize("count", [2, 3, 8, 100])
def test_even_taps_give_their_tempo(bpm: float, count: int) -> None:
    assert tempo_of_taps(taps(bpm, count)) == pytest.approx(bpm, rel=1e-11)


BPM, COUNTS = (50.0, 87.0, 120.0, 150.0), (5, 6, 7, 8)


@pytest.mark.parametrize("bpm", BPM)
@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("late_s", [0.08, -0.08])
def test_one_late_or_early_tap_changes_nothing(bpm: float, count: int, late_s: float) -> None:
    for bad in range(count):
        times = taps(bpm, count)
        times[bad] += late_s
        assert tempo_of_taps(times) == pytest.approx(bpm, rel=1e-9)


@pytest.mark.parametrize("bpm", BPM)
@pytest.mark.parametrize("count", COUNTS)
def test_one_missed_tap_changes_nothing(bpm: float, count: int) -> None:
    for bad in range(1, count):
        times = taps(bpm, count + 1)
        del times[bad]
        assert tempo_of_taps(times) == pytest.approx(bpm, rel=1e-9)


@pytest.mark.parametrize("bpm", BPM)
@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("part", [0.26, 0.4, 0.5, 0.6, 0.74])
def test_one_doubled_tap_changes_nothing(bpm: float, count: int, part: float) -> None:
    for bad in range(count - 2):
        times = taps(bpm, count - 1)
        times.insert(bad + 1, times[bad] + part * 60.0 / bpm)
        assert tempo_of_taps(times) == pytest.approx(bpm, rel=1e-9)


@given(st.floats(30.0, 250.0), st.integers(5, 8), st.data())
def test_one_bad_tap_of_any_kind_moves_the_tempo_by_less_than_half_a_percent(
    bpm: float, count: int, data: st.DataObject
) -> None:
    times = taps(bpm, count, data.draw(st.floats(0.0, 500.0)))
    bad, beat_s = data.draw(st.integers(0, count - 1)), 60.0 / bpm
    times[bad] += data.draw(st.floats(-1.0, 1.0)) * min(0.08, beat_s - 0.101)
    assert tempo_of_taps(times) == pytest.approx(bpm, rel=0.005)


def test_unsteady_taps_lose_no_more_than_the_method_is_known_to() -> None:
    # Least squares, the best for normal errors of s seconds, is off by s / (T sqrt(n (n^2 - 1) / 12)) of the tempo; the
    # median of slopes reaches 3 / pi of its efficiency (Sen 1968). Of 1000 trials three standard errors are 6.7 %.
    count, jitter_s, trials = 8, 0.015, 1000
    rng = np.random.default_rng(1)
    for bpm in (60.0, 90.0, 120.0):
        found = [tempo_of_taps(np.add(taps(bpm, count), rng.normal(0.0, jitter_s, count))) for _ in range(trials)]
        least = jitter_s * bpm / 60.0 / np.sqrt(count * (count**2 - 1) / 12.0)
        spread = np.sqrt(np.mean(np.square(np.divide(found, bpm) - 1.0)))
        assert 0.933 * least < spread < 1.067 * least * np.sqrt(np.pi / 3.0)


def test_long_rows_lose_no_beat_though_the_first_guess_is_rough() -> None:
    rng = np.random.default_rng(2)
    for _ in range(20):
        found = tempo_of_taps(np.add(taps(170.0, 250), rng.normal(0.0, 0.015, 250)))
        assert found == pytest.approx(170.0, rel=2e-4)  # one beat lost or found of 250 would be 4e-3


def test_each_tap_says_what_is_known_by_then() -> None:
    times = [1.0, 1.5, 2.0, 2.6, 3.1, 3.7]
    tempi = tempi_of_taps(times)
    assert [t for t, _ in tempi] == times[1:]
    assert tempi[0][1] == tempi[1][1] == 120.0
    for n in range(2, len(times)):
        assert tempi_of_taps(times[:n]) == tempi[: n - 1]
    assert tempi[-1][1] == tempo_of_taps(times)


def test_a_bounce_at_the_beginning_says_nothing_yet() -> None:
    # 1.0 and 1.12 alone would be 500 bpm.
    assert tempi_of_taps([1.0, 1.12, 1.5, 2.0, 2.5, 3.0])[0][0] == 1.5
    assert tempi_of_taps([1.0, 1.12, 1.5, 2.0, 2.5, 3.0])[-1][1] == pytest.approx(120.0, rel=1e-9)


CANNOT = [
    ([], "taps: 0 of them, allowed 2 ... 256"),
    ([1.0], "taps: 1 of them, allowed 2 ... 256"),
    (taps(120.0, 257), "taps: 257 of them, allowed 2 ... 256"),
    ([1.0, float("nan")], "taps: allowed finite times"),
    ([1.0, 1.5, 1.55, 2.0], "taps[1] = 1.5 s and taps[2] = 1.55 s are 50 ms apart, allowed 100 ... 3000 ms"),
    ([1.0, 4.5, 5.0], "taps[0] = 1 s and taps[1] = 4.5 s are 3500 ms apart, allowed 100 ... 3000 ms"),
    ([1.0, 1.5, 1.2], "taps[1] = 1.5 s and taps[2] = 1.2 s are -300 ms apart"),
    ([1.0, 1.12], "taps: their tempo = 500 bpm, allowed 20 ... 400 bpm"),
]


@pytest.mark.parametrize(("times", "told"), CANNOT)
def test_what_makes_no_tempo_is_told_in_one_line(times: list[float], told: str) -> None:
    for read in (tempo_of_taps, tempi_of_taps):
        with pytest.raises(SettingError) as caught:
            read(times)
        assert str(caught.value).startswith(told)
        assert "\n" not in str(caught.value)
