"""What must not be said of a box: echoes that are notes, noise that is a bound, a swapped pair taken for a box."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import lfilter

from chainsim.batch.pair.fitting import fit_block
from chainsim.batch.pair.measuring import measure_sounds
from chainsim.batch.pair.recordings import MOST_S, Pair, read_pair
from chainsim.batch.pair.report import PairReport
from chainsim.batch.pair.verdict import verdict_on
from chainsim.measure.pair.alignment import first_arrival
from chainsim.measure.pair.deconvolution import deconvolve
from chainsim.units import Array
from tests.measure.pair_sounds import RATE_HZ, bursts, horn

DELAY = 14_400  # 300 ms at 48 kHz


def measured(dry: Array, wet: Array) -> PairReport:
    return measure_sounds(Pair(dry, wet, RATE_HZ))


def echoing(x: Array, feedback: float, high_cut_hz: float = 0.0) -> Array:
    """Return x + 0.4 sum g^k c^(k+1) x(t - (k + 1) D), with a one-pole low-pass c, unit gain at 0 Hz, in the loop."""
    pole = np.exp(-2.0 * np.pi * high_cut_hz / RATE_HZ) if high_cut_hz else 0.0
    y = np.concatenate([x, np.zeros(8 * DELAY)])
    echo = np.concatenate([x, np.zeros(8 * DELAY)])
    for k in range(8):
        echo = lfilter([1.0 - pole], [1.0, -pole], np.concatenate([np.zeros(DELAY), echo[:-DELAY]]))
        y += 0.4 * feedback**k * echo
    return y


def noise(size: int, dbfs: float) -> Array:
    return 10.0 ** (dbfs / 20.0) * np.random.default_rng(3).standard_normal(size)


def test_taps_of_notes_are_no_first_arrival() -> None:
    # all-pass of 40 samples whose coefficient sways with the sound's level: it moves, at latency 0 ... 40 samples
    x = horn("low_water_tenor_sax")
    level = lfilter([0.002], [1.0, -0.998], np.abs(x))
    share = np.clip(level / np.max(level), 0.0, 1.0)
    wet = np.tanh(20.0 * (share * x + (1.0 - share) * np.roll(x, 40)))
    report = measured(x, wet)
    found = deconvolve(x, wet, RATE_HZ)
    taps, _ = found.taps()
    # taken at face value, the earliest tap is one that comes before the sound
    assert first_arrival(taps, RATE_HZ, lambda tap: True).lag < -48.0
    latency = report.alignment.latency_samples
    assert not latency.found or (latency.low < 41.0 and latency.high > 0.0)
    assert not report.echoes.delay_ms.found
    assert not any("swapped" in note for note in report.notes)


def test_a_box_that_moves_is_said_to_be_no_linear_one() -> None:
    x = horn()
    t = np.arange(x.size) / RATE_HZ
    ring = x * np.cos(2.0 * np.pi * 90.0 * t) + 0.9 * x  # half of the sound at other frequencies
    report = measured(x, ring)
    assert any("no linear response describes it" in note for note in report.notes)
    assert report.alignment.latency_samples.low < 0.0 < report.alignment.latency_samples.high


@pytest.mark.parametrize(("feedback", "dbfs"), [(0.42, -72.0), (0.7, -60.0)])
def test_noise_beside_echoes_is_found_at_its_level(feedback: float, dbfs: float) -> None:
    x = horn("low_water_tenor_sax")
    wet = echoing(x, feedback)
    box = measured(x, wet + noise(wet.size, dbfs)).noise
    # white noise's share of the band in which it was found
    true_db = dbfs + 10.0 * np.log10(1.0 - box.from_hz / (0.5 * RATE_HZ))
    assert box.dbfs.value == pytest.approx(true_db, abs=1.0)
    assert box.dbfs.low < true_db < box.dbfs.high
    assert box.from_hz < 5000.0


def test_where_the_box_adds_no_noise_there_is_only_a_bound() -> None:
    x = horn("low_water_tenor_sax")
    for wet in (x.copy(), echoing(x, 0.42)):
        box = measured(x, wet).noise
        assert not box.dbfs.found
        assert -120.0 < box.dbfs.high < -40.0


@pytest.mark.parametrize(("feedback", "high_cut_hz"), [(0.42, 5000.0), (0.7, 3000.0), (0.7, 0.0)])
def test_feedback_where_the_loop_loses_least(feedback: float, high_cut_hz: float) -> None:
    x = horn("low_water_tenor_sax")
    found = measured(x, echoing(x, feedback, high_cut_hz)).echoes.feedback
    # at 300 Hz, the lower end of what is looked at, a one-pole cut at 3 kHz takes off 0.5 %
    assert found.low < feedback < found.high
    assert found.value == pytest.approx(feedback, rel=0.03)
    assert found.high - found.low < 0.1 * feedback


@pytest.mark.parametrize("dry", [horn("low_water_tenor_sax"), bursts()], ids=["no rests", "rests"])
def test_swapped_files_are_told_by_echoes_of_the_dry_one(dry: Array) -> None:
    wet = echoing(dry, 0.42)[: dry.size] + noise(dry.size, -80.0)
    assert not any("swapped" in note for note in measured(dry, wet).notes)
    assert any("these may be swapped" in note for note in measured(wet, dry).notes)


def test_a_poor_fit_is_called_poor_and_points_elsewhere() -> None:
    x = horn()[: round(2.5 * RATE_HZ)]
    t = np.arange(x.size) / RATE_HZ
    pair = Pair(x, (1.0 + 0.6 * np.sin(2.0 * np.pi * 5.0 * t)) * x, RATE_HZ)
    fit = fit_block(pair, measure_sounds(pair), "gain")
    # (0.36 / 2) / (1 + 0.36 / 2) of the energy, if the notes don't follow the sine: -8 dB
    assert fit.residual_db == pytest.approx(-8.0, abs=1.5)
    assert fit.verdict.startswith("poor")
    assert any("points to tremolo" in note for note in fit.notes)


@pytest.mark.parametrize(
    ("residual_db", "noise_db", "levels_db", "words", "near"),
    [
        (-59.1, np.nan, np.inf, "as good as the same", True),
        (-30.0, np.nan, np.inf, "near", True),
        (-19.9, -20.0, np.inf, "the box's noise", True),
        (-12.4, np.nan, np.inf, "poor", False),
        (-1.0, np.nan, 1.0, "as good as the same in levels", True),
        (-1.0, np.nan, 9.0, "poor", False),
    ],
)
def test_verdicts(residual_db: float, noise_db: float, levels_db: float, words: str, near: bool) -> None:
    said, is_near = verdict_on(residual_db, noise_db, levels_db)
    assert words in said
    assert is_near == near


def test_of_a_long_recording_the_beginning_is_measured(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    soundfile.write(path, np.random.default_rng(1).uniform(-0.1, 0.1, 70 * 8000), 8000)
    pair = read_pair(path, path)
    assert pair.dry.size == pair.wet.size == MOST_S * 8000
    assert any("70 s, of which the first 60 s are measured" in note for note in pair.notes)
