"""Boxes with known settings, 20 dB over noise: what is measured of them is what was set."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.batch.pair.measuring import measure_sounds
from chainsim.batch.pair.recordings import Pair
from chainsim.batch.pair.report import PairReport
from chainsim.errors import AudioError
from chainsim.measure.pair.alignment import without_drift
from chainsim.measure.pair.figure import Figure
from chainsim.units import Array
from tests.measure.pair_sounds import DRY, RATE_HZ, boxed, bursts, horn, noisy


def measured(dry: Array, wet: Array) -> PairReport:
    return measure_sounds(Pair(dry, noisy(wet, dry.size), RATE_HZ))


def holds(figure: Figure, true: float) -> bool:
    return figure.low <= true <= figure.high


@pytest.mark.parametrize("dry", DRY)
def test_latency_gain_and_noise(dry: str) -> None:
    x = DRY[dry]()
    wet = boxed(x, type="gain", gain_db=-4.3, latency_ms=7.3125)  # 351 samples at 48 kHz
    report = measured(x, wet)
    assert report.alignment.latency_samples.value == pytest.approx(351.0, abs=0.1)
    assert holds(report.alignment.latency_samples, 351.0)
    assert report.gain_db.value == pytest.approx(-4.3, abs=0.1)
    # white noise 20 dB under the wet sound's rms; the rests are its own
    true_db = 20.0 * np.log10(np.sqrt(np.mean(wet[: x.size] ** 2))) - 20.0
    assert report.noise.of_all.value == pytest.approx(true_db, abs=0.5)
    assert not report.alignment.inverted
    for figure in (
        report.echoes.delay_ms, report.tail.decay_s, report.gating.threshold_db, report.alignment.drift_ppm,
        report.compression.ratio,
    ):  # fmt: skip
        assert not figure.found
    assert report.modulation is None
    assert report.notes == ()


@pytest.mark.parametrize("dry", DRY)
def test_delay(dry: str) -> None:
    x = DRY[dry]()
    wet = boxed(x, type="delay", time_ms=312.4, feedback_percent=45.0, dry_db=-2.0, wet_db=-8.0)
    report = measured(x, wet)
    assert report.alignment.latency_samples.value == pytest.approx(0.0, abs=0.1)
    assert report.gain_db.value == pytest.approx(-2.0, abs=0.1)
    assert report.echoes.delay_ms.value == pytest.approx(312.4, abs=0.1)
    # 0.45, less what the cuts at 80 Hz and 8 kHz take between 300 Hz and 2.5 kHz: at 1 kHz 0.7 %, at 300 Hz 3.4 %
    assert 0.45 * 0.95 < report.echoes.feedback.value < 0.455
    assert report.echoes.first_gain.value == pytest.approx(10.0 ** (-8.0 / 20.0), rel=0.05)
    assert not report.tail.decay_s.found
    assert not report.dry_is_off


@pytest.mark.parametrize(
    ("dry", "settings"),
    [
        ("horn", {"space": "room", "decay_s": 0.6, "wet_db": -6.0}),
        ("noise", {"space": "room", "decay_s": 0.6, "wet_db": -6.0}),
        ("horn", {"space": "plate", "decay_s": 2.5, "wet_db": -6.0}),
        ("noise", {"space": "hall", "decay_s": 1.6, "wet_db": 0.0}),
    ],
)
def test_decay_time(dry: str, settings: dict[str, object]) -> None:
    x = DRY[dry]()
    report = measured(x, boxed(x, type="reverb", **settings))
    assert report.tail.decay_s.value == pytest.approx(float(str(settings["decay_s"])), rel=0.05)
    assert report.gain_db.value == pytest.approx(0.0, abs=0.1)
    assert report.alignment.latency_samples.value == pytest.approx(0.0, abs=0.1)
    assert not report.echoes.delay_ms.found


def test_gate() -> None:
    x = horn("ropewalk_trumpet")
    report = measured(x, boxed(x, type="noise_gate", threshold_db=-20.0, floor_db=-30.0))
    assert holds(report.gating.threshold_db, -20.0)
    assert report.gating.threshold_db.high - report.gating.threshold_db.low < 10.0
    assert report.gating.floor_db.low < -30.0 < report.gating.floor_db.high
    assert 1.0 < report.gating.attack_ms < 4.0  # 2 ms, to a factor of two


@pytest.mark.parametrize("dry", DRY)
def test_tremolo(dry: str) -> None:
    x = DRY[dry]()
    report = measured(x, boxed(x, type="tremolo", rate_hz=4.7, depth=0.5, phase=0.1))
    assert report.modulation == "tremolo"
    assert report.sway is not None
    assert report.sway.rate_hz.value == pytest.approx(4.7, abs=0.01)
    assert report.sway.depth.value == pytest.approx(0.5, abs=0.01)
    assert report.sway.phase == pytest.approx(0.1, abs=0.01)
    assert report.gain_db.value == pytest.approx(0.0, abs=0.1)


def test_vibrato() -> None:
    x = horn()
    report = measured(x, boxed(x, type="vibrato", rate_hz=5.3, depth_cents=30.0))
    assert report.modulation == "vibrato"
    assert report.sway is not None
    assert report.sway.rate_hz.value == pytest.approx(5.3, abs=0.02)
    assert holds(report.depth_cents, 30.0)
    # A = 1000 (2^(30/1200) - 1) / (2 pi 5.3) ms of sway about its middle: 25.2 samples, after the 2 newest
    assert report.alignment.latency_samples.value == pytest.approx(2.0 + 26.0, abs=1.5)


def test_compressor() -> None:
    x = horn()
    report = measured(x, boxed(x, type="compressor", threshold_db=-26.0, ratio=4.0, make_up_db=4.0))
    assert holds(report.compression.ratio, 4.0)
    assert report.compression.ratio.value == pytest.approx(4.0, rel=0.15)


def test_clocks_that_drift_apart_and_a_turned_polarity() -> None:
    x = horn()
    wet = without_drift(boxed(x, type="gain", gain_db=-4.3, latency_ms=7.3125), -80.0)
    report = measured(x, -wet)
    # half a sample over the 5 s: 2 ppm
    assert report.alignment.drift_ppm.value == pytest.approx(80.0, abs=2.1)
    assert report.alignment.latency_samples.value == pytest.approx(351.0, abs=0.5)
    assert report.gain_db.value == pytest.approx(-4.3, abs=0.1)
    assert report.alignment.inverted


def test_a_dry_sound_that_is_off_is_told() -> None:
    x = bursts()
    report = measured(x, boxed(x, type="delay", time_ms=150.0, feedback_percent=60.0, dry_db="off", wet_db=0.0))
    assert report.dry_is_off
    assert report.echoes.delay_ms.value == pytest.approx(150.0, abs=0.1)
    assert "the dry sound is off" in report.notes[0]


def test_swapped_recordings_are_told() -> None:
    x = horn()
    wet = boxed(x, type="gain", gain_db=-4.3, latency_ms=7.3125)
    report = measured(wet, x)
    assert report.alignment.latency_samples.value == pytest.approx(-351.0, abs=0.5)
    assert "7.31 ms earlier" in report.notes[0]


@pytest.mark.parametrize("wet", ["another horn", "backwards", "noise"])
def test_recordings_that_have_nothing_in_common_are_refused(wet: str) -> None:
    x = horn()
    others = {"another horn": horn("low_water_tenor_sax"), "backwards": x[::-1].copy(), "noise": bursts()}
    with pytest.raises(AudioError, match="nothing in common"):
        measured(x, others[wet])
