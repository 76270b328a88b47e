"""Distances between sounds against published difference limens: what nobody hears is under a step, what all hear over.

The limens were set with the first six seconds of the takes that are shipped, and others that are not; here are their
later seconds, which had no part in that, and sounds made here. Sources that are named "from memory" were not at hand.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
import scipy.signal

from chainsim.audio.reading import read_take
from chainsim.graph.rendering import render
from chainsim.measure.sound_distance.frames import BandFrames
from chainsim.measure.sound_distance.measuring import measure_distance
from chainsim.measure.sound_distance.modulation import OCTAVES_HZ, modulation_levels
from chainsim.measure.sound_distance.scale import EarBands, band_middles, bark, hertz
from chainsim.resources import take_paths
from chainsim.sketch.loading import parse_sketch
from chainsim.units import Array
from tests.measure.pair_sounds import boxed

RATE_HZ = 48_000.0
TAKES = ("lantern_waltz_alto_sax", "ropewalk_trumpet")
Change = Callable[[Array], Array]


@functools.cache
def later(name: str, seconds: float = 2.0) -> Array:
    """From second 6 of a take on, faded out, so that what follows is the tail of a note that has ended."""
    audio, rate_hz, _ = read_take(take_paths()[name])
    assert rate_hz == RATE_HZ
    x = audio[round(6.0 * RATE_HZ) : round((6.0 + seconds) * RATE_HZ), 0].copy()
    x[-4_800:] *= np.cos(np.linspace(0.0, math.pi / 2.0, 4_800)) ** 2
    return x


def times(x: Array) -> Array:
    t: Array = np.arange(x.size) / RATE_HZ
    return t


def steps(x: Array, y: Array) -> float:
    """Total distance of two sounds made of one take: the tail begins where the shorter one ends."""
    return measure_distance(x, y, RATE_HZ).total


def low_passed(cutoff_hz: float) -> Change:
    sos = scipy.signal.butter(8, cutoff_hz, fs=RATE_HZ, output="sos")
    return lambda x: scipy.signal.sosfilt(sos, x)


def equalized(shape: str, gain_db: float, freq_hz: float = 1000.0, q: float = 0.7) -> Change:
    bands = f'[{{ shape = "{shape}", freq_hz = {freq_hz}, gain_db = {gain_db}, q = {q} }}]'
    return lambda x: boxed(x, type="equalizer", bands=bands)


def late_by(ms: float) -> Change:
    """All of it later, by whole samples and the rest between them."""
    samples = ms * RATE_HZ / 1000.0

    def change(x: Array) -> Array:
        spectrum = np.fft.rfft(np.pad(x, (0, 9_600)))
        turns = np.fft.rfftfreq(x.size + 9_600) * samples
        return np.fft.irfft(spectrum * np.exp(-2j * np.pi * turns), x.size + 9_600)[: x.size]

    return change


def one_passage(gain_db: float) -> Change:
    """Seconds 1.5 to 1.7 louder: a tenth of the sound."""
    return lambda x: x * np.where((times(x) >= 1.5) & (times(x) < 1.7), 10.0 ** (gain_db / 20.0), 1.0)


def noisy(level_db: float) -> Change:
    return lambda x: x + 10.0 ** (level_db / 20.0) * np.std(x) * np.random.default_rng(3).standard_normal(x.size)


def dithered(x: Array) -> Array:
    rng = np.random.default_rng(4)
    return np.round(x * 32_768.0 + rng.random(x.size) - rng.random(x.size)) / 32_768.0


def allpass(x: Array) -> Array:
    # Bristow-Johnson's cookbook, second order, q 0.7 at 1 kHz.
    w = 2.0 * math.pi * 1000.0 / RATE_HZ
    alpha, c = math.sin(w) / 1.4, math.cos(w)
    return scipy.signal.lfilter([1.0 - alpha, -2.0 * c, 1.0 + alpha], [1.0 + alpha, -2.0 * c, 1.0 - alpha], x)


INAUDIBLE: dict[str, Change] = {
    # The loudness match takes it out.
    "gain": lambda x: 0.4 * x,
    "polarity": lambda x: -x,
    # 0.1 ms in both ears: aligning to a millisecond is what listening tests ask for.
    "0.1 ms late": late_by(0.1),
    # Phase alone, monaurally, of one mild section: Lipshitz, Pocock and Vanderkooy, JAES 30, 1982, from memory.
    "allpass": allpass,
    # Above what adults hear: threshold in quiet of ISO 389-7, 16 kHz 40 dB and from there on steep.
    "low-pass 19.9 kHz": low_passed(19_900.0),
    "16 bits with dither": dithered,
    # Limens of a spectrum's slope are several times that; level, 0.5 to 1 dB (CHECKS OD-4).
    "0.2 dB shelf": equalized("high_shelf", 0.2),
    "a passage 0.3 dB louder": one_passage(0.3),
    # Toole and Olive, JAES 36, 1988, from memory: resonances of q 1, 10 and 50 are heard from about 0.3, 2 and 10 dB on
    # in noise, later in music.
    "resonance of q 1, 0.3 dB": equalized("bell", 0.3, 1000.0, 1.0),
    "resonance of q 10, 1 dB": equalized("bell", 1.0, 1000.0, 10.0),
    "noise 70 dB under": noisy(-70.0),
    # Viemeister 1979: -26 dB is about the best.
    "sway of 0.02": lambda x: x * (1.0 + 0.02 * np.sin(2.0 * np.pi * 4.0 * times(x))),
}

AUDIBLE: dict[str, Change] = {
    # Anchors of ITU-R BS.1534-3, rated far below the reference by all listeners.
    "low-pass 3.5 kHz": low_passed(3_500.0),
    "low-pass 7 kHz": low_passed(7_000.0),
    "3 dB shelf": equalized("high_shelf", 3.0, 2_000.0),
    "a passage 3 dB louder": one_passage(3.0),
    "resonance of q 1, 3 dB": equalized("bell", 3.0, 1000.0, 1.0),
    "noise 40 dB under": noisy(-40.0),
    "sway of 0.4": lambda x: x * (1.0 + 0.4 * np.sin(2.0 * np.pi * 4.0 * times(x))),
    "30 ms late": late_by(30.0),  # three times the limen of an onset, 10 ms: Friberg and Sundberg, JASA 98, 1995
    "drive": lambda x: boxed(x, type="drive"),
}


def note(cents: float, vibrato_cents: float = 0.0) -> Array:
    """440 Hz and 18 overtones for a second, so much too high or swaying four times a second."""
    t = np.arange(48_000) / RATE_HZ
    swing_hz = 440.0 * (2.0 ** (vibrato_cents / 1200.0) - 1.0)
    phase = 2.0 * np.pi * 440.0 * 2.0 ** (cents / 1200.0) * t + swing_hz / 4.0 * np.sin(2.0 * np.pi * 4.0 * t)
    return np.clip((0.95 - t) / 0.1, 0.0, 0.1) * sum(np.sin(k * phase) / k for k in range(1, 20))


@pytest.mark.parametrize("take", TAKES)
@pytest.mark.parametrize("name", INAUDIBLE)
def test_what_nobody_hears(name: str, take: str) -> None:
    assert steps(later(take), INAUDIBLE[name](later(take))[: later(take).size]) < 1.0


@pytest.mark.parametrize("take", TAKES)
@pytest.mark.parametrize("name", AUDIBLE)
def test_what_is_heard_clearly(name: str, take: str) -> None:
    assert steps(later(take), AUDIBLE[name](later(take))) > 1.0


@pytest.mark.parametrize("take", TAKES)
def test_anchors_stand_in_their_order(take: str) -> None:
    # BS.1534-3: low anchor 3.5 kHz, mid anchor 7 kHz.
    x = later(take)
    low, mid = (steps(x, low_passed(cutoff_hz)(x)) for cutoff_hz in (3_500.0, 7_000.0))
    assert low > 2.0 * mid > 3.0


def test_reverbs_by_their_limens() -> None:
    # ISO 3382-1, table A.1: limens 5 % of decay time (its tail, alone, in quiet) and 1 dB of C80.
    burst = np.zeros(48_000)
    burst[:9_600] = 0.2 * np.random.default_rng(5).standard_normal(9_600)

    def tail(decay_s: float, wet_db: float) -> Array:
        return boxed(burst, type="reverb", space="room", decay_s=decay_s, wet_db=wet_db, modulation=0)

    reference = tail(1.0, -12.0)
    found = {
        (decay_s, wet_db): measure_distance(reference, tail(decay_s, wet_db), RATE_HZ, playing_frames=9_600).tail
        for decay_s, wet_db in ((1.02, -12.0), (1.1, -12.0), (1.5, -12.0), (1.0, -11.7), (1.0, -10.0))
    }
    assert found[1.02, -12.0] < 1.0 < found[1.1, -12.0] < found[1.5, -12.0]
    assert found[1.0, -11.7] < 1.0 < found[1.0, -10.0]


def test_echoes_of_short_notes_by_their_time() -> None:
    # Friberg and Sundberg 1995: 2.5 % of a time from note to note, 8.8 ms of 350 ms.
    x = np.zeros(96_000)
    for first in (4_800, 52_800):
        t = np.arange(2_400) / RATE_HZ
        x[first : first + 2_400] = 0.3 * np.sin(2.0 * np.pi * 700.0 * t) * np.hanning(2_400)

    def echoed(time_ms: float) -> Array:
        return boxed(x, type="delay", time_ms=time_ms)

    found = [steps(echoed(350.0), echoed(time_ms)) for time_ms in (351.0, 353.0, 375.0, 420.0)]
    assert found[0] < found[1] < 1.0 < found[2] < found[3]


def test_depths_of_sway_on_a_steady_sound() -> None:
    # Viemeister 1979, from memory: the least depth is 0.05 (-26 dB) up to some 16 Hz.
    t = np.arange(96_000) / RATE_HZ
    x = 0.1 * sum(np.sin(2.0 * np.pi * 220.0 * k * t) / k for k in range(1, 12))
    for rate_hz in (3.0, 12.0):
        none, least, double = (
            measure_distance(x, x * (1.0 + m * np.sin(2.0 * np.pi * rate_hz * t)), RATE_HZ).modulation
            for m in (0.025, 0.05, 0.1)
        )
        assert none < 0.6
        assert least == pytest.approx(1.0, abs=0.4)
        assert double > 2.0


def test_another_phase_of_a_sway_is_nearer_than_none() -> None:
    for x in (later(take, 3.0) for take in TAKES):
        swaying, opposite = (x * (1.0 + 0.5 * s * np.sin(2.0 * np.pi * 5.0 * times(x))) for s in (1.0, -1.0))
        phase, none = (measure_distance(swaying, other, RATE_HZ) for other in (opposite, x))
        assert phase.modulation < 0.8 * none.modulation
        assert phase.total < none.total


def test_pitches() -> None:
    # Wier, Jesteadt and Green, JASA 61, 1977, from memory: 0.2 to 0.5 %, 3 to 9 cents.
    found = [steps(note(0.0), note(cents)) for cents in (1.0, 3.0, 9.0, 30.0, 50.0)]
    assert found[0] < 0.5
    assert found[1] < 1.0 < found[2] < found[3] < found[4]


def test_vibratos() -> None:
    # Zwicker and Fastl, Psychoacoustics, 1999, chapter 7, from memory: swaying at 4 Hz, a frequency under 500 Hz is
    # heard to do so from 1.8 Hz to either side on, 7 cents of 440 Hz.
    found = [steps(note(0.0), note(0.0, cents)) for cents in (2.0, 4.0, 12.0, 40.0)]
    assert found[0] < found[1] < 1.0 < found[2] < found[3]


@pytest.mark.parametrize("take", TAKES)
def test_a_melody_out_of_tune(take: str) -> None:
    # 87 / 86 is 20 cents: twice the limen and more, though its notes sway by themselves.
    x = later(take)
    sharp = scipy.signal.resample_poly(x, 86, 87)
    found = measure_distance(x, np.pad(sharp, (0, x.size - sharp.size)), RATE_HZ)
    assert 1.0 < found.spectrum < 3.0


def test_widths_by_correlations() -> None:
    # Gabriel and Colburn, JASA 69, 1981, from memory: 0.98 is told from 1, and about 0.4 from 0, but not 0.2 from 0.
    rng = np.random.default_rng(6)
    a, b = 0.1 * rng.standard_normal((2, 48_000))

    def pair(correlation: float) -> Array:
        return np.stack([a, correlation * a + math.sqrt(1.0 - correlation**2) * b], axis=1)

    assert steps(pair(1.0), pair(0.998)) < 0.5
    assert 0.7 < steps(pair(1.0), pair(0.98)) < 1.5
    assert steps(pair(1.0), pair(0.9)) > 1.5
    near, far = (measure_distance(pair(0.0), pair(correlation), RATE_HZ).spectrum for correlation in (0.2, 0.7))
    assert near < far
    assert far > 1.0


ORDERS = """
[blocks.tone]
type = "equalizer"
bands = [{ shape = "bell", freq_hz = 900, gain_db = 6, q = 1.5 }]
[blocks.echo]
type = "delay"
[blocks.torn]
type = "drive"
[blocks.sweep]
type = "envelope_filter"
[blocks.sway]
type = "tremolo"
[blocks.hall]
type = "reverb"
[blocks.hush]
type = "noise_gate"
threshold_db = -40
"""


@functools.cache
def played(take: str, *order: str) -> Array:
    chain = ", ".join(f'"{name}"' for name in order)
    audio: Array = render(parse_sketch(f"chain = [{chain}]\n" + ORDERS), later(take), RATE_HZ).audio
    return audio


@pytest.mark.parametrize(
    ("order", "same"),
    [
        (("tone", "echo"), True),  # linear and time-invariant: they commute
        (("tone", "hall"), True),
        (("tone", "sway"), True),  # the sway is slow beside the filter's ringing
        (("sweep", "torn"), False),
        (("tone", "torn"), False),
        (("echo", "torn"), False),
        (("hall", "hush"), False),  # a gate behind the reverb cuts its tail
    ],
)
def test_orders_of_blocks(order: tuple[str, ...], same: bool) -> None:
    for take in TAKES:
        one, other = played(take, *order), played(take, *order[::-1])
        found = measure_distance(one, other, RATE_HZ, playing_frames=later(take).size)
        assert found.total < 0.1 if same else found.total > 1.0
        if order == ("hall", "hush"):
            assert found.tail == found.total


def test_further_is_further() -> None:
    x = later(TAKES[1])
    series: list[list[Array]] = [
        [equalized("high_shelf", db, 2_000.0)(x) for db in (0.25, 1.0, 4.0, 12.0)],
        [low_passed(hz)(x) for hz in (12_000.0, 8_000.0, 4_000.0, 2_000.0)],
        [noisy(db)(x) for db in (-70.0, -50.0, -30.0, -15.0)],
        [one_passage(db)(x) for db in (0.25, 1.0, 3.0, 9.0)],
        [x * (1.0 + m * np.sin(2.0 * np.pi * 4.0 * times(x))) for m in (0.02, 0.1, 0.3, 0.8)],
    ]
    for changed in series:
        found = [steps(x, y) for y in changed]
        assert all(a < b for a, b in itertools.pairwise(found))


def test_bark_scale() -> None:
    # Zwicker, JASA 33, 1961: edges of the critical bands; Traunmueller's formula fits them to 0.05 Bark from 0.2 to
    # 6.7 kHz (Traunmueller 1990).
    edges_hz = np.array(
        [200.0, 300, 400, 510, 630, 770, 920, 1080, 1270, 1480, 1720, 2000, 2320, 2700, 3150, 3700, 4400]
    )
    np.testing.assert_allclose(bark(edges_hz), np.arange(2, 19), atol=0.07)
    np.testing.assert_allclose(hertz(bark(np.array([50.0, 1000.0, 15_000.0]))), [50.0, 1000.0, 15_000.0])


def test_slopes_of_a_sine() -> None:
    # Terhardt 1979: 27 dB a Bark downwards; 24 + 0.23 - 0.2 L upwards, 12 of L = 60 dB.
    middles = band_middles(46)
    x = np.sin(2.0 * np.pi * float(hertz(middles[20:21])[0]) * np.arange(24_000) / RATE_HZ)
    powers = BandFrames(RATE_HZ, 1, 4096, EarBands(46)).add(x[np.newaxis])[0, 5]
    slopes = np.diff(10.0 * np.log10(powers)) / (middles[1] - middles[0])
    np.testing.assert_allclose(slopes[14:18], 27.0, atol=0.5)
    np.testing.assert_allclose(slopes[22:30], -12.0, atol=0.5)


def test_depth_of_a_sine_is_found() -> None:
    t = np.arange(800) / 100.0
    for rate_hz, m in ((1.5, 0.3), (6.0, 0.1), (20.0, 0.7)):
        power = (1.0 + m * np.sin(2.0 * np.pi * rate_hz * t)) ** 2
        levels = modulation_levels(power[np.newaxis, :, np.newaxis], np.array([1e-12]), 100.0)[0, :, :, 0]
        octave = max(k for k, low_hz in enumerate(OCTAVES_HZ) if low_hz <= rate_hz)
        np.testing.assert_allclose(levels[:, octave], 10.0 * math.log10(m**2 + 0.05**2), atol=0.2)
        others = np.delete(levels, [octave - 1, octave, octave + 1], axis=1)
        np.testing.assert_allclose(others, 20.0 * math.log10(0.05), atol=0.2)
