"""What is seen of a sound: against closed forms of sines."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from chainsim.listen.page.pictures import COLUMNS, ROWS, SHADES, peaks, row_edges_hz, shades, spectrogram
from chainsim.listen.page.pictures import spectrogram_levels as levels
from chainsim.listen.page.pitch_line import pitch_line
from chainsim.units import Array

HANN_SCALLOPING_DB = 1.42
"""Most that a sine between two bins loses; Harris 1978, table 1."""


def sine(freq_hz: float, seconds: float, rate_hz: int, gain: float = 1.0, channels: int = 1) -> Array:
    n = np.arange(round(seconds * rate_hz))
    x: Array = np.repeat(gain * np.sin(2 * np.pi * freq_hz * n / rate_hz)[:, np.newaxis], channels, axis=1)
    return x


@pytest.mark.parametrize(
    ("freq_hz", "rate_hz", "gain_db"), [(55.0, 44_100, -20.0), (441.3, 48_000, 0.0), (9_000.0, 96_000, -40.0)]
)
def test_a_sine_is_a_line_at_its_frequency_and_level(freq_hz: float, rate_hz: int, gain_db: float) -> None:
    found = levels(sine(freq_hz, 0.8, rate_hz, 10.0 ** (gain_db / 20.0), channels=2), rate_hz)
    assert found.shape == (ROWS, COLUMNS)
    middle = found[::-1, COLUMNS // 2]  # the lowest first
    edges = row_edges_hz()
    strongest = int(np.argmax(middle))
    bin_hz = rate_hz / 2 ** round(np.log2(0.09 * rate_hz))
    assert edges[strongest] - bin_hz <= freq_hz <= edges[strongest + 1] + bin_hz
    assert gain_db - HANN_SCALLOPING_DB - 0.1 <= middle[strongest] <= gain_db + 0.1
    far = np.abs(np.log2(edges[:-1] / freq_hz)) > 1.5
    assert middle[far].max() < gain_db - 60.0


def test_no_column_of_a_long_sound_is_overlooked() -> None:
    """One click of 5 ms in 200 s, where a column is longer than a window: it shows, and at its time."""
    rate_hz = 8_000
    x = np.zeros((200 * rate_hz, 1))
    at = round(77.7 * rate_hz)
    x[at : at + 40] = 0.5
    loud = levels(x, rate_hz).max(axis=0) > -60.0
    assert loud.any()
    assert np.all(np.abs(np.flatnonzero(loud) - 77.7 / 200.0 * COLUMNS) < 2.0)


def test_frequencies_over_half_the_rate_are_dark() -> None:
    found = levels(np.random.default_rng(1).standard_normal((8_000, 1)), 8_000)
    assert found[row_edges_hz()[:-1][::-1] > 4_000.0].max() <= -199.0
    assert found[row_edges_hz()[1:][::-1] < 3_900.0].min() > -120.0


def test_the_picture_is_small_and_louder_is_lighter() -> None:
    x = sine(440.0, 1.0, 44_100, 0.1)
    pictures = [Image.open(io.BytesIO(spectrogram(x * gain, 44_100, -23.0))) for gain in (1.0, 0.1, 0.0)]
    assert all(p.size == (COLUMNS, ROWS) and p.mode == "P" for p in pictures)
    brightest = [int(np.asarray(p.convert("L")).max()) for p in pictures]
    assert brightest[0] > brightest[1] > brightest[2]
    noise = 0.1 * np.random.default_rng(2).standard_normal((44_100, 2))
    assert len(spectrogram(noise, 44_100, -23.0)) < 200_000


def test_the_colours_grow_lighter_all_the_way() -> None:
    """Relative luminance of WCAG 2 (sRGB, IEC 61966-2-1): so the scale reads without colours, too."""
    share = shades() / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    luminance = linear @ [0.2126, 0.7152, 0.0722]
    assert luminance.shape == (SHADES,)
    assert np.all(np.diff(luminance) > 0.0)


def test_peaks_are_the_extremes_of_equal_stretches() -> None:
    x = np.stack([np.arange(12.0), -np.arange(12.0)], axis=1) / 12.0
    assert np.allclose(peaks(x, 3) * 12.0, [[-3.0, -7.0, -11.0], [3.0, 7.0, 11.0]])
    assert peaks(x, 1200).shape == (2, 12)


def test_the_pitch_line_has_its_notes_and_gaps() -> None:
    """Two notes of eight harmonics, 220 and 330 Hz, with rests around them."""
    rate_hz = 44_100
    rest = np.zeros((round(0.5 * rate_hz), 1))
    notes = [sum(sine(k * hz, 0.8, rate_hz, 0.2 / k) for k in range(1, 9)) for hz in (220.0, 330.0)]
    found = pitch_line(np.concatenate([rest, notes[0], rest, notes[1], rest]), rate_hz)
    assert len(found) == 2
    for piece, hz, begin_s in zip(found, (220.0, 330.0), (0.5, 1.8), strict=True):
        assert np.max(np.abs(1200.0 * np.log2(piece.pitches_hz / hz))) < 10.0
        assert begin_s < piece.times_s[0] < begin_s + 0.15
        assert begin_s + 0.6 < piece.times_s[-1] < begin_s + 0.9
        assert np.max(np.diff(piece.times_s)) < 0.1
        assert len(piece.times_s) <= 0.9 * 20 + 1
