"""What a picture of a sound is made of: readings, extremes and bands, against the sound itself."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from chainsim.measure.course import COLUMNS, Course, CourseMeter
from chainsim.measure.loudness import measure_loudness
from chainsim.units import Audio

RATE_HZ = 44_100.0


def course(x: Audio, cuts: tuple[int, ...] = (), rate_hz: float = RATE_HZ) -> Course:
    meter = CourseMeter(rate_hz, *x.shape)
    for a, b in itertools.pairwise([0, *cuts, x.shape[1]]):
        meter.add(np.ascontiguousarray(x[:, a:b]))
    return meter.result()


def tone(seconds: float, amplitude: float = 0.5, freq_hz: float = 1000.0) -> Audio:
    return amplitude * np.sin(2.0 * np.pi * freq_hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)[None]


def test_readings_are_those_of_the_loudness_meter() -> None:
    x = np.concatenate([tone(1.0, 0.0), tone(4.0), tone(1.0, 0.05)], axis=1)
    seen = course(x)
    np.testing.assert_allclose(seen.time_s, np.arange(1, 61) / 10.0)
    whole = measure_loudness(x[0], RATE_HZ)
    # The tone's windows lie on the grid of readings, so that these meet the maxima, but for the filters' ringing.
    assert np.max(seen.momentary_lufs) == pytest.approx(whole.momentary_max_lufs, abs=0.02)
    assert np.max(seen.short_term_lufs) == pytest.approx(whole.short_term_max_lufs, abs=0.02)
    assert np.all(seen.momentary_lufs[:10] == -np.inf)
    # 20 dB down 0.4 s after the step, 1 s after it 3 s still hold two thirds of the loud tone.
    assert seen.momentary_lufs[54] - seen.momentary_lufs[48] == pytest.approx(-20.0, abs=0.05)
    assert seen.short_term_lufs[59] - seen.short_term_lufs[49] == pytest.approx(10.0 * np.log10(2.01 / 3.0), abs=0.02)


@pytest.mark.parametrize("frames", [1, 500, 1201, 50_000])
def test_extremes_of_every_column(frames: int) -> None:
    x = np.random.default_rng(4).uniform(-1.0, 1.0, (2, frames))
    seen = course(x, tuple(range(7, frames, 997)))
    step = -(-frames // COLUMNS)
    columns = [x[:, a : a + step] for a in range(0, frames, step)]
    np.testing.assert_array_equal(seen.highest, [max(0.0, c.max()) for c in columns])
    np.testing.assert_array_equal(seen.lowest, [min(0.0, c.min()) for c in columns])
    assert seen.column_edges_s[-1] == pytest.approx(frames / RATE_HZ, abs=step / RATE_HZ)


def test_bands_tell_frequency_and_level() -> None:
    # 40 bins up, as full-scale sine: 0 dBFS in a band one bin wide; a wider one has the mean of its bins.
    freq_hz = 40.0 * RATE_HZ / 2048.0
    seen = course(tone(2.0, 1.0, freq_hz))
    middle = seen.band_dbfs[:, seen.band_dbfs.shape[1] // 2]
    loudest = int(np.argmax(middle))
    assert seen.band_edges_hz[loudest] <= freq_hz * 1.03
    assert seen.band_edges_hz[loudest + 1] >= freq_hz / 1.03
    assert middle[loudest] == pytest.approx(0.0, abs=3.1)
    assert np.all(np.isneginf(course(np.zeros((1, 9000))).band_dbfs))


def test_any_cuts_show_the_same() -> None:
    x = np.random.default_rng(5).standard_normal((2, 90_000))
    whole, parts = course(x), course(x, (1, 2, 700, 701, 4410, 30_000, 30_001, 65_536))
    for name, value in vars(whole).items():
        np.testing.assert_array_equal(getattr(parts, name), value)


def test_a_longer_sound_is_no_wider() -> None:
    x = 0.1 * np.random.default_rng(6).standard_normal((1, 8000 * 100))
    seen = course(x, tuple(range(1 << 16, x.shape[1], 1 << 16)), 8000.0)
    assert len(seen.lowest) <= COLUMNS
    assert COLUMNS / 2 < seen.band_dbfs.shape[1] <= COLUMNS
    assert seen.spectrum_edges_s[-1] == pytest.approx(100.0, abs=0.3)
