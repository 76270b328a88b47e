"""Each part of the measures of a box against closed forms and scipy, without any block of ours."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, fftconvolve, sosfilt, sosfreqz

from chainsim.measure.pair.alignment import first_arrival, shifted, without_drift
from chainsim.measure.pair.compression import measure_compression
from chainsim.measure.pair.correlations import Correlations, even_run
from chainsim.measure.pair.decay import measure_tail_decay
from chainsim.measure.pair.deconvolution import Tap, deconvolve
from chainsim.measure.pair.echoes import measure_echoes
from chainsim.measure.pair.gain_track import track_gain
from chainsim.measure.pair.modulation import measure_tremolo, measure_vibrato
from chainsim.measure.pair.response import measure_response
from chainsim.units import Array

RATE_HZ = 16_000.0
RANDOM = np.random.default_rng(5)


def noise(seconds: float) -> Array:
    return 0.1 * np.random.default_rng(7).standard_normal(round(seconds * RATE_HZ))


def always(tap: Tap) -> bool:
    """Of noise, no tap comes of notes."""
    return True


def test_taps_of_a_known_response() -> None:
    x = noise(3.0)
    h = np.zeros(6000)
    h[[40, 2000, 4000]] = 0.8, -0.4, 0.2
    found = deconvolve(x, fftconvolve(x, h), RATE_HZ)
    taps, rest = found.taps()
    assert sorted((round(tap.lag), round(tap.gain, 2)) for tap in taps) == [(40, 0.8), (2000, -0.4), (4000, 0.2)]
    assert np.max(np.abs(rest)) < 0.01
    assert first_arrival(taps, RATE_HZ, always).lag == pytest.approx(40.0, abs=0.01)


@pytest.mark.parametrize("feedback", [0.0, 0.3, 0.7])
def test_echoes_of_a_feedback_comb(feedback: float) -> None:
    # y = x + 0.5 sum g^k x[n - (k + 1) D], the comb that feedback round a delay makes: D = 2400 samples, 150 ms
    x = noise(4.0)
    h = np.zeros(16 * 2400)
    h[0] = 1.0
    h[2400::2400] = 0.5 * feedback ** np.arange(15)
    found = deconvolve(x, fftconvolve(x, h), RATE_HZ)
    taps, rest = found.taps()
    echoes = measure_echoes(found, taps, rest, first_arrival(taps, RATE_HZ, always), -round(0.5 * RATE_HZ), always)
    assert echoes.delay_ms.value == pytest.approx(150.0, abs=0.02)
    assert echoes.first_gain.value == pytest.approx(0.5, abs=0.01)
    assert echoes.feedback.value == pytest.approx(feedback, abs=0.01)


def test_a_response_as_scipy_has_it() -> None:
    x = noise(8.0)
    sos = butter(2, (400.0, 3000.0), "bandpass", fs=RATE_HZ, output="sos")
    response = measure_response(x, sosfilt(sos, x) + 0.1 * noise(8.0)[::-1], RATE_HZ)
    inside = [band for band in response.bands if 300.0 < band.centre_hz < 4000.0 and band.gain_db.found]
    # a third octave's power gain, from the filter's own
    for band in inside:
        freq_hz = np.linspace(band.centre_hz * 10**-0.05, band.centre_hz * 10**0.05, 50)
        true_db = 10.0 * np.log10(np.mean(np.abs(sosfreqz(sos, freq_hz, fs=RATE_HZ)[1]) ** 2))
        assert band.gain_db.value == pytest.approx(true_db, abs=0.3), band.centre_hz
    assert len(inside) == 12  # 316 Hz to 3.98 kHz


def test_bands_that_the_dry_sound_does_not_reach_have_no_figure() -> None:
    x = sosfilt(butter(8, 1000.0, fs=RATE_HZ, output="sos"), noise(6.0))
    response = measure_response(x, 0.5 * x + 0.01 * noise(6.0)[::-1], RATE_HZ)
    for band in response.bands:
        if band.centre_hz > 3000.0:
            assert not band.gain_db.found
        elif 100.0 < band.centre_hz < 800.0:
            assert band.gain_db.value == pytest.approx(-6.02, abs=0.1)


@pytest.mark.parametrize("decay_s", [0.4, 1.2, 3.0])
def test_decay_of_exponential_noise(decay_s: float) -> None:
    # h = noise x exp(-6.9078 t / T): the definition of T60
    t = np.arange(round(1.2 * decay_s * RATE_HZ)) / RATE_HZ
    h = np.random.default_rng(11).standard_normal(t.size) * np.exp(-6.9078 * t / decay_s)
    h *= 0.3 / np.sqrt(np.sum(h**2))
    gate = np.arange(round(8.0 * RATE_HZ)) % round(1.6 * RATE_HZ) < 0.5 * RATE_HZ
    x = noise(8.0) * gate
    wet = fftconvolve(x, h)
    wet += 0.03 * np.std(wet) * np.random.default_rng(12).standard_normal(wet.size)
    found = measure_tail_decay(x, wet, RATE_HZ)
    assert found.decay_s.value == pytest.approx(decay_s, rel=0.05)
    assert found.decay_s.low < decay_s < found.decay_s.high
    assert found.share_db == pytest.approx(20.0 * np.log10(0.3), abs=2.0)


def test_no_decay_where_nothing_rings() -> None:
    x = noise(4.0)
    assert not measure_tail_decay(x, 0.5 * x + 0.05 * noise(4.0)[::-1], RATE_HZ).decay_s.found


def test_resampling_by_a_sine() -> None:
    t = np.arange(40_000) / RATE_HZ
    faster = np.sin(2.0 * np.pi * 3000.0 * t * (1.0 - 200e-6))
    y = without_drift(faster, 200.0)[100:-100]
    want = np.sin(2.0 * np.pi * 3000.0 * t * (1.0 - 200e-6) * (1.0 + 200e-6))[100 : 100 + y.size]
    assert np.max(np.abs(y - want)) < 1e-4


def test_a_delay_that_runs_away() -> None:
    x = noise(4.0)
    seen = Correlations.of(x, shifted(without_drift(x, -150.0), -20, x.size), RATE_HZ, 0)
    assert seen is not None
    run = even_run(seen)
    assert run.drift_ppm == pytest.approx(150.0, abs=1.0)
    assert run.middle == pytest.approx(20.0, abs=0.3)


def test_tremolo_of_a_sine_gain() -> None:
    x = noise(4.0)
    t = np.arange(x.size) / RATE_HZ
    track = track_gain(x, 0.7 * (1.0 + 0.3 * np.sin(2.0 * np.pi * 6.2 * t + 1.0)) * x, RATE_HZ)
    sway = measure_tremolo(track)
    assert sway is not None
    assert sway.rate_hz.value == pytest.approx(6.2, abs=0.01)
    assert sway.depth.value == pytest.approx(0.3, abs=0.005)
    assert sway.phase == pytest.approx(1.0 / (2.0 * np.pi), abs=0.01)
    assert sway.middle * track.loud_gain == pytest.approx(0.7, abs=0.005)
    assert measure_tremolo(track_gain(x, 0.7 * x, RATE_HZ)) is None


def test_vibrato_of_a_sine_delay() -> None:
    # x(t - 5 ms - 0.8 ms sin(2 pi 3 t)), by the sum of sines that the sound is made of
    t = np.arange(round(4.0 * RATE_HZ)) / RATE_HZ
    freqs_hz, phases = RANDOM.uniform(100.0, 2500.0, 60), RANDOM.uniform(0.0, 2.0 * np.pi, 60)

    def sound(at: Array) -> Array:
        return sum(np.sin(2.0 * np.pi * f * at + p) for f, p in zip(freqs_hz, phases, strict=True)) / 60.0

    seen = Correlations.of(sound(t), sound(t - 0.003 - 0.0008 * np.sin(2.0 * np.pi * 3.0 * t)), RATE_HZ, 0)
    assert seen is not None
    sway = measure_vibrato(seen)
    assert sway is not None
    assert sway.rate_hz.value == pytest.approx(3.0, abs=0.01)
    assert sway.depth.value == pytest.approx(0.8e-3 * RATE_HZ, rel=0.05)
    assert sway.middle == pytest.approx(3e-3 * RATE_HZ, abs=0.5)


def test_static_curve() -> None:
    # levels in steps of 3 dB, turned down by the hard-kneed curve T = -30 dB, R = 3 (DY-2's with W = 0)
    steps = np.arange(-48.0, -5.0, 3.0)
    size = round(0.4 * RATE_HZ)
    tone = np.sin(2.0 * np.pi * 700.0 * np.arange(size) / RATE_HZ)
    x = np.concatenate([10.0 ** (level / 20.0) * tone for level in steps])
    gains_db = 2.0 - np.maximum(steps + 30.0, 0.0) * (1.0 - 1.0 / 3.0)
    found = measure_compression(track_gain(x, x * np.repeat(10.0 ** (gains_db / 20.0), size), RATE_HZ))
    assert found.threshold_db.value == pytest.approx(-30.0, abs=0.5)
    assert found.ratio.value == pytest.approx(3.0, rel=0.03)
    assert found.soft_gain_db == pytest.approx(2.0, abs=0.1)
