"""Distances between sounds: a metric, the same bits however it is come by, and finite for whatever sounds."""

from __future__ import annotations

import dataclasses
import functools
import itertools
import pickle
from collections.abc import Iterator, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.errors import AudioError
from chainsim.measure.loudness import measure_loudness
from chainsim.measure.sound_distance import frames, matrix, steps
from chainsim.measure.sound_distance.features import SoundFeatures
from chainsim.measure.sound_distance.matrix import distance_matrix
from chainsim.measure.sound_distance.measuring import measure_distance
from chainsim.measure.sound_distance.meter import SoundMeter
from chainsim.measure.sound_distance.steps import SoundDistance, sound_distance
from chainsim.units import Audio

RATE_HZ = 16_000.0
PLAYING = 20_000


def sound(seed: int, channels: int = 1) -> Audio:
    """A second of swelling noise through a filter of two taps, and its end, shape (channels, frames)."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((channels, PLAYING + 6_000)) * np.abs(np.sin(np.arange(PLAYING + 6_000) / 2_000.0 + seed))
    x[:, 1:] += rng.uniform(-0.9, 0.9) * x[:, :-1]
    x[:, PLAYING:] *= np.exp(-np.arange(6_000) / rng.uniform(300.0, 3_000.0))
    return 0.1 * x


def features(x: Audio, at: Sequence[int] = (), latency_frames: int = 0, lufs: float | None = None) -> SoundFeatures:
    meter = SoundMeter(RATE_HZ, x.shape[0], PLAYING, latency_frames)
    for a, b in itertools.pairwise([0, *at, x.shape[1]]):
        meter.add(np.ascontiguousarray(x[:, a:b]))
    return meter.result(measure_loudness(x.T, RATE_HZ).integrated_lufs if lufs is None else lufs)


@functools.cache
def some(count: int = 6) -> tuple[SoundFeatures, ...]:
    return tuple(features(sound(k, 1 + k % 2)) for k in range(count))


def same(a: SoundFeatures, b: SoundFeatures) -> bool:
    one, other = a.to_arrays(), b.to_arrays()
    return one.keys() == other.keys() and all(one[k].tobytes() == other[k].tobytes() for k in one)


@pytest.mark.parametrize("channels", [1, 2])
def test_same_bits_for_any_cuts(channels: int) -> None:
    x = sound(1, channels)
    whole = features(x, latency_frames=100)
    drawn = np.sort(np.random.default_rng(2).integers(0, x.shape[1], 40)).tolist()
    for at in (range(7, 3_000, 7), range(509, x.shape[1], 509), drawn, (99, 100, 101)):
        assert same(features(x, at, latency_frames=100), whole)


def test_reading_does_not_disturb() -> None:
    x = sound(1)
    meter = SoundMeter(RATE_HZ, 1, PLAYING, 0)
    meter.add(np.ascontiguousarray(x[:, :7_000]))
    assert same(meter.result(-20.0), meter.result(-20.0))
    meter.add(np.ascontiguousarray(x[:, 7_000:]))
    assert same(meter.result(-20.0), features(x, lufs=-20.0))


def test_arrays_and_back() -> None:
    for one in some(2):
        assert same(SoundFeatures.from_arrays(one.to_arrays()), one)


def test_arrays_of_something_else() -> None:
    good = some(2)[1].to_arrays()
    shape = good["spectrum"].shape
    one_nan = good["short"].copy()
    one_nan[1, 7, 3] = np.nan
    for changed, message in (
        ({"tail": None}, "no tail"),
        ({"sound": None}, "sound None, wanted its rate, channels and frames of playing"),
        ({"null": np.zeros(3)}, "null, wanted only spectrum, tail, middle, short, pitch, modulation, width"),
        ({"width": None}, "spectrum, tail, middle, short, pitch, modulation, wanted spectrum, tail, .* width"),
        ({"spectrum": good["spectrum"][:, :-1]}, r"spectrum of float16, shape \(2, .*\), wanted float16, shape \(2, "),
        ({"spectrum": np.zeros(shape)}, "spectrum of float64"),
        ({"middle": np.array(3.0, np.float16)}, r"middle of float16, shape \(\), wanted"),
        ({"short": one_nan}, "short holds a level that is not finite"),
        ({"modulation": np.full_like(good["modulation"], -np.inf)}, "modulation holds a level that is not finite"),
        ({"sound": np.array([RATE_HZ, 2.0, np.nan])}, "wanted its rate, channels and frames"),
        ({"sound": np.array([RATE_HZ, 2.0])}, "wanted its rate, channels and frames"),
        ({"sound": np.array([RATE_HZ, 1.5, 100.0])}, "1.5 channels, 100.0 frames, wanted whole numbers"),
        ({"sound": np.array([RATE_HZ, 3.0, PLAYING])}, "3 channels, .*, allowed 1 or 2 channels"),
        ({"sound": np.array([RATE_HZ, 1.0, PLAYING])}, ", width, wanted spectrum, .*, modulation$"),
        ({"sound": np.array([0.0, 2.0, PLAYING])}, "at 0 Hz"),
        ({"sound": np.array([1e308, 2.0, 1e308])}, "wanted float16, shape"),
        ({"sound": np.array([RATE_HZ, 2.0, 2.0 * PLAYING])}, "wanted float16, shape"),
    ):
        arrays = {name: a for name, a in {**good, **changed}.items() if a is not None}
        with pytest.raises(ValueError, match=message) as found:
            SoundFeatures.from_arrays(arrays)
        assert "\n" not in str(found.value)


def test_memory_is_bounded_whatever_the_length() -> None:
    def kept_bytes(seconds: int) -> int:
        meter = SoundMeter(8_000.0, 2, seconds * 8_000, 0)
        for _ in range(seconds + 15):
            meter.add(np.zeros((2, 8_000)))
        return len(pickle.dumps(meter))

    # In 60 s 1875, 7500, 15000 and 938 frames of 4 x 46, 2 x 23, 2 x 8 and 2 x 110 bands; in 10 s of a tail 313 of 2 x
    # 46.
    assert kept_bytes(300) == pytest.approx(kept_bytes(60), rel=0.001)
    kept = 1_875 * 184 + 7_500 * 46 + 15_000 * 16 + 938 * 220 + 313 * 92
    assert 4 * kept < kept_bytes(60) < 4 * kept + 500_000  # and tables


def test_whether_all_is_compared() -> None:
    def found(frames: int) -> bool:
        return SoundMeter(8_000.0, 1, frames, 0).result(-23.0).whole

    assert found(480_000)
    assert not found(480_001)


def test_what_ten_seconds_take() -> None:
    # 720 of them are kept: 65 MB for one channel.
    meter = SoundMeter(48_000.0, 1, 480_000, 0)
    meter.add(np.zeros((1, 48_000)))
    assert sum(a.nbytes for a in meter.result(-23.0).to_arrays().values()) < 100_000


def test_gain_delay_and_a_second_equal_channel_make_no_difference() -> None:
    x = sound(3)
    late = np.concatenate([np.zeros((1, 777)), 0.3 * x], axis=1)
    # By its gating blocks a late sound may read 0.1 LU otherwise: the distance then is about that.
    assert sound_distance(features(x), features(late, latency_frames=777)).total < 0.2
    assert sound_distance(features(x), features(np.concatenate([x, x]))).total < 0.02
    assert sound_distance(features(x), features(late)).total > 1.0
    assert measure_distance(x[0], late[0], RATE_HZ, latency_frames=(0, 777)).total < 0.02


def test_only_so_much_is_compared() -> None:
    # 60 s of playing and 10 s of the tail: what comes between or later is not looked at.
    rate_hz, playing = 8_000.0, 62 * 8_000
    x = np.tile(0.1 * np.random.default_rng(4).standard_normal(8_000), 74)
    x[playing:] *= 0.1
    for second, counts in ((58, True), (61, False), (63, True), (73, False)):
        y = x.copy()
        y[second * 8_000 : second * 8_000 + 4_000] *= 3.0
        found = measure_distance(x, y, rate_hz, playing_frames=playing)
        assert (found.total > 1.0) == counts
        assert (found.tail > 1.0) == (second == 63)


def test_silence_is_itself_and_far_from_sounds() -> None:
    silent, sounding = features(np.zeros((1, PLAYING))), features(sound(1))
    assert sound_distance(silent, silent) == SoundDistance(0.0, 0.0, 0.0, 0.0)
    assert 10.0 < sound_distance(silent, sounding).total < 100.0
    stereo = features(np.zeros((2, PLAYING)))
    assert sound_distance(silent, stereo).total < 0.02
    found = distance_matrix([silent, sounding, stereo])
    assert np.isfinite(found).all()


def shaken(one: SoundFeatures, seed: int, by_db: float) -> SoundFeatures:
    """The same with its levels moved here and there."""
    rng = np.random.default_rng(seed)
    moved = {
        name: (a.astype(np.float64) + by_db * rng.standard_normal(a.shape)).astype(np.float16)
        for name, a in one.to_arrays().items()
        if name != "sound"
    }
    return dataclasses.replace(one, **moved)


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 1000), st.floats(0.0, 30.0)), min_size=3, max_size=3))
@settings(max_examples=40, deadline=None)
def test_a_metric(drawn: list[tuple[int, int, float]]) -> None:
    a, b, c = (shaken(some()[k], seed, by_db) for k, seed, by_db in drawn)
    ab, ba, bc, ac = (sound_distance(*pair) for pair in ((a, b), (b, a), (b, c), (a, c)))
    assert ab == ba
    assert sound_distance(a, a).total == 0.0
    for name in ("total", "spectrum", "modulation", "tail"):
        assert getattr(ac, name) <= (getattr(ab, name) + getattr(bc, name)) * (1.0 + 1e-12)
    assert ab.total == max(ab.spectrum, ab.modulation, ab.tail)


class Loaded(Sequence[SoundFeatures]):
    """Features that are made anew each time they are asked for, and counted."""

    def __init__(self) -> None:
        self.asked = 0

    def __len__(self) -> int:
        return len(some())

    def __getitem__(self, index: int) -> SoundFeatures:  # type: ignore[override]
        self.asked += 1
        return SoundFeatures.from_arrays(some()[index].to_arrays())

    def __iter__(self) -> Iterator[SoundFeatures]:
        raise AssertionError("would hold them all")


@pytest.mark.parametrize("tile_rows", [1, 2, 4, 100])
def test_a_matrix_is_its_pairs(tile_rows: int, monkeypatch: pytest.MonkeyPatch) -> None:
    n = len(some())
    one_by_one = np.array([[sound_distance(a, b).total for b in some()] for a in some()])
    row_bytes = 8 * steps.layout_of(some()[0], 2).size
    monkeypatch.setattr(matrix, "TILE_BYTES", tile_rows * row_bytes)
    monkeypatch.setattr(matrix, "ROWS_AT_ONCE", 2)
    told: list[tuple[int, int]] = []
    loaded = Loaded()
    found = distance_matrix(loaded, threads=2, progress=lambda done, of: told.append((done, of)))
    # A pair of one channel each is laid out as two equal ones here: the largest of equal terms is the same.
    np.testing.assert_array_equal(found, one_by_one)
    np.testing.assert_array_equal(found, distance_matrix(some(), threads=1))
    assert told[-1] == (n * (n - 1) // 2,) * 2
    assert sorted(told) == told
    tiles = -(-n // tile_rows)
    assert loaded.asked <= 1 + n + tiles * n


def test_matrices_of_none_and_one() -> None:
    assert distance_matrix([]).shape == (0, 0)
    assert distance_matrix(some(1)).tolist() == [[0.0]]


def test_refusals() -> None:
    with pytest.raises(AudioError, match="3 channels, allowed 1 or 2"):
        SoundMeter(RATE_HZ, 3, PLAYING, 0)
    with pytest.raises(AudioError, match="0 frames of playing"):
        SoundMeter(RATE_HZ, 1, 0, 0)
    with pytest.raises(AudioError, match="sample rate 4000 Hz, wanted 8000"):
        SoundMeter(4_000.0, 1, PLAYING, 0)
    with pytest.raises(AudioError, match=r"chunk of shape \(2, 8\), wanted \(1, frames\)"):
        SoundMeter(RATE_HZ, 1, PLAYING, 0).add(np.zeros((2, 8)))
    x = sound(1)
    x[0, 500] = np.nan
    with pytest.raises(AudioError, match="not finite"):
        features(x, lufs=-20.0)
    shorter = dataclasses.replace(some()[0], playing_frames=PLAYING - 1)
    with pytest.raises(AudioError, match="19999 frames of playing at 16000 Hz beside 20000 frames at 16000 Hz"):
        sound_distance(some()[0], shorter)
    with pytest.raises(AudioError, match="audio of shape"):
        measure_distance(0.0, np.zeros(8), RATE_HZ)


def test_one_signature_each() -> None:
    some()
    measure_distance(np.zeros(100, np.float32), np.ones((100, 2)), RATE_HZ)
    distance_matrix(some())
    assert frames.band_powers.signature_count == 1
    assert steps.steps_between.signature_count == 1
    assert matrix.tile_of_distances.signature_count == 1


def partial_raised(rate_hz: float) -> float:
    """Distance by a partial raised by 6 dB, 10 dB under another."""
    t = np.arange(round(rate_hz)) / rate_hz
    low, high = (0.1 * np.sin(2.0 * np.pi * freq_hz * t) for freq_hz in (440.0, 1760.0))
    return measure_distance(low + 0.3 * high, low + 0.6 * high, rate_hz).spectrum


@pytest.mark.parametrize("rate_hz", [8_000.0, 44_100.0, 96_000.0, 192_000.0])
def test_rates_make_little_difference(rate_hz: float) -> None:
    # Frames are up to a third longer or shorter than at 48 kHz.
    assert partial_raised(rate_hz) == pytest.approx(partial_raised(48_000.0), rel=0.1)


@pytest.mark.parametrize("rate_hz", [8_000.0, 44_100.0, 192_000.0])
def test_pitch_is_heard_at_all_rates(rate_hz: float) -> None:
    # The limen is 3 to 9 cents: Wier, Jesteadt and Green, JASA 61, 1977, from memory.
    t = np.arange(round(rate_hz)) / rate_hz

    def note(cents: float) -> Audio:
        phase = 2.0 * np.pi * 440.0 * 2.0 ** (cents / 1200.0) * t
        return np.clip((0.95 - t) / 0.1, 0.0, 0.1) * sum(np.sin(k * phase) / k for k in range(1, 9))

    assert measure_distance(note(0.0), note(1.0), rate_hz).spectrum < 0.5
    assert measure_distance(note(0.0), note(9.0), rate_hz).spectrum > 1.0
