"""The frequency divider on its own: octaves, levels, silence, and how often a horn is divided wrongly."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import Phrase
from chainsim.horn.play import HornTake, play
from tests.blocks.harness import prepared, run

FS = 48_000
VOICE = {"dry_db": "off", "octave_down_db": 0.0}


def tone(peak: float, freq_hz: float = 220.0, seconds: float = 1.0) -> np.ndarray:
    """One channel of a sine."""
    return peak * np.sin(2.0 * np.pi * freq_hz * np.arange(int(seconds * FS)) / FS)[None]


@pytest.mark.parametrize(
    ("levels", "freq_hz"),
    [({"octave_down_db": 0.0}, 110), ({"octave_down_db": "off", "two_octaves_down_db": 0.0}, 55)],
)
def test_octaves_are_squares_half_as_high_as_the_note(levels: dict[str, object], freq_hz: int) -> None:
    """4 / pi of half the crest in the fundamental, a third of that in harmonic 3, nothing in harmonic 2.

    The crest is what the trigger's low cut (60 Hz, second order) leaves, less the threshold; behind it lies a first
    order at 20 Hz.
    """
    block = prepared("frequency_divider", **{**VOICE, **levels, "tone_hz": 12_000.0, "high_cut_hz": 3_000.0})
    y = run(block, tone(0.5, seconds=2.0))
    spectrum = np.abs(np.fft.rfft(y[0, FS:])) * 2.0 / FS
    crest = 0.5 / math.sqrt(1.0 + (60.0 / 220.0) ** 4) - 10.0 ** (-50.0 / 20.0)
    for n in (1, 3):
        expected = 4.0 / (math.pi * n) * 0.5 * crest / math.hypot(1.0, 20.0 / (n * freq_hz))
        assert spectrum[n * freq_hz] == pytest.approx(expected, rel=2e-3)
    assert spectrum[2 * freq_hz] < 1e-3 * spectrum[freq_hz]
    assert spectrum[220] < 2e-3 * spectrum[freq_hz]


def test_octave_follows_the_level_of_the_note() -> None:
    block = prepared("frequency_divider", high_cut_hz=3_000.0, **VOICE)
    levels_db = []
    for peak in (0.05, 0.5):
        block.reset()
        levels_db.append(20.0 * math.log10(np.std(run(block, tone(peak))[0, FS // 2 :])))
    # 20 dB, and the threshold of -50 dB taken off both: (0.4986 - 0.0032) / (0.0499 - 0.0032)
    assert levels_db[1] - levels_db[0] == pytest.approx(20.51, abs=0.05)


@pytest.mark.parametrize("high_cut_hz", [80.0, 155.0, 280.0, 3_000.0])
@pytest.mark.parametrize("freq_hz", [110, 220, 440, 523])
def test_octave_is_as_loud_as_the_note_whatever_the_cut(freq_hz: int, high_cut_hz: float) -> None:
    """A saw of seven partials has a crest factor of 6.5 dB, less a little by the low cut: half of it is its rms."""
    t = np.arange(FS) / FS
    x = 0.1 * sum(np.sin(2.0 * np.pi * freq_hz * k * t) / k for k in range(1, 8))[None]
    y = run(prepared("frequency_divider", **VOICE, high_cut_hz=high_cut_hz, tone_hz=12_000.0), x)[0, FS // 2 :]
    assert 20.0 * math.log10(np.std(y) / np.std(x)) == pytest.approx(0.5, abs=1.5)
    assert np.argmax(np.abs(np.fft.rfft(y))) == pytest.approx(freq_hz / 4, abs=0.5)  # bins of 2 Hz


def test_dry_path_is_bit_by_bit_and_at_once() -> None:
    x = np.random.default_rng(1).standard_normal((2, 2_000))
    assert run(prepared("frequency_divider", channels=2, octave_down_db="off"), x).tobytes() == x.tobytes()


def test_both_channels_get_one_voice() -> None:
    x = np.vstack([tone(0.5), tone(0.1)])
    y = run(prepared("frequency_divider", channels=2), x) - x
    assert np.abs(y[0] - y[1]).max() < 1e-12
    assert np.abs(y).max() > 0.1


def test_voice_answers_within_a_period() -> None:
    """No tracker to wait for: the first step comes with the first swing, and is heard through the tone's own rise."""
    x = np.hstack([np.zeros((1, 4_800)), tone(0.5)])
    y = np.abs(run(prepared("frequency_divider", tone_hz=12_000.0, high_cut_hz=3_000.0, **VOICE), x)[0])
    assert not y[:4_800].any()
    period = FS / 220.0
    assert np.flatnonzero(y > 0.1)[0] - 4_800 < period


