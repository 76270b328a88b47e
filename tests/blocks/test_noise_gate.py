"""The noise gate on its own: when it opens and closes, and that nobody hears it work."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.blocks.harness import prepared, run

FS = 48_000


def tone(level_db: float | np.ndarray, frames: int, freq_hz: float = 440.0) -> np.ndarray:
    """One channel of a sine whose peak level is `level_db`."""
    return (10.0 ** (np.asarray(level_db) / 20.0) * np.sin(2.0 * np.pi * freq_hz * np.arange(frames) / FS))[None]


def closings(gain: np.ndarray) -> int:
    """How often the gain leaves 1."""
    return int(np.sum((gain[1:] < 1.0) & (gain[:-1] == 1.0)))


def notes(seed: int = 1) -> np.ndarray:
    """Two channels of notes with noise between them."""
    rng = np.random.default_rng(seed)
    level_db = np.where(np.arange(FS) % 12_000 < 6000, -12.0, -90.0)
    return np.vstack([tone(level_db, FS, f)[0] + 1e-4 * rng.standard_normal(FS) for f in (233.0, 350.0)])


@pytest.mark.parametrize("look_ahead_ms", [0.0, 3.0])
@pytest.mark.parametrize("size", [1, 7, 64, 509])
def test_cuts_and_reset_leave_the_bits_alone(size: int, look_ahead_ms: float) -> None:
    x = np.ascontiguousarray(notes()[:, 2000:10_000])
    moving = {"threshold_db": np.linspace(-60.0, -20.0, 8000), "floor_db": np.linspace(-40.0, -20.0, 8000)}
    block = prepared("noise_gate", channels=2, moving=moving, look_ahead_ms=look_ahead_ms, hold_ms=5.0, release_ms=9.0)
    whole, gain = run(block, x, moving=moving, readings=True)
    block.reset()
    cut, cut_gain = run(block, x, moving=moving, cuts=range(size, 8000, size), readings=True)
    assert closings(gain[0]) >= 1
    assert cut.tobytes() == whole.tobytes()
    assert cut_gain.tobytes() == gain.tobytes()


def test_open_gate_passes_bit_by_bit() -> None:
    x = tone(-12.0, FS)
    y, gain = run(prepared("noise_gate", threshold_db=-40.0), x, readings=True)
    opened = int(np.argmax(gain[0] == 1.0))
    assert 0 < opened < 0.03 * FS
    assert y[:, opened:].tobytes() == x[:, opened:].tobytes()


@pytest.mark.parametrize(("floor_db", "gain"), [("off", 0.0), (-40.0, 0.01), (-6.0, 10.0 ** (-6.0 / 20.0))])
def test_closed_gate_has_the_gain_of_its_floor(floor_db: float | str, gain: float) -> None:
    x = np.concatenate([tone(-12.0, FS // 4), tone(-70.0, FS * 2)], axis=1)
    y = run(prepared("noise_gate", floor_db=floor_db, threshold_db=-40.0), x)
    assert np.array_equal(y[:, -1000:], gain * x[:, -1000:])


@pytest.mark.parametrize("phase", [0.0, 0.7, 2.1])
def test_opening_and_closing_have_no_step_and_no_corner(phase: float) -> None:
    attack_ms, release_ms = 2.0, 40.0
    level = np.where((np.arange(FS) > 5000 + 20 * phase) & (np.arange(FS) < 20_000), -12.0, -80.0)
    block = prepared("noise_gate", floor_db="off", attack_ms=attack_ms, release_ms=release_ms, hold_ms=0.0)
    _, told = run(block, tone(level, FS, 700.0), readings=True)
    gain = told[0]
    assert gain.max() == 1.0
    assert gain[-1] == 0.0
    # Step response of two equal one-poles, 1 - (1 + t/tau) exp(-t/tau): steepest slope 1 / (e tau) at t = tau, largest
    # curvature 1 / tau^2 at t = 0; tau = attack / 2.1462. Derived.
    tau = attack_ms / 1000.0 * FS / 2.1462
    assert np.abs(np.diff(gain)).max() < 1.03 / (math.e * tau)
    assert np.abs(np.diff(gain, 2)).max() < 1.03 / tau**2
    tau = release_ms / 1000.0 * FS / 2.1462
    assert np.diff(gain).min() > -1.03 / (math.e * tau)


def test_opening_on_a_tone_does_not_click() -> None:
    x = tone(-12.0, 9600, 300.0)
    x[:, :4000] = 0.0
    y = run(prepared("noise_gate", floor_db="off", attack_ms=2.0), x)
    # A hard switch at the crest of the tone spreads over all frequencies: what of it remains above 5 kHz?
    hard = x.copy()
    hard[:, :4040] = 0.0

    def treble(z: np.ndarray) -> float:
        spectrum = np.abs(np.fft.rfft(z[0, 3800:6200] * np.hanning(2400))) ** 2
        return float(spectrum[250:].sum())

    assert 10.0 * math.log10(treble(y) / treble(hard)) < -30.0


@pytest.mark.parametrize("tail_db", range(-14, 7))
def test_wavering_breath_noise_closes_it_once_a_note(tail_db: int) -> None:
    rng = np.random.default_rng(100 + tail_db)
    gate_db, note, tail = -50.0, FS // 2, FS * 3 // 2
    wobble = np.sin(2.0 * np.pi * 3.0 * np.arange(tail) / FS)
    # White noise peaks about 11 dB over its rms in the gate's 15 ms, so its peak envelope hovers about `tail_db`.
    breath = 10.0 ** ((gate_db + tail_db - 11.0 + wobble) / 20.0) * rng.standard_normal(tail)
    silence = np.zeros(FS // 2)
    one = np.concatenate([tone(-15.0, note)[0], breath, silence])
    _, told = run(prepared("noise_gate", threshold_db=gate_db), np.concatenate([one, one])[None], readings=True)
    assert closings(told[0]) == 2


def test_listens_to_its_detector() -> None:
    x = notes()[:1]
    still = np.full((1, FS), 1e-6)
    shut, told = run(prepared("noise_gate", floor_db="off"), x, detector=still, readings=True)
    assert not shut.any()
    assert not told.any()
    _, told = run(prepared("noise_gate", floor_db="off"), still, detector=x, readings=True)
    assert told.max() == 1.0


def test_one_gain_for_both_channels() -> None:
    x = np.vstack([tone(-12.0, 9600)[0], tone(-70.0, 9600)[0]])
    y = run(prepared("noise_gate", channels=2), x)
    assert np.array_equal(y[:, -1000:], x[:, -1000:])


@pytest.mark.parametrize(("low_cut_hz", "opens"), [(10.0, True), (200.0, False)])
def test_low_cut_keeps_rumble_from_opening_it(low_cut_hz: float, opens: bool) -> None:
    block = prepared("noise_gate", threshold_db=-40.0, detector_low_cut_hz=low_cut_hz)
    _, told = run(block, tone(-20.0, FS, 20.0), readings=True)
    assert (told[0, FS // 2 :] == 1.0).all() == opens
    assert (told[0, FS // 2 :].max() > 0.5) == opens


def test_low_note_keeps_it_open_without_hold() -> None:
    freq_hz = 69.3  # Db2: a baritone saxophone's lowest B flat
    t = np.arange(FS) / FS
    pulses = 0.1 * np.exp(-((np.modf(t * freq_hz)[0] - 0.5) ** 2) / 0.002)
    block = prepared("noise_gate", threshold_db=-30.0, hold_ms=0.0)
    _, told = run(block, pulses[None], readings=True)
    assert closings(told[0]) == 0
    assert told[0, -1] == 1.0


def test_look_ahead_keeps_the_attack_and_is_reported() -> None:
    x = tone(-12.0, 9600)
    x[:, :4800] = 0.0
    block = prepared("noise_gate", look_ahead_ms=10.0, attack_ms=0.5, floor_db="off")
    y = run(block, x)
    assert block.latency_samples == 480.0  # 10 ms at 48 kHz
    assert np.max(np.abs(y[:, 480:] - x[:, :-480])) < 1e-5
    late = run(prepared("noise_gate", attack_ms=0.5, floor_db="off"), x)
    assert np.max(np.abs(late - x)) > 0.01


def test_threshold_may_move() -> None:
    moving = {"threshold_db": np.where(np.arange(FS) < FS // 2, -20.0, -40.0)}
    _, told = run(prepared("noise_gate", moving=moving), tone(-30.0, FS), moving=moving, readings=True)
    assert told[0, FS // 2 - 1] < 0.0011
    assert told[0, -1] == 1.0


@pytest.mark.parametrize("sample_rate_hz", [8000.0, 192_000.0])
def test_finite_and_never_amplifying(sample_rate_hz: float) -> None:
    rng = np.random.default_rng(3)
    frames = 8000
    moving = {"threshold_db": rng.uniform(-96.0, 0.0, frames), "floor_db": rng.uniform(-96.0, 0.0, frames)}
    x = 1000.0 * rng.standard_normal((2, frames))
    x[:, frames // 2 :] *= 1e-8
    block = prepared("noise_gate", channels=2, sample_rate_hz=sample_rate_hz, moving=moving, hold_ms=0.0, attack_ms=0.1)
    y = run(block, x, moving=moving)
    assert np.isfinite(y).all()
    assert (np.abs(y) <= np.abs(x)).all()
