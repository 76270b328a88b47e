"""The LFO as a controller: waves in closed form, by rate and by note, in any cutting."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError
from scipy import signal

from chainsim.block import Context
from chainsim.stage.lfo import Lfo, LfoSettings
from tests.stage.control_harness import RATE_HZ, run


def lfo(sample_rate_hz: float = RATE_HZ, seed: int = 0, **settings: Any) -> Lfo:
    """Make and prepare one."""
    block = Lfo(LfoSettings(**settings))
    block.prepare(Context(sample_rate_hz, {}, seed=seed))
    return block


def tempo(frames: int, bpm: float = 120.0, beat_0: float = 0.0, rate_hz: float = RATE_HZ) -> dict[str, np.ndarray]:
    beat = beat_0 + np.arange(frames) * bpm / (60.0 * rate_hz)
    return {"tempo": np.stack([np.full(frames, bpm), beat])}


# With a period of 2 pi, by another library; the triangle begins in the middle and rises, the square begins high.
WAVES = {
    "sine": np.sin,
    "triangle": lambda u: signal.sawtooth(u + np.pi / 2.0, 0.5),
    "saw": lambda u: signal.sawtooth(u),
    "square": lambda u: signal.square(u),
}


@pytest.mark.parametrize("shape", WAVES)
@pytest.mark.parametrize("phase", [0.0, 0.25, 0.9])
def test_position_is_the_wave_between_0_and_1(shape: str, phase: float) -> None:
    frames = 48_000
    (y,) = run(lfo(shape=shape, rate_hz=3.0, phase=phase), frames)
    turns = 3.0 * np.arange(frames) / RATE_HZ + phase
    wanted = 0.5 + 0.5 * WAVES[shape](2.0 * np.pi * turns)
    # Jumps, at whole turns and for the square at halves, are eased over 2 ms: 0.006 of a turn at 3 Hz.
    part = turns % (0.5 if shape == "square" else 1.0)
    steady = np.ones(frames, bool) if shape in ("sine", "triangle") else (part > 0.0061) & (part < part.max() - 1e-4)
    assert np.abs(y - wanted)[steady].max() < 1e-6
    assert steady.mean() > 0.98


def test_by_note_it_follows_the_beat_through_a_change_of_tempo() -> None:
    slow, fast = tempo(24_000, 60.0), tempo(24_000, 200.0, beat_0=0.5)
    rows = {"tempo": np.hstack([slow["tempo"], fast["tempo"]])}
    (y,) = run(lfo(note="1/8 dotted"), 48_000, rows)
    # One turn in 3/4 of a quarter.
    assert np.abs(y - (0.5 + 0.5 * np.sin(2.0 * np.pi * rows["tempo"][1] / 0.75))).max() < 1e-6


def test_a_beat_before_the_first_counts_backwards() -> None:
    rows = tempo(24_000, 120.0, beat_0=-2.3)
    (y,) = run(lfo(note="1/4", shape="triangle"), 24_000, rows)
    wanted = signal.sawtooth(2.0 * np.pi * rows["tempo"][1] + np.pi / 2.0, 0.5)
    assert np.abs(y - (0.5 + 0.5 * wanted)).max() < 1e-9


def test_sample_and_hold_takes_places_of_its_own_seed() -> None:
    def steps(seed: int) -> np.ndarray:
        return run(lfo(seed=seed, shape="sample and hold", rate_hz=20.0), 480_000)[0].reshape(200, 2_400)

    held = steps(3)
    assert np.ptp(held[:, 97:], axis=1).max() == 0.0  # after 2 ms of easing, 96 samples
    places = held[:, -1]
    assert 0.0 <= places.min() < 0.05
    assert 0.95 < places.max() <= 1.0
    # Uniform: mean 1/2, within 4 standard errors of sqrt(1/12) / sqrt(200).
    assert abs(places.mean() - 0.5) < 4.0 * np.sqrt(1.0 / 12.0 / 200.0)
    assert np.array_equal(steps(3), held)
    assert not np.array_equal(steps(4), held)
    assert Lfo.is_seeded(LfoSettings(shape="sample and hold"))
    assert not Lfo.is_seeded(LfoSettings())


@pytest.mark.parametrize("sample_rate_hz", [8_000.0, 44_100.0, 192_000.0])
def test_a_rate_is_the_same_at_every_sample_rate(sample_rate_hz: float) -> None:
    frames = int(sample_rate_hz)
    (y,) = run(lfo(sample_rate_hz, rate_hz=4.0), frames)
    assert np.abs(y - (0.5 + 0.5 * np.sin(2.0 * np.pi * 4.0 * np.arange(frames) / sample_rate_hz))).max() < 1e-6


@pytest.mark.parametrize("shape", [*WAVES, "sample and hold"])
@pytest.mark.parametrize("note", [None, "1/16 triplet"])
def test_any_cutting_gives_the_same_bits_within_0_and_1(shape: str, note: str | None) -> None:
    frames, block = 30_000, lfo(shape=shape, phase=0.3, **({"rate_hz": 7.3} if note is None else {"note": note}))
    rows = tempo(frames, 143.0)
    whole = run(block, frames, rows)
    assert whole.min() >= 0.0
    assert whole.max() <= 1.0
    for cuts in (range(1, frames, 509), [0, 0, 1, 1, 29_999], np.random.default_rng(4).integers(0, frames, 40)):
        assert run(block, frames, rows, cuts=sorted(int(c) for c in cuts)).tobytes() == whole.tobytes()
    late = {"tempo": rows["tempo"][:, 9_700:19_700]}
    assert run(block, 10_000, late, n0=9_700).tobytes() == np.ascontiguousarray(whole[:, 9_700:19_700]).tobytes()


def test_the_tempo_is_asked_for_only_by_note() -> None:
    assert Lfo.controls_for(LfoSettings(note="1/4")) == ("tempo",)
    assert Lfo.controls_for(LfoSettings(rate_hz=2.0)) == ()


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({"rate_hz": 2.0, "note": "1/4"}, "both rate_hz and note are given, allowed one of them"),
        ({"note": "1/8 swung"}, "allowed note values that are not swung"),
        ({"note": "1/3"}, 'no note value "1/3"'),
        ({"rate_hz": 31.0}, "allowed 0.01 ... 30 Hz"),
        ({"phase": 1.5}, "allowed 0 ... 1"),
        ({"shape": "sawtooth"}, "sample and hold"),
    ],
)
def test_bad_settings_are_refused(settings: dict[str, object], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        LfoSettings(**settings)
