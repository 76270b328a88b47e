"""Noise floor, rests and gate threshold on takes whose truth is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.errors import AudioError
from chainsim.measure.gaps import measure_gaps
from chainsim.units import Array

RATE_HZ = 48_000
NOTES_S = ((0.5, 1.5), (2.0, 3.0), (3.2, 5.0), (6.0, 7.5))
RESTS_S = ((0.0, 0.5), (1.5, 2.0), (3.0, 3.2), (5.0, 6.0), (7.5, 8.0))


def take(noise: float, amplitude: float = 0.5) -> Array:
    """Notes of 440 Hz with 20 ms ramps inside their times, over Gaussian noise of the given rms."""
    t = np.arange(8 * RATE_HZ) / RATE_HZ
    x = np.zeros(t.size)
    for a, b in NOTES_S:
        x += amplitude * np.clip(np.minimum(t - a, b - t) / 0.02, 0.0, 1.0) * np.sin(2.0 * np.pi * 440.0 * t)
    return x + noise * np.random.default_rng(9).standard_normal(t.size)


@pytest.mark.parametrize("noise_db", [-80.0, -60.0, -40.0])
def test_floor_notes_and_rests(noise_db: float) -> None:
    read = measure_gaps(take(10.0 ** (noise_db / 20.0)), RATE_HZ)
    # The noise's rms as made; a block's median differs from its mean by less than 0.1 dB (2400 samples).
    assert read.noise_rms_dbfs == pytest.approx(noise_db, abs=0.2)
    # A sine of 0.5: peak -6.02, rms -9.03 dBFS, raised by noise in the loudest blocks.
    assert read.loud_rms_dbfs == pytest.approx(-9.03, abs=0.1)
    assert read.loud_peak_dbfs == pytest.approx(-6.02, abs=0.6)
    # 4800 normal samples or so peak at 3 to 5 standard deviations: 9.5 to 14 dB.
    assert 9.5 < read.noise_peak_dbfs - noise_db < 14.0
    assert read.noise_peak_dbfs < read.gate_threshold_db < read.loud_peak_dbfs - 12.0
    # Blocks of 50 ms find the edges to within one of them.
    assert np.asarray(read.rests_s).shape == (5, 2)
    np.testing.assert_allclose(read.rests_s, RESTS_S, atol=0.05)


def test_gate_threshold_keeps_its_distance_from_no_noise() -> None:
    read = measure_gaps(take(1e-6), RATE_HZ)
    # Noise at -120 dBFS: 60 dB under the loud notes' peaks is low enough.
    assert read.gate_threshold_db == pytest.approx(read.loud_peak_dbfs - 60.0)
    assert read.noise_rms_dbfs == pytest.approx(-120.0, abs=0.2)


def test_no_room_between_noise_and_notes() -> None:
    assert math.isnan(measure_gaps(take(0.03, amplitude=0.4), RATE_HZ).gate_threshold_db)


def test_no_rest_no_floor() -> None:
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    read = measure_gaps(0.3 * (1.0 + 0.5 * np.sin(4.0 * t)) * np.sin(2.0 * np.pi * 300.0 * t), RATE_HZ)
    assert read.rests_s == ()
    assert math.isnan(read.noise_rms_dbfs)
    assert math.isnan(read.gate_threshold_db)


def test_digital_silence() -> None:
    read = measure_gaps(take(0.0), RATE_HZ)
    assert read.noise_rms_dbfs == -math.inf
    assert len(read.rests_s) == 5
    silent = measure_gaps(np.zeros((RATE_HZ, 2)), RATE_HZ)
    assert (silent.noise_rms_dbfs, silent.loud_rms_dbfs, silent.rests_s) == (-math.inf, -math.inf, ((0.0, 1.0),))
    assert measure_gaps(np.zeros(0), RATE_HZ).rests_s == ()


def test_zeros_around_a_recording_do_not_hide_its_noise() -> None:
    x = np.concatenate([np.zeros(RATE_HZ), take(1e-3), np.zeros(RATE_HZ)])
    assert measure_gaps(x, RATE_HZ).noise_rms_dbfs == pytest.approx(-60.0, abs=0.2)


def test_refuses_what_is_not_finite() -> None:
    x = take(1e-3)
    x[99_999] = np.nan
    with pytest.raises(AudioError, match="not finite"):
        measure_gaps(x, RATE_HZ)


def test_loudest_channel_counts() -> None:
    x = take(1e-3)
    assert measure_gaps(np.stack([0.1 * x, x], axis=1), RATE_HZ) == measure_gaps(x, RATE_HZ)
