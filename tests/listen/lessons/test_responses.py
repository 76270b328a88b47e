"""What a chain does to each frequency, found between a take and what came out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import freqz, lfilter

from chainsim.listen.lessons.excerpt import Heard, excerpt
from chainsim.listen.lessons.measures import rest_level_dbfs, ringing_level_dbfs
from chainsim.listen.lessons.responses import drawn, notches_hz, response_db, ripple_db

RATE_HZ = 48_000
TAKE = excerpt(0.1 * np.random.default_rng(3).standard_normal(2 * RATE_HZ), RATE_HZ, "noise")


def copied(late_ms: float) -> tuple[np.ndarray, np.ndarray]:
    """Gain of a sum of the take and a copy so late."""
    late = round(late_ms * RATE_HZ / 1000.0)
    audio = TAKE.dry.audio.copy()
    audio[late:] += TAKE.dry.audio[:-late]
    return response_db(TAKE.dry, Heard("both", audio, RATE_HZ))


def test_the_gain_is_that_of_the_filter_by_scipy() -> None:
    b, a = [0.5, 0.25, -0.2], [1.0, -0.6]
    audio = lfilter(b, a, TAKE.dry.audio, axis=0)
    freq_hz, gain_db = response_db(TAKE.dry, Heard("filtered", audio, RATE_HZ))
    expected = 20.0 * np.log10(np.abs(freqz(b, a, worN=freq_hz, fs=RATE_HZ)[1]))
    np.testing.assert_allclose(gain_db, expected, atol=0.01)


def test_notches_of_a_comb_lie_at_odd_multiples_of_half_a_turn() -> None:
    notches = notches_hz(*copied(1.0))
    np.testing.assert_allclose(notches, 500.0 + 1000.0 * np.arange(24), atol=0.5)  # 1 / (2 delay), 48 samples


def test_equal_notches_are_drawn_equally_deep() -> None:
    freq_hz, gain_db = drawn(*copied(1.0))
    depths = [np.min(gain_db[np.abs(freq_hz - f) < 60.0]) for f in np.arange(500.0, 11_600.0, 1000.0)]
    assert max(depths) < -30.0  # the end of the picture


def test_a_finer_comb_is_smoother_in_thirds_of_an_octave() -> None:
    # |1 + exp(-i w T)|^2 = 2 + 2 cos(w T), its mean over bands by numpy; 12 bands an octave from 100 Hz to 8 kHz.
    for late_ms in (1.0, 30.0):
        middles = 100.0 * 2.0 ** (np.arange(76) / 12.0)
        dense = [np.linspace(f / 2.0 ** (1 / 6), f * 2.0 ** (1 / 6), 4001) for f in middles]
        levels = [np.mean(2.0 + 2.0 * np.cos(2e-3 * np.pi * f * late_ms)) for f in dense]
        expected = 10.0 * np.log10(max(levels) / min(levels))
        assert ripple_db(*copied(late_ms), 100.0, 8000.0) == pytest.approx(expected, abs=0.2)


def test_rests_are_as_loud_on_two_loudspeakers_as_one_channel_on_both() -> None:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    played = 0.2 * np.sin(2.0 * np.pi * 330.0 * t) * (t % 1.0 < 0.5) + 1e-3 * np.random.default_rng(1).standard_normal(
        t.size
    )
    take = excerpt(played, RATE_HZ, "notes")
    left = take.heard("left", np.stack([take.audio, np.zeros_like(take.audio)], axis=1))
    for level in (rest_level_dbfs, ringing_level_dbfs):
        assert level(take, left) == pytest.approx(level(take, take.dry) - 10.0 * np.log10(2.0), abs=1e-6)
