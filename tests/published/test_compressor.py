"""The compressor against its static curve and the definition of its times, so the expected values are derived.

Source: D. Giannoulis, M. Massberg, J. D. Reiss, "Digital Dynamic Range Compressor Design - A Tutorial and Analysis",
JAES 60(6), 2012, 399-408.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from tests.blocks.harness import prepared, run

FS = 48_000

KNEE = {"threshold_db": -20.0, "ratio": 4.0, "knee_db": 10.0, "detector_low_cut_hz": 10.0}

STATIC = [
    (-25.0, -25.0),
    (-22.5, -22.734375),
    (-20.0, -20.9375),
    (-17.5, -19.609375),
    (-15.0, -18.75),
    (-10.0, -17.5),
    (0.0, -15.0),
]
"""Level in and out, dB: x + (1/R - 1)(x - T + W/2)^2 / (2 W) in the knee, T + (x - T)/R above; T -20, R 4, W 10."""


def sine(peak_db: float, freq_hz: float, frames: int, sample_rate_hz: float = FS) -> np.ndarray:
    return (10.0 ** (peak_db / 20.0) * np.sin(2.0 * np.pi * freq_hz * np.arange(frames) / sample_rate_hz))[None]


def gain_db(told: np.ndarray) -> np.ndarray:
    """The gain that was read, in dB."""
    return 20.0 * np.log10(told[0])


@pytest.mark.parametrize(("detector", "reads_lower_db"), [("peak", 0.0), ("rms", 10.0 * math.log10(2.0))])
@pytest.mark.parametrize(("in_db", "out_db"), STATIC)
def test_static_curve(detector: str, reads_lower_db: float, in_db: float, out_db: float) -> None:
    # A sine's rms is 3.01 dB under its peak, so it takes so much more of it to be at the same place of the curve.
    block = prepared("compressor", detector=detector, release_ms=20.0, attack_ms=1.0, **KNEE)
    _, told = run(block, sine(in_db + reads_lower_db, 997.0, FS // 3), readings=True)
    assert gain_db(told)[-2000:] == pytest.approx(out_db - in_db, abs=0.001)


@pytest.mark.parametrize(("ratio", "out_db"), [(1.0, -4.0), (1.5, -12.0 + 8.0 / 1.5), (100.0, -11.92)])
def test_corner_and_ratio(ratio: float, out_db: float) -> None:
    chosen = {"knee_db": 0.0, "attack_ms": 1.0, "release_ms": 20.0, "detector_low_cut_hz": 10.0}
    block = prepared("compressor", threshold_db=-12.0, ratio=ratio, **chosen)
    _, told = run(block, sine(-4.0, 997.0, FS // 4), readings=True)
    assert gain_db(told)[-1] == pytest.approx(out_db + 4.0, abs=0.001)


@pytest.mark.parametrize(("shape", "crest_db"), [("saw", 10.0 * math.log10(3.0)), ("square", 0.0)])
def test_rms_reads_below_peak_by_the_crest_factor(shape: str, crest_db: float) -> None:
    turns = np.modf(np.arange(FS) * 1997.0 / FS)[0]
    x = 0.5 * (2.0 * turns - 1.0 if shape == "saw" else np.where(turns < 0.5, 1.0, -1.0))[None]
    found = {}
    for detector in ("peak", "rms"):
        chosen = {"detector": detector, "rms_window_ms": 200.0, "attack_ms": 1.0, "detector_low_cut_hz": 10.0}
        _, told = run(prepared("compressor", threshold_db=-40.0, ratio=2.0, **chosen), x, readings=True)
        found[detector] = np.median(gain_db(told)[-4000:])
    # at 2:1 half of the difference in level is in the gain; by the low cut a square's crest is 0.09 dB higher
    assert 2.0 * (found["rms"] - found["peak"]) == pytest.approx(crest_db, abs=0.1)


@pytest.mark.parametrize("sample_rate_hz", [44_100.0, 96_000.0])
@pytest.mark.parametrize(("attack_ms", "release_ms"), [(1.0, 20.0), (10.0, 100.0), (80.0, 30.0)])
def test_attack_and_release_are_times_to_63_percent_in_db(
    attack_ms: float, release_ms: float, sample_rate_hz: float
) -> None:
    # 5 kHz, whose first crest comes after 0.05 ms; 24 dB over the threshold and 4 dB under the knee
    rate, hold_ms = sample_rate_hz, 5.0
    quiet, loud = sine(-45.0, 5000.0, int(0.1 * rate), rate), sine(-6.0, 5000.0, int(0.6 * rate), rate)
    x = np.hstack([quiet, loud, sine(-45.0, 5000.0, int(0.8 * rate), rate)])
    chosen = {"threshold_db": -30.0, "ratio": 4.0, "hold_ms": hold_ms, "attack_ms": attack_ms, "release_ms": release_ms}
    _, told = run(prepared("compressor", sample_rate_hz=rate, **chosen), x, readings=True)
    reduction_db = -gain_db(told)
    up, down = quiet.shape[1], quiet.shape[1] + loud.shape[1]
    full = reduction_db[down - 1]
    assert full == pytest.approx(18.0, abs=0.05)
    attack = np.argmax(reduction_db[up:] >= (1.0 - math.exp(-1.0)) * full) / rate * 1000.0
    release = np.argmax(reduction_db[down:] <= math.exp(-1.0) * full) / rate * 1000.0 - hold_ms
    assert attack == pytest.approx(attack_ms, rel=0.05, abs=0.06)
    assert release == pytest.approx(release_ms, rel=0.02)


def test_branching_not_decoupled() -> None:
    # 20 dB of reduction, attack 10 ms, release 100 ms: 36.8 % after 100 ms; decoupled it would be 110.5 ms, from
    # (tR exp(-t/tR) - tA exp(-t/tA)) / (tR - tA).
    x = np.where(np.arange(FS) < FS // 2, 1.0, 1e-3)[None] * np.where(np.arange(FS) % 2 == 0, 1.0, -1.0)
    chosen = {"threshold_db": -40.0, "ratio": 2.0, "knee_db": 0.0, "attack_ms": 10.0, "release_ms": 100.0}
    _, told = run(prepared("compressor", hold_ms=0.0, **chosen), x, readings=True)
    reduction_db = -gain_db(told)[FS // 2 - 1 :]
    assert reduction_db[0] == pytest.approx(20.0, abs=1e-3)
    assert reduction_db[4800] / reduction_db[0] == pytest.approx(math.exp(-1.0), rel=1e-3)


def test_rms_as_worked_out_with_scipy() -> None:
    """Squares under a triangle, the static curve and the recursion, written another way."""
    rng = np.random.default_rng(4)
    x = np.repeat(rng.uniform(0.0, 0.5, 12), 1000)[None] * rng.standard_normal((1, 12_000))
    chosen = {
        "detector": "rms",
        "rms_window_ms": 10.0,
        "attack_ms": 3.0,
        "release_ms": 40.0,
        "detector_low_cut_hz": 10.0,
    }
    _, told = run(prepared("compressor", threshold_db=-20.0, ratio=4.0, knee_db=0.0, **chosen), x, readings=True)
    g = math.tan(math.pi * 10.0 / FS) * math.sqrt(math.sqrt(2.0) - 1.0)
    b, a = np.array([1.0, -1.0]) / (1.0 + g), np.array([1.0, (g - 1.0) / (g + 1.0)])
    squares = lfilter(b, a, lfilter(b, a, x[0])) ** 2
    box = np.full(240, 1.0 / 240.0)
    level_db = 10.0 * np.log10(np.convolve(squares, np.convolve(box, box))[: x.shape[1]])
    wanted = 0.75 * np.maximum(level_db + 20.0, 0.0)
    held, expected = 0.0, np.empty(wanted.size)
    for i, want in enumerate(wanted):
        held += (1.0 - math.exp(-1.0 / (0.048 * (3000.0 if want > held else 40_000.0)))) * (want - held)
        expected[i] = held
    assert -gain_db(told) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("detector", ["peak", "rms"])
def test_low_note_is_not_distorted(detector: str) -> None:
    # 80 Hz, 18 dB over the threshold, with quick times; harmonics 2 to 10 against the fundamental
    chosen = {"detector": detector, "threshold_db": -24.0, "ratio": 8.0, "attack_ms": 2.0, "release_ms": 50.0}
    y = run(prepared("compressor", **chosen), sine(-6.0, 80.0, 2 * FS))
    spectrum = np.abs(np.fft.rfft(y[0, FS:]))[80:801:80]  # one second: a bin is 1 Hz
    thd = math.sqrt(float(np.sum(spectrum[1:] ** 2))) / spectrum[0]
    assert 20.0 * math.log10(thd) < {"peak": -120.0, "rms": -60.0}[detector]
    without = run(prepared("compressor", hold_ms=0.0, **{**chosen, "detector": "peak"}), sine(-6.0, 80.0, 2 * FS))
    spectrum = np.abs(np.fft.rfft(without[0, FS:]))[80:801:80]
    assert spectrum[2] / spectrum[0] > 0.01  # what the hold is there for
