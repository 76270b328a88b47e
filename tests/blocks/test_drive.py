"""The drive on its own: its law of loudness, its dry path, cuts, offset, silence."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import soundfile
from pydantic import ValidationError

from chainsim.blocks.drive import makeup_table
from chainsim.dsp.waveshaping import curve
from chainsim.measure.loudness import measure_loudness
from chainsim.resources import take_paths
from tests.blocks.harness import prepared, run

FS = 48_000
OPEN = {"low_cut_hz": 10.0, "high_cut_hz": 18_000.0, "tone_hz": 18_000.0}
"""All cuts off."""
STRAIGHT = {**OPEN, "drive_db": -24.0}
SHAPES = ("soft", "hard", "asymmetric", "folding")


def tone(peak: float, freq_hz: float = 441.0, rate_hz: float = FS) -> np.ndarray:
    """Half a second of one channel."""
    return peak * np.sin(2.0 * np.pi * freq_hz * np.arange(int(0.5 * rate_hz)) / rate_hz)[None]


def level_db(x: np.ndarray) -> float:
    """Root mean square of the middle, in dB."""
    return 10.0 * math.log10(np.mean(x[..., x.shape[-1] // 3 : -x.shape[-1] // 6] ** 2))


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("reference_db", [-30.0, -13.0, -3.0])
def test_a_sine_at_the_reference_stays_as_loud_at_any_drive(shape: str, reference_db: float) -> None:
    """The stated law. Harmonics over 18 kHz, of which the decimation keeps a part only, are 0.05 dB at the most."""
    x = tone(10.0 ** (reference_db / 20.0))
    for drive_db in (-24.0, -3.3, 6.0, 15.0, 26.7, 48.0):
        if shape == "folding" and drive_db + reference_db > 20.0:
            continue  # folded more than three times over, a good part lies beyond 18 kHz
        y = run(prepared("drive", shape=shape, drive_db=drive_db, reference_db=reference_db, **OPEN), x)
        assert level_db(y) == pytest.approx(level_db(x), abs=0.05), drive_db


@pytest.mark.parametrize("shape", SHAPES)
def test_a_horn_stays_about_as_loud(shape: str) -> None:
    """Integrated loudness of a take, by BS.1770: within 2.6 dB, as it gets brighter and soft notes come up."""
    x = soundfile.read(take_paths()["low_water_tenor_sax"], frames=2 * FS)[0][None]
    before = measure_loudness(x[0], FS).integrated_lufs
    for drive_db in (0.0, 24.0):
        y = run(prepared("drive", shape=shape, drive_db=drive_db), np.ascontiguousarray(x))
        assert measure_loudness(y[0], FS).integrated_lufs == pytest.approx(before, abs=3.0), drive_db
        assert np.abs(y).max() < 0.9


@pytest.mark.parametrize(("shape", "bent_db"), [("hard", 0.0), ("soft", 8.65e-7), ("folding", 4.32e-7)])
def test_little_drive_is_unity(shape: str, bent_db: float) -> None:
    """Small-signal gain A c: a sine of peak p leaves tanh lower by p^2/4 and sin by p^2/8, and c makes up for that.

    At -40 dB and -24 dB of drive p is 10^-3.2.
    """
    small_signal_db = -24.0 + 20.0 / math.log(10.0) * makeup_table(shape, 0.0, -40.0)[0]
    assert small_signal_db == pytest.approx(bent_db, abs=1e-8)
    x = tone(1e-4, 1_000.0)
    y = run(prepared("drive", shape=shape, reference_db=-40.0, **STRAIGHT), x)
    assert level_db(y) == pytest.approx(level_db(x), abs=1e-4)  # six filters, each flat to 5e-5 dB


@pytest.mark.parametrize("quality", ["fine", "fast"])
@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 96_000.0, 192_000.0])
def test_dry_and_driven_sound_cancel_where_the_curve_is_straight(rate_hz: float, quality: str) -> None:
    """AA-4: no comb. Up to 19 kHz, the end of the pass band at 44.1 kHz."""
    rng, size = np.random.default_rng(5), int(0.2 * rate_hz)
    spectrum = np.fft.rfft(rng.standard_normal(size) * np.hanning(size))
    spectrum[np.fft.rfftfreq(size, 1.0 / rate_hz) > 19_000.0] = 0.0
    x = 1e-5 * np.fft.irfft(spectrum, size)[None]
    for shape in SHAPES:
        given: dict[str, Any] = {"shape": shape, "quality": quality, "bias": 0.0, "reference_db": -40.0, **STRAIGHT}
        dry = run(prepared("drive", sample_rate_hz=rate_hz, **{**given, "dry_db": 0.0, "wet_db": "off"}), x)
        wet = run(prepared("drive", sample_rate_hz=rate_hz, **given), x)
        assert level_db(wet - dry) < level_db(dry) - 100.0, shape


def test_dry_path_is_bit_by_bit_but_later() -> None:
    x = np.random.default_rng(1).standard_normal((2, 2_000))
    block = prepared("drive", channels=2, dry_db=0.0, wet_db="off")
    y = run(block, x)
    late = int(block.latency_samples)
    assert late == block.latency_samples == 54  # 1.1 ms
    assert not y[:, :late].any()
    assert y[:, late:].tobytes() == x[:, :-late].tobytes()


def test_offset_of_the_asymmetric_curve_is_blocked() -> None:
    """The curve itself gives an offset: mean of tanh(1.78 sin t + 0.5) - tanh 0.5, about -0.2 before the makeup."""
    block = prepared("drive", shape="asymmetric", drive_db=18.0, bias=0.5, **OPEN)
    x = tone(10.0 ** (-13.0 / 20.0), 440.0)
    y = run(block, x)[0, -12_000:]  # 110 periods
    spectrum = np.abs(np.fft.rfft(y))
    assert spectrum[0] < 1e-3 * spectrum[110]
    assert spectrum[220] > 0.05 * spectrum[110]


CUE_S = 0.010
"""Time constant of a setting that a cue changes."""


@pytest.mark.parametrize("cue", [True, False])
@pytest.mark.parametrize(("before_db", "after_db"), [(30.0, 0.0), (48.0, -24.0), (0.0, 30.0), (6.0, 20.0)])
@pytest.mark.parametrize(
    ("shape", "bias", "over_db"),
    [
        ("soft", 0.0, 0.5),
        ("hard", 0.0, 0.5),
        ("asymmetric", 0.5, 0.5),
        ("asymmetric", 1.0, 1.0),
        ("asymmetric", 2.0, 1.0),
    ],
)
def test_a_drive_that_moves_makes_no_bump(
    shape: str, bias: float, over_db: float, before_db: float, after_db: float, cue: bool
) -> None:
    """By a cue, or by a pedal in 30 ms: no peak over that of every drive on the way, but for 0.5 dB.

    Or 1 dB for more than the usual bias: while an offset grows by 30 dB in 10 ms, its cut at 20 Hz comes after it.

    What is right is c(A) times the highest point of the curve, less its mean, which the offset's cut takes away. With a
    bias that is higher on the way than at either end, by up to 1.9 dB; without, the louder end is the highest.
    """
    peak, t = 10.0 ** (-13.0 / 20.0), np.arange(int(0.6 * FS)) / FS - 0.2
    way = 1.0 - np.exp(-np.maximum(t, 0.0) / CUE_S) if cue else np.clip(t / 0.03, 0.0, 1.0)
    row = before_db + (after_db - before_db) * way
    settings = {"shape": shape, "bias": bias, **OPEN}
    block = prepared("drive", moving={"drive_db": row}, **settings)
    x = peak * np.sin(2.0 * np.pi * 220.0 * t)[None]
    y = run(block, x, moving={"drive_db": row})[0, FS // 10 :]
    drives = 10.0 ** (np.linspace(before_db, after_db, 61)[:, None] / 20.0)
    bent = curve(SHAPES.index(shape), bias, drives * peak * np.sin(2.0 * np.pi * np.arange(1_000) / 1_000))
    bent -= bent.mean(axis=1, keepdims=True)
    right = peak / math.sqrt(2.0) * np.abs(bent).max(axis=1) / bent.std(axis=1)
    assert 20.0 * math.log10(np.abs(y).max() / right.max()) < over_db
    if bias == 0.0:
        assert right.max() == pytest.approx(max(right[0], right[-1]))
    # and each period is as loud as the law says
    periods = y[: y.size * 220 // FS * FS // 220]
    loud = np.sqrt(np.convolve(periods**2, np.full(1_200, 1.0 / 1_200.0), mode="valid"))  # 5.5 periods
    assert np.abs(20.0 * np.log10(loud * math.sqrt(2.0) / peak)).max() < (0.5 if bias == 0.0 else 1.0)


@pytest.mark.parametrize("quality", ["fine", "fast"])
@pytest.mark.parametrize("rate_hz", [44_100.0, 96_000.0])
def test_makeup_belongs_to_the_sample_it_is_applied_to(rate_hz: float, quality: str) -> None:
    """Where the curve is straight A c = 1: then nothing is heard of a drive that moves, at any latency."""
    x = tone(1e-5, 1_000.0, rate_hz)
    row = -24.0 + 24.0 * np.clip((np.arange(x.shape[1]) / rate_hz - 0.2) / 0.01, 0.0, 1.0)
    block = prepared(
        "drive", sample_rate_hz=rate_hz, quality=quality, reference_db=-40.0, moving={"drive_db": row}, **OPEN
    )
    y = run(block, x, moving={"drive_db": row}, cuts=[7, 9_000, 9_010])
    late = int(block.latency_samples)
    assert level_db(y[:, late:] - x[:, :-late]) < level_db(x) - 55.0


def test_makeup_is_found_at_the_steepest_drive_too() -> None:
    """A clipped sine, A = 10^2.4: its mean square by integrating A^2 sin^2 up to asin(1 / A), and 1 from there on."""
    a = 10.0**2.4
    square = 1.0 - 2.0 / math.pi * math.asin(1.0 / a)
    square += a * a / math.pi * (math.asin(1.0 / a) - math.sqrt(a * a - 1.0) / (a * a))
    found = makeup_table("hard", 0.0, 0.0)[-1]
    assert found == pytest.approx(-0.5 * math.log(2.0 * square), abs=2e-5)


@pytest.mark.parametrize("shape", SHAPES)
def test_silence_stays_silent(shape: str) -> None:
    block = prepared("drive", shape=shape, drive_db=48.0, bias=1.0)
    assert not run(block, np.zeros((1, 3_000))).any()


@pytest.mark.parametrize(
    ("settings", "at_hz"),
    [
        ({**STRAIGHT, "low_cut_hz": 500.0}, 500.0),
        ({**STRAIGHT, "high_cut_hz": 3_000.0}, 3_000.0),
        ({**STRAIGHT, "tone_hz": 2_000.0}, 2_000.0),
    ],
)
def test_each_cut_is_three_decibels_down_at_its_frequency(settings: dict[str, float], at_hz: float) -> None:
    x = np.zeros((1, FS))
    x[0, 0] = 1e-3
    response = np.fft.rfft(run(prepared("drive", reference_db=-40.0, **settings), x)[0] / 1e-3)
    assert 20.0 * math.log10(abs(response[int(at_hz)])) == pytest.approx(10.0 * math.log10(0.5), abs=1e-3)


def test_cuts_before_the_curve_keep_what_they_take_out_of_it() -> None:
    """A rumble of 40 Hz under a note makes tones 80 Hz to either side; the low cut takes it away before."""
    t = np.arange(FS) / FS
    x = (0.1 * np.sin(2.0 * np.pi * 1_000.0 * t) + 0.1 * np.sin(2.0 * np.pi * 40.0 * t))[None]
    beside = {}
    for low_cut_hz in (10.0, 800.0):
        y = run(prepared("drive", drive_db=20.0, **{**OPEN, "low_cut_hz": low_cut_hz}), np.tile(x, 2))[0, FS:]
        spectrum = np.abs(np.fft.rfft(y))
        beside[low_cut_hz] = 20.0 * math.log10(spectrum[[920, 1_080]].max() / spectrum[1_000])
    assert beside[10.0] > -20.0
    assert beside[800.0] < beside[10.0] - 25.0


def test_bias_without_asymmetry_is_told() -> None:
    cls = type(prepared("drive").settings)
    assert cls(shape="hard").idle() == {"bias": 'beside shape = "hard"'}
    assert cls(shape="asymmetric").idle() == {}


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"shape": "hrad"}, "soft"),
        ({"drive_db": 60.0}, r"allowed -24 \.\.\. 48 dB"),
        ({"reference_db": 3.0}, r"allowed -40 \.\.\. 0 dB"),
        ({"tone_hz": 20_000.0}, r"allowed 500 \.\.\. 18000 Hz"),
    ],
)
def test_wrong_settings_are_refused(settings: dict[str, object], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        prepared("drive", **settings)
