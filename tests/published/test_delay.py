"""The delay against closed forms, computed here."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import hilbert
from scipy.special import jv

from chainsim.block import Block, Io, Moving
from tests.blocks.harness import prepared

FS = 48_000.0
CLEAN = {"low_cut_hz": 10.0, "high_cut_hz": 18_000.0}
ECHOES = {**CLEAN, "dry_db": "off", "wet_db": 0.0}

# Quarters of each plain note value; dotted x 3/2, triplet x 2/3.
QUARTERS = {"2/1": 8.0, "1/1": 4.0, "1/2": 2.0, "1/4": 1.0, "1/8": 0.5, "1/16": 0.25, "1/32": 0.125, "1/64": 0.0625}
NOTE_VALUES = {
    f"{text} {word}".strip(): quarters * factor
    for text, quarters in QUARTERS.items()
    for word, factor in {"": 1.0, "dotted": 1.5, "triplet": 2.0 / 3.0}.items()
}


def rendered(block: Block, x: np.ndarray, *, bpm: float = 120.0) -> np.ndarray:
    """Mono x through the block in large spans, its settings standing still."""
    y = np.empty((1, len(x)))
    for a in range(0, len(x), 1 << 18):
        part = np.ascontiguousarray(x[None, a : a + (1 << 18)])
        n = part.shape[1]
        rows = {
            k: np.full(n, s.row_value(float(getattr(block.settings, k))))
            for k, s in block.settings.specs().items()
            if s.movable
        }
        io = Io(a, n, {"in": part}, {"tempo": np.full((2, n), bpm)}, Moving(rows), np.empty((1, n)), np.empty((0, n)))
        block.process(io)
        y[:, a : a + n] = io.y
    return y[0]


def impulse(frames: int, size: float = 1.0) -> np.ndarray:
    """A single sample at 0."""
    x = np.zeros(frames)
    x[0] = size
    return x


@pytest.mark.parametrize("bpm", [30.0, 61.3, 120.0, 137.0, 300.0])
@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0])
def test_echoes_come_within_a_sample_of_every_note_value(rate_hz: float, bpm: float) -> None:
    for note, quarters in NOTE_VALUES.items():
        spacing = 60.0 / bpm * quarters * rate_hz
        block = prepared("delay", sample_rate_hz=rate_hz, tempo_bpm=[bpm], note=note, feedback_percent=90.0, **ECHOES)
        count = 2 if spacing > 2e5 else 4
        y = rendered(block, impulse(int(count * spacing) + 20, 0.5), bpm=bpm)
        for k in range(1, count + 1):
            a = int((k - 0.5) * spacing)
            at = a + int(np.argmax(np.abs(y[a : int((k + 0.5) * spacing)])))
            assert abs(at - k * spacing) <= 1.0, (note, k)


@pytest.mark.parametrize(
    ("note", "bpm", "ms"),
    [  # derived
        ("1/4", 120.0, 500.0),
        ("1/8 dotted", 120.0, 375.0),
        ("1/4 triplet", 120.0, 333.333),
        ("1/8", 120.0, 250.0),
        ("1/8 triplet", 120.0, 166.667),
        ("1/16", 120.0, 125.0),
        ("1/4", 137.0, 437.956),
        ("1/8 dotted", 137.0, 328.467),
    ],
)
def test_fraction_of_a_sample_beyond_the_note_value(note: str, bpm: float, ms: float) -> None:
    y = rendered(
        prepared("delay", tempo_bpm=[bpm], note=note, feedback_percent=0.0, **ECHOES), impulse(48_000), bpm=bpm
    )
    n = np.arange(len(y))
    assert np.sum(n * y) / np.sum(y) == pytest.approx(ms * FS / 1000.0, abs=0.06)  # 0.001 ms, as the table is rounded


@pytest.mark.parametrize(
    ("ms", "gain", "t60_s"),
    [(375.0, 0.5, 3.7372), (250.0, 0.7, 4.8418), (500.0, 0.8, 15.478)],  # derived: 3 D / |log10 g|
)
def test_loop_decay(ms: float, gain: float, t60_s: float) -> None:
    spacing = round(ms * FS / 1000.0)
    block = prepared("delay", time_ms=ms, feedback_percent=100.0 * gain, **ECHOES)
    y = rendered(block, impulse(12 * spacing + 1, 0.5))
    level_db = 20.0 * np.log10(y[spacing::spacing] / 0.5)
    expected_db = 20.0 * math.log10(gain) * np.arange(12)
    assert np.max(np.abs(level_db - expected_db)) < 0.1
    slope_db_per_s = np.polyfit(np.arange(12) * ms / 1000.0, level_db, 1)[0]
    assert -60.0 / slope_db_per_s == pytest.approx(t60_s, rel=0.01)


@pytest.mark.parametrize(("rate_hz", "ms"), [(48_000.0, 41.0), (44_100.0, 40.0), (96_000.0, 333.25), (8_000.0, 1.0)])
def test_whole_delay_is_exact(rate_hz: float, ms: float) -> None:
    x = np.random.default_rng(5).uniform(-0.4, 0.4, 20_000)
    spacing = round(ms * rate_hz / 1000.0)
    x[-2 * spacing :] = 0.0
    block = prepared("delay", sample_rate_hz=rate_hz, time_ms=ms, feedback_percent=0.0, **ECHOES)
    y = rendered(block, np.concatenate([x, np.zeros(40_000)]))
    assert not y[:spacing].any()
    assert np.array_equal(y[spacing : spacing + len(x)], x)
    assert not y[spacing + len(x) :].any()


@pytest.mark.parametrize(
    ("freq_hz", "loss_db"),
    [(1_000.0, 0.0), (5_000.0, -0.003), (10_000.0, -0.165), (15_000.0, -1.440), (20_000.0, -6.669)],
)
def test_half_a_sample_by_lagrange_5(freq_hz: float, loss_db: float) -> None:
    y = rendered(prepared("delay", time_ms=100.5 / 48.0, feedback_percent=0.0, **ECHOES), impulse(200))
    response = np.sum(y * np.exp(-2j * math.pi * freq_hz / FS * (np.arange(len(y)) - 100.5)))
    assert 20.0 * math.log10(abs(response)) == pytest.approx(loss_db, abs=0.002)  # Laakso et al. 1996
    assert abs(np.angle(response)) < 1e-9  # symmetric about the middle


@pytest.mark.parametrize(
    ("depth_ms", "rate_hz", "up_cents", "down_cents"),
    [(1.0, 5.0, 53.55, -55.26), (2.0, 0.5, 10.84, -10.91), (0.5, 6.0, 32.33, -32.94)],  # derived: Doppler
)
def test_modulation_bends_the_pitch_as_a_moving_read(
    depth_ms: float, rate_hz: float, up_cents: float, down_cents: float
) -> None:
    frames = int(4 * FS)
    tone = 0.5 * np.sin(2.0 * np.pi * 1_000.0 / FS * np.arange(frames))
    block = prepared(
        "delay",
        time_ms=20.0,
        feedback_percent=0.0,
        modulation_depth_ms=depth_ms,
        modulation_rate_hz=rate_hz,
        **ECHOES,
    )
    phase = np.unwrap(np.angle(hilbert(rendered(block, tone))))
    cents = 1200.0 * np.log2(np.diff(phase)[9_600:-9_600] * FS / (2.0 * np.pi * 1_000.0))
    assert np.max(cents) == pytest.approx(up_cents, abs=0.3)
    assert np.min(cents) == pytest.approx(down_cents, abs=0.3)


def test_modulation_lines_are_bessel_functions() -> None:
    n = np.arange(int(1.2 * FS))
    index_1_ms = 1000.0 / (2.0 * np.pi * 320.0)
    for freq_hz, depth_ms in ((320.0, index_1_ms), (765.0, 0.38274 * 1000.0 / 765.0)):
        block = prepared(
            "delay",
            time_ms=50.0,
            feedback_percent=0.0,
            modulation_depth_ms=depth_ms,
            modulation_rate_hz=5.0,
            **ECHOES,
        )
        y = rendered(block, np.sin(2.0 * np.pi * freq_hz / FS * n))
        line = 2.0 * np.abs(np.fft.rfft(y[-48_000:])) / 48_000.0
        if freq_hz == 320.0:
            for order, size in enumerate([0.76520, 0.44005, 0.11490, 0.01956]):  # index 1
                assert line[320 + 5 * order] == pytest.approx(size, abs=1e-3)
                assert line[320 - 5 * order] == pytest.approx(abs(jv(order, 1.0)), abs=1e-3)
        else:
            assert line[765] < 1e-3  # index 2.4048, the first zero of J0; -60 dB


@pytest.mark.parametrize("ms", [1.0, 5.0])
def test_dry_and_one_echo_make_a_comb(ms: float) -> None:
    block = prepared("delay", time_ms=ms, feedback_percent=0.0, dry_db=0.0, wet_db=0.0, **CLEAN)
    response = np.abs(np.fft.rfft(rendered(block, impulse(48_000))))
    for k in range(3):
        assert response[round((2 * k + 1) * 500.0 / ms)] < 1e-9  # notches at (2 k + 1) / (2 t)
        assert 20.0 * math.log10(response[round(k * 1000.0 / ms)]) == pytest.approx(6.02, abs=0.001)
