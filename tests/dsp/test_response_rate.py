"""Responses at another rate: the same filter by its transform, taken as a sum over the samples there are."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.dsp.response_rate import PASS, response_at_rate

RATES = [(44_100, 48_000), (48_000, 44_100), (96_000, 48_000), (44_100, 192_000), (47_999, 48_000), (48_000, 8_000)]


def gain_at(h: np.ndarray, freq_hz: np.ndarray, rate_hz: float) -> np.ndarray:
    """H(f) = sum of h[n] exp(-2 pi i f n / fs)."""
    return np.exp(-2j * np.pi * np.outer(freq_hz, np.arange(h.size)) / rate_hz) @ h


def ringing(rate_hz: float, begin_s: float) -> np.ndarray:
    """Three damped sines that begin at `begin_s`: a response whose samples are those of a function of time."""
    t = np.arange(round(0.05 * rate_hz)) / rate_hz - begin_s
    tones = ((210.0, 80.0), (1_900.0, 300.0), (3_100.0, 600.0))
    return np.where(t >= 0.0, sum(np.exp(-d * t) * np.sin(2.0 * np.pi * f * t) for f, d in tones), 0.0)


@pytest.mark.parametrize(("rate_hz", "wanted_hz"), RATES)
# What is cut off before the first sample of a response that begins at once is heard as this much noise at the most.
@pytest.mark.parametrize(("begin_s", "most_db"), [(0.0, -60.0), (0.004, -120.0)])
def test_gain_is_kept_up_to_the_top_of_the_band(
    rate_hz: float, wanted_hz: float, begin_s: float, most_db: float
) -> None:
    h = ringing(rate_hz, begin_s)
    found = response_at_rate(h[None], rate_hz, wanted_hz)[0]
    freq_hz = np.linspace(20.0, 0.5 * PASS * min(rate_hz, wanted_hz), 150)
    right = np.abs(gain_at(h, freq_hz, rate_hz))
    error = np.max(np.abs(np.abs(gain_at(found, freq_hz, wanted_hz)) - right))
    assert 20.0 * np.log10(error / np.max(right)) < most_db


@pytest.mark.parametrize(("rate_hz", "wanted_hz"), RATES)
def test_even_a_click_keeps_its_tone(rate_hz: float, wanted_hz: float) -> None:
    freq_hz = np.linspace(20.0, 0.5 * PASS * min(rate_hz, wanted_hz), 150)
    for at, most_db in ((0, 0.001), (1, 0.5), (2, 0.5), (300, 0.001)):  # so near to the beginning is the worst case
        h = np.zeros(1_000)
        h[at] = 1.0
        gain = gain_at(response_at_rate(h[None], rate_hz, wanted_hz)[0], freq_hz, wanted_hz)
        assert np.max(np.abs(20.0 * np.log10(np.abs(gain)))) < most_db, at


@pytest.mark.parametrize(("rate_hz", "wanted_hz"), [(96_000, 44_100), (192_000, 48_000), (48_000, 8_000)])
def test_what_the_lower_rate_cannot_hold_leaves_no_alias(rate_hz: float, wanted_hz: float) -> None:
    t = np.arange(9_600) / rate_hz
    tone = np.hanning(t.size) * np.sin(2.0 * np.pi * 0.62 * wanted_hz * t)
    assert np.max(np.abs(response_at_rate(tone[None], rate_hz, wanted_hz))) < 1e-5 * np.max(np.abs(tone))


def test_images_of_a_lower_rate_lie_120_db_down() -> None:
    h = np.zeros(2_000)
    h[1_000] = 1.0
    found = response_at_rate(h[None], 44_100, 192_000)[0]
    image = gain_at(found, np.linspace(22_050.0, 95_000.0, 300), 192_000)
    assert np.max(np.abs(image)) < 1.01e-6


def test_it_comes_less_than_a_tenth_of_a_millisecond_later() -> None:
    for rate_hz, wanted_hz in RATES:
        h = np.zeros(1_000)
        h[300] = 1.0
        found = response_at_rate(h[None], rate_hz, wanted_hz)[0]
        freq_hz = np.linspace(100.0, 0.2 * PASS * min(rate_hz, wanted_hz), 80)
        phase = np.unwrap(np.angle(gain_at(found, freq_hz, wanted_hz) / gain_at(h, freq_hz, rate_hz)))
        delay_s = -np.diff(phase) / np.diff(2.0 * np.pi * freq_hz)
        assert np.max(np.abs(delay_s)) < 1e-4


def test_the_same_rate_changes_nothing() -> None:
    h = np.random.default_rng(1).standard_normal((2, 100))
    assert response_at_rate(h, 48_000.0, 48_000.0) is h