def test_quiet_noise_leaves_it_silent() -> None:
    x = 1e-4 * np.random.default_rng(2).standard_normal((1, FS))
    assert not run(prepared("frequency_divider", **VOICE), x).any()


def test_detector_may_listen_elsewhere() -> None:
    block = prepared("frequency_divider", **VOICE)
    y = run(block, np.zeros((1, FS)), detector=tone(0.5))
    assert np.argmax(np.abs(np.fft.rfft(y[0]))) == 110


def wrongly_divided(take: HornTake, **settings: float) -> tuple[float, float]:
    """Shares of the time of notes in which a step comes early (an octave or more too high) or late or not at all."""
    x = np.ascontiguousarray(take.audio[None] / np.abs(take.audio).max() * 0.6)
    rate_hz = take.sample_rate_hz
    block = prepared("frequency_divider", sample_rate_hz=rate_hz, tone_hz=12_000.0, **VOICE, **settings)
    y = run(block, x)[0]
    k = np.flatnonzero(y[:-1] * y[1:] < 0.0)
    steps_s = (k + y[k] / (y[k] - y[k + 1])) / rate_hz
    periods_s, middles_s = np.diff(steps_s), 0.5 * (steps_s[1:] + steps_s[:-1])
    early = right = whole = 0.0
    for note in take.notes:
        begin, end = note.onset_s + 0.03, note.end_s - 0.02  # what sounds between, whole
        inside = (middles_s > begin) & (middles_s < end)
        ratio = periods_s[inside] * take.f0_at(middles_s[inside])
        early += float(periods_s[inside][ratio < 0.9].sum())
        right += float(periods_s[inside][(ratio >= 0.9) & (ratio <= 1.1)].sum())
        whole += end - begin
    return early / whole, max(1.0 - (early + right) / whole, 0.0)


LEVELS = (0.35, 0.6, 0.9)


def played(pitches: str, instrument: str) -> HornTake:
    """Notes at three levels, without vibrato to speak of."""
    notes = ", ".join(f"{pitch} 0.5 {level}" for level in LEVELS for pitch in pitches.split())
    return play(Phrase("Divided", 120.0, notes_of(notes), instrument), seed=2)


@pytest.mark.parametrize(
    ("instrument", "pitches", "lowest_hz"),
    [
        ("tenor sax", "A3 C4 E4 G4 A4", 220.0),
        ("tenor sax", "G#2 C3 E3 A3 C4 E4 A4 C5", 104.0),
        ("trumpet", "E4 G4 B4 D5 F5 A5", 330.0),
        ("baritone sax", "C#3 F3 A3 C#4 F4 A4", 139.0),
    ],
)
def test_half_an_octave_above_the_lowest_note_the_cut_is_right(instrument: str, pitches: str, lowest_hz: float) -> None:
    """The stated rule, over one octave and over two and a third."""
    early, missing = wrongly_divided(played(pitches, instrument), high_cut_hz=math.sqrt(2.0) * lowest_hz)
    assert early < 0.01
    assert missing < 0.02


def test_with_the_cut_open_a_tenor_is_divided_wrongly() -> None:
    """What the circuit is known for: strong harmonics are counted as swings, and the octave leaps up."""
    early, _ = wrongly_divided(played("A3 C4 E4 G4 A4", "tenor sax"), high_cut_hz=3_000.0, hysteresis=0.05)
    assert early > 0.2


@pytest.mark.parametrize(
    ("settings", "message"),
    [({"hysteresis": 1.0}, r"allowed 0 \.\.\. 0\.95"), ({"high_cut_hz": 30.0}, r"allowed 60 \.\.\. 3000 Hz")],
)
def test_wrong_settings_are_refused(settings: dict[str, object], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        prepared("frequency_divider", **settings)
