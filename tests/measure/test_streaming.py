"""The meters that take chunks: the same bits for any cuts, one compiled signature, refusals."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

import numpy as np
import pytest

from chainsim.errors import AudioError
from chainsim.measure import loudness, peaks
from chainsim.measure.frame_powers import SpectrumMeter
from chainsim.measure.gaps import GapMeter
from chainsim.measure.loudness import LoudnessMeter, measure_loudness
from chainsim.measure.peaks import PeakMeter, measure_peaks
from chainsim.units import Audio

Meter = LoudnessMeter | PeakMeter | GapMeter | SpectrumMeter
METERS = (LoudnessMeter, PeakMeter, GapMeter, SpectrumMeter)


def sound(rate_hz: float, channels: int) -> Audio:
    rng = np.random.default_rng(5)
    n = round(4.3 * rate_hz)
    swell = 0.2 + np.abs(np.sin(np.arange(n) * 2.0 / rate_hz))
    return np.ascontiguousarray(0.6 * swell * rng.standard_normal((channels, n)))


def cuts(frames: int) -> list[Sequence[int]]:
    rng = np.random.default_rng(6)
    drawn = np.sort(rng.integers(0, frames, 40)).tolist()
    fine = [*range(1, 2000), *range(2000, frames, 509)]
    return [range(7, 20_000, 7), range(64, frames, 64), range(509, frames, 509), drawn, fine]


@pytest.mark.parametrize("make", METERS)
@pytest.mark.parametrize(("rate_hz", "channels"), [(48_000.0, 1), (44_100.0, 2), (11_025.0, 3)])
def test_same_bits_for_any_cuts(make: Callable[[float, int], Meter], rate_hz: float, channels: int) -> None:
    x = sound(rate_hz, channels)
    whole = make(rate_hz, channels)
    whole.add(x)
    for at in cuts(x.shape[1]):
        parts = make(rate_hz, channels)
        for a, b in itertools.pairwise([0, *at, x.shape[1]]):
            parts.add(np.ascontiguousarray(x[:, a:b]))
        assert parts.result() == whole.result()


@pytest.mark.parametrize("make", METERS)
def test_reading_does_not_disturb(make: Callable[[float, int], Meter]) -> None:
    x = sound(48_000.0, 1)
    kept = x.copy()
    read, plain = make(48_000.0, 1), make(48_000.0, 1)
    read.add(np.ascontiguousarray(x[:, :70_001]))
    assert read.result() == read.result()
    read.add(np.ascontiguousarray(x[:, 70_001:]))
    plain.add(x)
    assert read.result() == plain.result()
    np.testing.assert_array_equal(x, kept)


def test_whole_files_equal_chunks() -> None:
    x = sound(48_000.0, 2)
    by_hand, peak = LoudnessMeter(48_000.0, 2), PeakMeter(48_000.0, 2)
    by_hand.add(x)
    peak.add(x)
    # Files come as (frames, channels), perhaps read-only and in single precision.
    frozen = x.T.copy()
    frozen.flags.writeable = False
    assert measure_loudness(frozen, 48_000.0) == by_hand.result()
    assert measure_peaks(frozen, 48_000.0) == peak.result()
    single = measure_loudness(x.T.astype(np.float32), 48_000.0)
    assert single.integrated_lufs == pytest.approx(by_hand.result().integrated_lufs, abs=1e-5)


def test_memory_does_not_grow() -> None:
    def held(meter: Meter) -> int:
        return sum(v.nbytes for v in vars(meter).values() if isinstance(v, np.ndarray))

    x = sound(48_000.0, 1)
    for meter in (LoudnessMeter(48_000.0, 1), PeakMeter(48_000.0, 1), SpectrumMeter(48_000.0, 1)):
        meter.add(x)
        before = held(meter)
        for _ in range(5):
            meter.add(x)
        assert held(meter) == before


def test_one_signature_each() -> None:
    for audio in (np.zeros(5000), np.zeros((5000, 2)), np.zeros((5000, 2), order="F"), np.zeros((5000, 2), np.float32)):
        measure_loudness(audio, 48_000)
        measure_peaks(audio, 48_000)
    # What gather_peaks alone calls is not loaded when that comes from the cache.
    kernels = (loudness.k_weighted_energy, loudness.loudness_windows, peaks.gather_peaks)
    assert [k.signature_count for k in kernels] == [1, 1, 1]


@pytest.mark.parametrize("make", METERS)
def test_refuses_chunks_of_another_shape(make: Callable[[float, int], Meter]) -> None:
    meter = make(48_000.0, 2)
    with pytest.raises(AudioError, match=r"chunk of shape \(1, 8\), wanted \(2, frames\)"):
        meter.add(np.zeros((1, 8)))
    with pytest.raises(AudioError, match="chunk of type float64, wanted C-contiguous"):
        meter.add(np.zeros((8, 2)).T)
    with pytest.raises(AudioError, match=r"sample rate 900 Hz, wanted [14]000 Hz or more"):
        make(900.0, 2)
    with pytest.raises(AudioError, match="audio of shape"):
        measure_peaks(np.zeros((2, 2, 2)), 48_000.0)
