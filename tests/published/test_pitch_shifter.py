"""The pitch shifter, tracker and all, against closed forms: interval, level, formants, unison, beats, clicks, latency.

Sources of the numbers: equal temperament, f = 440 x 2^((n - 69) / 12); the source-filter view of a tone (harmonics of
the source times resonances that stay where they are); E. Moulines, F. Charpentier, Speech Communication 9 (1990),
453-467, for what pitch-synchronous overlap-add gives back where nothing is shifted; ranges of the horns as handbooks
of orchestration give them.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import chainsim
from chainsim.horn.phrases import PHRASES
from chainsim.horn.play import play
from chainsim.measure.fundamental import fundamental_hz
from tests.dsp.tracked import harmonics, mellow

FS = 48_000


def shifter(voices: str, settings: str = "", *, head: str = "", chain: str = '["shift"]') -> chainsim.Sketch:
    """Sketch of one shifter; by default the shorter latency of notes from A2 on."""
    lowest = "" if "instrument" in head or "lowest_note" in settings else 'lowest_note = "A2"\n'
    text = f'{head}\nchain = {chain}\n[blocks.shift]\ntype = "pitch_shifter"\nvoices = [{voices}]\n{lowest}{settings}\n'
    return chainsim.parse_sketch(text)


def aligned(sketch: chainsim.Sketch, x: np.ndarray) -> np.ndarray:
    """What comes out, as long as the take and without the latency."""
    out = chainsim.render(sketch, x, FS)
    late = round(out.latency_samples)
    return out.audio[late : late + x.size, 0]


def level_db(x: np.ndarray) -> float:
    return 20.0 * math.log10(float(np.sqrt(np.mean(x**2))) + 1e-15)


def strengths(y: np.ndarray, f_hz: float, count: int) -> np.ndarray:
    """Amplitudes of the harmonics of f in the last half second, under a Blackman window."""
    part = y[-FS // 2 :]
    window = np.blackman(part.size)
    lines = np.exp(-2j * np.pi * np.outer(np.arange(1, count + 1), f_hz * np.arange(part.size) / FS))
    return np.abs(lines @ (window * part)) * 2.0 / window.sum()


# PS-1 ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wave", "semitones"),
    [("sine", s) for s in range(-12, 13)] + [("saw", s) for s in range(-12, 13)],
)
def test_interval_and_level_of_steady_tones(wave: str, semitones: int) -> None:
    """A ratio of 2^(s / 12) to 2 cents and steady to 8, the level to 1 dB, and no longer than the take needs."""
    interval = f"{semitones:+d} semitones" if semitones else "unison"
    sketch = shifter(f'{{ interval = "{interval}" }}', 'unpitched_db = "off"')
    at_s = np.arange(0.3, 0.55, 0.02)
    for f_hz in (110.0, 196.0, 329.63, 500.0, 659.26, 880.0):
        x = harmonics(f_hz, 1 if wave == "sine" else 600, 0.6)
        out = chainsim.render(sketch, x, FS)
        late = round(out.latency_samples)
        assert out.audio.shape[0] == x.size + late + math.ceil(out.tail_s * FS)
        y = out.audio[late : late + x.size, 0]
        wanted_hz = f_hz * 2.0 ** (semitones / 12.0)
        cents = 1200.0 * np.log2(fundamental_hz(y, FS, at_s, wanted_hz, 0.05) / wanted_hz)
        assert abs(np.mean(cents)) < 2.0, f_hz
        assert np.std(cents) < 8.0, f_hz
        steady = slice(round(0.3 * FS), round(0.55 * FS))
        assert level_db(y[steady]) == pytest.approx(level_db(x[steady]), abs=1.0), f_hz


# PS-2 ---------------------------------------------------------------------------------------------------------------

RESONANCES_HZ, Q = (500.0, 1500.0, 2500.0), 10.0


def through_resonances(f_hz: float) -> np.ndarray:
    """A pulse train of f through the resonances, each 1 / (1 + i Q (x - 1 / x)), added up."""
    k = np.arange(1, 100)
    x = k[:, np.newaxis] * f_hz / np.array(RESONANCES_HZ)
    gains = np.abs(np.sum(1.0 / (1.0 + 1j * Q * (x - 1.0 / x)), axis=1))
    return harmonics(f_hz, dict(zip(k.tolist(), gains.tolist(), strict=True)), 1.5)


@pytest.mark.parametrize(
    ("formant", "expected_hz"), [(1.0, (500.0, 1500.0, 2500.0)), (0.0, (749.2, 2247.5, 3745.8))], ids=["kept", "moved"]
)
def test_formants_stay_or_move_with_the_pitch(formant: float, expected_hz: tuple[float, ...]) -> None:
    """Pulses of 220 Hz a fifth up: resonances stay, or go to 1.4983 times their place, to half a harmonic's spacing.

    Where one lies is the centre of power between the middles to its neighbours.
    """
    y = aligned(
        shifter('{ interval = "P5 above" }', f'formant = {formant}\nunpitched_db = "off"'), through_resonances(220.0)
    )
    voice_hz = 220.0 * 2.0 ** (7.0 / 12.0)
    power = strengths(y, voice_hz, 16) ** 2
    at_hz = voice_hz * np.arange(1, 17)
    spacing_hz = expected_hz[1] - expected_hz[0]
    for place_hz in expected_hz:
        near = np.abs(at_hz - place_hz) < 0.5 * spacing_hz
        centre_hz = np.sum(power[near] * at_hz[near]) / np.sum(power[near])
        assert centre_hz == pytest.approx(place_hz, abs=0.5 * voice_hz)


# PS-3 ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("f_hz", [110.0, 220.0, 440.0, 880.0])
@pytest.mark.parametrize("wave", ["sine", "as horns have it", "saw up to 6 kHz"])
def test_unison_gives_a_steady_tone_back(wave: str, f_hz: float) -> None:
    """To 60 dB. A saw with everything up to half the sample rate, which no horn has, comes back to 33 to 42 dB only."""
    amplitudes = {
        "sine": 1,
        "as horns have it": mellow(f_hz),
        "saw up to 6 kHz": {k: 1.0 / k for k in range(1, int(6_000.0 / f_hz) + 1)},
    }[wave]
    x = harmonics(f_hz, amplitudes, 1.0)
    error = (aligned(shifter('{ interval = "unison" }'), x) - x)[round(0.3 * FS) :]
    assert level_db(error) < level_db(x) - 60.0


@pytest.mark.parametrize(("phrase", "horn"), [("low water", "tenor sax"), ("lantern waltz", "alto sax")])
def test_unison_gives_a_whole_take_back(phrase: str, horn: str) -> None:
    """Attacks, breath, vibrato and rests: voice and rest are cut out of the take, and add up to it again."""
    take = play(PHRASES[phrase], horn, seed=2)
    error = aligned(shifter('{ interval = "unison" }', head=f'instrument = "{horn}"'), take.audio) - take.audio
    assert level_db(error) < level_db(take.audio) - 60.0


# PS-4 ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("interval", "harmonic_hz", "beat_hz"),
    [
        # 3 x 220 against 2 x 220 x 1.498307 (329.628); 5 x 220 against 4 x 220 x 1.259921 (277.183)
        ("P5 above", 660.0, 0.745),
        ("M3 above", 1100.0, 8.731),
    ],
)
def test_a_fifth_and_a_third_beat_as_equal_temperament_does(interval: str, harmonic_hz: float, beat_hz: float) -> None:
    """Horn beside its voice: the harmonics that nearly meet beat at the frequency that theory has for them."""
    x = harmonics(220.0, 20, 12.0)
    lanes = '[{ lanes = ["dry", ["shift"]] }]'
    y = aligned(shifter(f'{{ interval = "{interval}" }}', 'unpitched_db = "off"', chain=lanes), x)[FS // 2 :]
    # Shifted to 0 Hz and averaged over 50 ms, so that harmonics 55 Hz away or more are gone.
    n = np.arange(y.size)
    window = np.hanning(round(0.05 * FS))
    power = np.abs(np.convolve(y * np.exp(-2j * np.pi * harmonic_hz / FS * n), window / window.sum(), "valid")) ** 2
    power = power[:: FS // 1000]
    tapered = (power - power.mean()) * np.blackman(power.size)
    spectrum = np.abs(np.fft.rfft(tapered, 1 << 20))
    found_hz = float(np.argmax(spectrum[: round(20 / 1000 * (1 << 20))])) * 1000.0 / (1 << 20)
    assert found_hz == pytest.approx(beat_hz, abs=0.02)


# PS-6 ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "voices", ['{ interval = "P5 above" }', '{ interval = "P5 above" }, { interval = "P8 below" }']
)
def test_a_click_passes_once_and_nothing_else_sounds(voices: str) -> None:
    """Two milliseconds of noise out of silence: at its place, as loud as it was, before and after it nothing."""
    x = np.zeros(FS)
    x[20_000:20_096] = 0.3 * np.random.default_rng(1).standard_normal(96)
    out = chainsim.render(shifter(voices), x, FS)
    late = round(out.latency_samples)
    assert out.latency_samples == late
    expected = np.zeros_like(out.audio[:, 0])
    expected[late : late + x.size] = x
    assert np.abs(out.audio[:, 0] - expected).max() < 1e-12
    silent = chainsim.render(shifter(voices, 'unpitched_db = "off"'), x, FS)
    assert not silent.audio.any()


# PS-8 ---------------------------------------------------------------------------------------------------------------

LOWEST_HZ = {
    # Sounding, from the written range and the transposition of the instrument: reference pages on each one.
    "soprano sax": 207.65,  # written Bb3, sounds a tone lower: Ab3
    "alto sax": 138.59,  # written Bb3, sounds a sixth lower: Db3
    "tenor sax": 103.83,  # written Bb3, sounds a ninth lower: Ab2
    "baritone sax": 69.30,  # written Bb3, sounds a thirteenth lower: Db2
    "trumpet": 164.81,  # written F#3, sounds a tone lower: E3
    "clarinet": 146.83,  # written E3, sounds a tone lower: D3
    "french horn": 61.74,  # written F#2, sounds a fifth lower: B1
    "flute": 261.63,  # C4, sounds as written
    "trombone": 82.41,  # E2, sounds as written
}


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("horn", LOWEST_HZ)
def test_latency_is_two_periods_of_the_lowest_note(horn: str, rate_hz: int) -> None:
    """And less than 5 ms more; measured by a click, which passes."""
    x = np.zeros(round(0.2 * rate_hz))
    x[1_000] = 0.5
    out = chainsim.render(shifter('{ interval = "P5 above" }', head=f'instrument = "{horn}"'), x, rate_hz)
    assert np.argmax(np.abs(out.audio[:, 0])) == 1_000 + out.latency_samples
    assert 2.0 / LOWEST_HZ[horn] <= out.latency_samples / rate_hz < 2.0 / LOWEST_HZ[horn] + 0.005


def test_a_player_who_plays_no_low_notes_waits_less() -> None:
    """Two periods of D3 (146.83 Hz) on a baritone saxophone whose Db2 would need 28.9 ms: 13.6 ms and a little."""
    sketch = shifter('{ interval = "P5 above" }', 'lowest_note = "D3"', head='instrument = "baritone sax"')
    latency_ms = chainsim.render(sketch, np.zeros(4_800), FS).latency_samples * 1_000.0 / FS
    assert 13.6 < latency_ms < 14.6
