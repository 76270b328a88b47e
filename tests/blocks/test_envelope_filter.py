"""The envelope filter on its own: where the horn's level takes the cutoff, and what that does to the sound."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.blocks.harness import prepared, run

FS = 48_000


def tone(level_db: float | np.ndarray, frames: int, freq_hz: float = 220.0) -> np.ndarray:
    """One channel of a sine whose peak level is `level_db`."""
    return (10.0 ** (np.asarray(level_db) / 20.0) * np.sin(2.0 * np.pi * freq_hz * np.arange(frames) / FS))[None]


def horn(level_db: float, frames: int, freq_hz: float) -> np.ndarray:
    """A horn-like tone: partials even up to about 1 kHz, then falling 12 dB an octave; with the given peak level."""
    phase = 2.0 * np.pi * freq_hz * np.arange(frames) / FS
    partials = range(1, int(8000.0 / freq_hz))
    x = np.sum([np.sin(n * phase + 0.3 * n * n) / (1.0 + (n * freq_hz / 1000.0) ** 2) for n in partials], axis=0)
    return (10.0 ** (level_db / 20.0) * x / np.abs(x).max())[None]


def cutoff(x: np.ndarray, **settings: object) -> np.ndarray:
    """Cutoff in Hz, sample by sample."""
    return run(prepared("envelope_filter", channels=len(x), **settings), x, readings=True)[1][0]  # type: ignore[arg-type]


@pytest.mark.parametrize("size", [1, 7, 64, 509])
@pytest.mark.parametrize("response", ["low pass", "notch"])
def test_cuts_and_reset_leave_the_bits_alone(response: str, size: int) -> None:
    frames = 4000
    rng = np.random.default_rng(4)
    x = np.vstack([tone(np.linspace(-40.0, -3.0, frames), frames)[0], 0.1 * rng.standard_normal(frames)])
    moving = {
        "sweep_low_hz": np.linspace(100.0, 400.0, frames),
        "sweep_high_hz": np.linspace(3000.0, 1000.0, frames),
        "q": np.linspace(0.5, 20.0, frames),
        "sensitivity_db": np.linspace(0.0, 12.0, frames),
    }
    block = prepared("envelope_filter", channels=2, moving=moving, response=response)
    whole, told = run(block, x, moving=moving, readings=True)
    block.reset()
    cut, cut_told = run(block, x, moving=moving, cuts=range(size, frames, size), readings=True)
    assert cut.tobytes() == whole.tobytes()
    assert cut_told.tobytes() == told.tobytes()


@pytest.mark.parametrize(
    ("level_db", "direction", "expected_hz"),
    [
        (-200.0, "up", 250.0),
        (-6.0, "up", 4000.0),
        (6.0, "up", 4000.0),
        (-12.0412, "up", 250.0 * 16.0**0.49883),  # half the gain of full: half the octaves; 10^(-6.0412/20) = 0.49883
        (-200.0, "down", 4000.0),
        (-6.0, "down", 250.0),
        (-12.0412, "down", 4000.0 / 16.0**0.49883),
    ],
)
def test_level_opens_the_sweep_in_octaves(level_db: float, direction: str, expected_hz: float) -> None:
    settings = {"sweep_low_hz": 250.0, "sweep_high_hz": 4000.0, "sensitivity_db": 6.0, "direction": direction}
    found = cutoff(tone(level_db, FS, 1000.0), **settings)
    assert found[-1] == pytest.approx(expected_hz, rel=2e-3)


def test_sensitivity_off_leaves_the_filter_at_rest() -> None:
    assert np.allclose(cutoff(tone(-3.0, FS), sensitivity_db="off", sweep_low_hz=300.0), 300.0, rtol=1e-12)


def test_every_tongued_note_sweeps() -> None:
    # Eighths at 120 beats a minute, 150 ms sounding and 100 ms not.
    level_db = np.where(np.arange(2 * FS) % 12_000 < 7200, -6.0, -60.0)
    octaves = np.log2(cutoff(tone(level_db, 2 * FS)))
    for start in range(12_000, 2 * FS, 12_000):
        assert octaves[start + 2400] - octaves[start] > 1.5
        assert octaves[start + 7200] - octaves[start + 11_999] > 1.5


@pytest.mark.parametrize("freq_hz", [65.4, 87.3, 116.5])
def test_low_notes_do_not_buzz_the_cutoff(freq_hz: float) -> None:
    cents = 1200.0 * np.log2(cutoff(horn(-12.0, FS, freq_hz))[FS // 2 :])
    assert cents.max() - cents.min() < 20.0  # a resonance moved by a fifth of a semitone: under what the ear notices


@pytest.mark.parametrize("q", [4.0, 12.0, 30.0])
@pytest.mark.parametrize("response", ["low pass", "band pass", "high pass"])
def test_compensation_keeps_the_loudness_whatever_the_resonance(response: str, q: float) -> None:
    frames = FS
    scale = np.concatenate([horn(-12.0, FS // 8, f) for f in 174.6 * 2.0 ** (np.arange(8) / 8.0)], axis=1)
    swell = tone(-6.0 - 20.0 * np.abs(np.linspace(-1.0, 1.0, frames)), frames)

    def power_db(**settings: object) -> float:
        y = run(prepared("envelope_filter", response=response, **settings), scale, detector=swell)  # type: ignore[arg-type]
        return 10.0 * math.log10(float(np.mean(y**2)))

    plain = power_db(q=1.0)
    kept, bare = abs(power_db(q=q) - plain), abs(power_db(q=q, level_compensated=False) - plain)
    assert kept < 3.0
    assert bare > kept


def test_listens_to_its_detector_and_takes_the_louder_channel() -> None:
    x, loud = tone(-40.0, FS), tone(-3.0, FS)
    _, told = run(prepared("envelope_filter"), x, detector=loud, readings=True)
    assert np.array_equal(told[0], cutoff(loud))
    assert np.array_equal(cutoff(np.vstack([x[0], loud[0]])), cutoff(loud))


@pytest.mark.parametrize("sample_rate_hz", [8000.0, 48_000.0, 192_000.0])
@pytest.mark.parametrize("response", ["low pass", "band pass", "high pass", "notch"])
def test_finite_under_noise_on_every_setting(response: str, sample_rate_hz: float) -> None:
    rng = np.random.default_rng(6)
    frames, top_hz = 20_000, min(20_000.0, 0.45 * sample_rate_hz)
    moving = {
        "sweep_low_hz": rng.uniform(20.0, top_hz, frames),
        "sweep_high_hz": rng.uniform(20.0, top_hz, frames),
        "q": rng.uniform(0.5, 50.0, frames),
        "sensitivity_db": rng.uniform(-24.0, 60.0, frames),
    }
    x = rng.standard_normal((2, frames))
    settings = {"response": response, "attack_ms": 0.1, "release_ms": 1.0}
    block = prepared("envelope_filter", channels=2, sample_rate_hz=sample_rate_hz, moving=moving, **settings)
    y, told = run(block, x, moving=moving, readings=True)
    assert np.isfinite(y).all()
    # Passive but for its resonance: at Q 50, k v1 stays within the input's order of magnitude, v2 within 50 times it.
    assert np.abs(y).max() < 50.0 * np.abs(x).max()
    assert told.min() >= 20.0 * (1.0 - 1e-12)
    assert told.max() <= 0.45 * sample_rate_hz


@pytest.mark.parametrize("sample_rate_hz", [44_100.0, 96_000.0])
@pytest.mark.parametrize("q", [0.5, 0.55, 0.7, 1.0, 4.0, 50.0])
@pytest.mark.parametrize("cutoff_hz", [300.0, 2000.0, 15_000.0])
def test_tail_is_a_bound_and_a_near_one(cutoff_hz: float, q: float, sample_rate_hz: float) -> None:
    block = prepared(
        "envelope_filter", sample_rate_hz=sample_rate_hz, sweep_low_hz=cutoff_hz, sweep_high_hz=cutoff_hz, q=q
    )
    quiet = round(block.tail_s * sample_rate_hz) + 4000
    driven = max(2000, quiet)
    x = np.zeros((1, driven + quiet))
    x[0, :driven] = 0.5 * np.sin(2.0 * np.pi * cutoff_hz * np.arange(driven) / sample_rate_hz)
    y = np.abs(run(block, x)[0])
    measured = int(np.flatnonzero(y > y.max() * 10.0 ** (-90.0 / 20.0))[-1]) - driven + 1
    reported = block.tail_s * sample_rate_hz
    assert measured <= reported
    assert reported <= 1.5 * measured + 4.0


def test_probe_settings_pass_the_sound_on_without_delay() -> None:
    block = prepared("envelope_filter", **type(prepared("envelope_filter")).latency_probe.settings)
    x = np.random.default_rng(8).standard_normal((1, 8192))
    y = run(block, x)
    assert block.latency_samples == 0.0
    spectrum = np.fft.rfft(y[0] * np.hanning(8192)) / np.fft.rfft(x[0] * np.hanning(8192))
    heard = np.fft.rfftfreq(8192, 1.0 / FS) >= type(block).latency_probe.low_hz
    assert np.median(np.abs(np.angle(spectrum[heard]))) < 1e-3
