"""The reverb on its own: levels, sides, pre-delay, moving decay time, springs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, lfilter, sosfilt

from chainsim.dsp.fdn_spaces import SPACES, first_reflections, line_lengths
from chainsim.measure.decay import measure_band_decays
from tests.blocks.harness import prepared, run

FS = 48_000
WET = {"dry_db": "off", "wet_db": 0.0, "pre_delay_ms": 0.0, "low_cut_hz": 10.0}


def impulse(seconds: float, channels: int = 1, at: int = 0) -> np.ndarray:
    """A single sample in every channel."""
    x = np.zeros((channels, round(seconds * FS)))
    x[:, at] = 1.0
    return x


def noise(seconds: float, channels: int = 1, rate_hz: float = FS) -> np.ndarray:
    """White noise of power 1."""
    return np.random.default_rng(5).standard_normal((channels, round(seconds * rate_hz)))


def glide(start: float, end: float, at_s: float, seconds: float, ramp_s: float = 0.25) -> np.ndarray:
    """A row that goes from start to end as the engine would move it: evenly in the logarithm, through one pole."""
    wanted = np.where(np.arange(round(seconds * FS)) < at_s * FS, np.log(start), np.log(end))
    keep = np.exp(-1.0 / (ramp_s * FS))
    return np.exp(lfilter([1.0 - keep], [1.0, -keep], wanted, zi=[keep * np.log(start)])[0])


@pytest.mark.parametrize("space", SPACES)
@pytest.mark.parametrize("channels", [1, 2])
def test_cuts_and_reset_leave_the_bits_alone(space: str, channels: int) -> None:
    x = noise(0.1, channels)
    frames = x.shape[1]
    moving = {
        "decay_s": np.repeat([0.7, 0.1, 12.0], frames // 3),
        "width": np.linspace(0.0, 1.0, frames),
        "wet_db": np.linspace(-60.0, 0.0, frames),
    }
    block = prepared("reverb", channels=channels, moving=moving, space=space, size=0.5)
    whole = run(block, x, moving=moving)
    assert np.all(np.isfinite(whole))
    for size in (1, 7, 64, 509):
        block.reset()
        assert run(block, x, moving=moving, cuts=range(size, frames, size)).tobytes() == whole.tobytes()


def test_wet_off_passes_bit_by_bit() -> None:
    """By definition; one channel comes out as two."""
    x = noise(0.1, 2)
    assert run(prepared("reverb", channels=2, wet_db="off"), x).tobytes() == x.tobytes()
    mono = x[:1].copy()
    assert np.array_equal(run(prepared("reverb", wet_db="off"), mono), np.vstack([mono, mono]))


@pytest.mark.parametrize("space", ["hall", "room", "plate"])
@pytest.mark.parametrize("decay_s", [0.3, 2.0, 8.0])
def test_noise_comes_back_as_loud_as_it_went_in(space: str, decay_s: float) -> None:
    """By the definition of wet_db: power 1 in, power 1 out, once the decay has filled up."""
    block = prepared("reverb", space=space, decay_s=decay_s, high_ratio=1.0, **WET)
    y = run(block, noise(0.75 * decay_s + 2.0))[:, round(0.75 * decay_s * FS) :]
    # 45 dB of the decay, then 2 s of noise, whose level scatters by 0.02 dB; resonances leave more: 0.3 dB.
    assert 10.0 * np.log10(np.mean(y**2, axis=1)) == pytest.approx([0.0, 0.0], abs=0.3)


def test_one_channel_sounds_as_two_that_are_alike() -> None:
    x = noise(0.2)
    both = run(prepared("reverb", channels=2), np.vstack([x, x]))
    assert both.tobytes() == run(prepared("reverb"), x).tobytes()


@pytest.mark.parametrize("side", [0, 1])
def test_one_side_rings_on_both(side: int) -> None:
    x = noise(3.0, 2)
    x[1 - side] = 0.0
    y = run(prepared("reverb", channels=2, high_ratio=1.0, **WET), x)[:, FS:]
    level_db = 10.0 * np.log10(np.mean(y**2, axis=1))
    # Half the lines are fed, so 3.01 dB less than from both sides.
    assert level_db == pytest.approx([-3.01, -3.01], abs=0.4)


def test_width_0_is_in_the_middle() -> None:
    y = run(prepared("reverb", width=0.0, **WET), impulse(0.5))
    assert np.array_equal(y[0], y[1])
    assert y.any()


@pytest.mark.parametrize("space", SPACES)
def test_pre_delay_is_to_the_sample(space: str) -> None:
    still = {**WET, "space": space, "modulation": 0.0}
    soon = run(prepared("reverb", **still), impulse(0.5))
    late = run(prepared("reverb", **{**still, "pre_delay_ms": 123.0}), impulse(0.5))
    shift = round(0.123 * FS)
    assert not late[:, :shift].any()
    assert np.max(np.abs(late[:, shift:] - soon[:, :-shift])) < 1e-12 * np.max(np.abs(soon))


@pytest.mark.parametrize("space", SPACES)
@pytest.mark.parametrize("rate_hz", [8_000.0, 48_000.0, 192_000.0])
def test_size_is_that_of_the_paths(space: str, rate_hz: float) -> None:
    kind = SPACES[space]
    for size in (0.5, 1.0, 2.0):
        lengths = line_lengths(kind, size, rate_hz)
        assert len(set(lengths)) == 16
        low, high = (ms * size * rate_hz / 1000.0 for ms in kind.path_ms)
        # Primes stand some 10 apart, and no two paths are of one length.
        assert low * 0.93 - 20.0 < lengths.min() < lengths.max() < high * 1.07 + 130.0
        taps, gains = first_reflections(kind, size, rate_hz)
        assert taps.max() <= kind.first_ms[1] * size * rate_hz / 1000.0 + 0.5
        assert np.all(gains != 0.0)


def test_a_moved_decay_time_is_taken_up() -> None:
    seconds, at = 4.0, round(1.5 * FS)
    row = glide(0.4, 2.0, 0.0, seconds, 0.1)
    block = prepared("reverb", high_ratio=1.0, moving={"decay_s": row}, **WET)
    y = run(block, impulse(seconds, at=at), moving={"decay_s": row})
    t30 = [measure_band_decays(side, FS, [1000.0])[1000.0].t30_s for side in y]
    # ISO 3382-2 (from memory): T30 scatters by 0.55 / sqrt(707 Hz x 2 s) = 1.5 %; two channels, three deviations.
    assert np.mean(t30) == pytest.approx(2.0, rel=0.035)


@pytest.mark.parametrize(("start", "end"), [(0.3, 8.0), (8.0, 0.3)])
def test_a_moving_decay_time_does_not_zipper(start: float, end: float) -> None:
    """A steady 440 Hz tone has nothing over 3 kHz; steps in the loop would put clicks there."""
    x = 0.3 * np.sin(2.0 * np.pi * 440.0 / FS * np.arange(2 * FS))[None]
    row = glide(start, end, 1.0, 2.0)
    block = prepared("reverb", moving={"decay_s": row}, **WET)
    y = run(block, x, moving={"decay_s": row})[0]
    over = sosfilt(butter(8, 3_000.0, "high", fs=FS, output="sos"), y)[round(0.9 * FS) :]
    assert np.max(np.abs(over)) < 10.0 ** (-50.0 / 20.0) * np.std(y[round(0.9 * FS) :])


def test_a_spring_chirps_upwards() -> None:
    """The allpass delays K (1 - a^2) / (1 + a^2 + 2 a cos(2 pi f K / fs)) samples at f (derived from its phase)."""
    stretch, springs, a = 7, 32, 0.75
    y = run(prepared("reverb", space="spring", decay_s=2.0, modulation=0.0, **WET), impulse(0.068))  # one pass
    arrives, delayed = [], []
    for freq_hz in (1_000.0, 3_000.0):
        band = butter(2, (freq_hz - 120.0, freq_hz + 120.0), "bandpass", fs=FS, output="sos")
        power = np.sum(sosfilt(band, y) ** 2, axis=0)
        arrives.append(np.sum(power * np.arange(power.size)) / np.sum(power) / FS)
        turn = 2.0 * np.pi * freq_hz * stretch / FS
        delayed.append(springs * stretch * (1.0 - a * a) / (1.0 + a * a + 2.0 * a * np.cos(turn)) / FS)
    # Over a band of 240 Hz the delay at 3 kHz itself changes by 3 ms.
    assert arrives[1] - arrives[0] == pytest.approx(delayed[1] - delayed[0], abs=0.0025)


def test_a_held_tone_does_not_wobble() -> None:
    """With the dry sound 12 dB above: within 5 cents, the usual just noticeable difference."""
    from scipy.signal import hilbert

    for freq_hz in (220.0, 440.0):
        x = 0.3 * np.sin(2.0 * np.pi * freq_hz / FS * np.arange(8 * FS))[None]
        phase = np.unwrap(np.angle(hilbert(run(prepared("reverb"), x)[0])))[3 * FS : 7 * FS]
        # The ear takes some 50 ms to tell a pitch.
        hop = FS // 20
        cents = 1200.0 * np.log2((phase[hop:] - phase[:-hop]) * FS / (2.0 * np.pi * hop * freq_hz))
        assert np.max(np.abs(cents)) < 5.0


def test_all_rates_down_to_8_khz() -> None:
    for rate_hz in (8_000.0, 22_050.0, 192_000.0):
        for space in SPACES:
            y = run(prepared("reverb", space=space, size=0.4, sample_rate_hz=rate_hz), noise(0.1, 1, rate_hz))
            assert np.all(np.isfinite(y))
            assert y.any()
