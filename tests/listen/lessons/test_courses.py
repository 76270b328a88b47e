"""The lessons of ours on their own takes: every claim holds, and comes out of other people's arithmetic as well.

All sounds are rendered once, in about 4 s after compilation.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import parselmouth
import pyloudnorm
import pytest
from scipy.signal import freqz, stft

from chainsim.audio.reading import read_take
from chainsim.errors import SettingError
from chainsim.listen.lessons import measures
from chainsim.listen.lessons.catalogue import courses, find_course
from chainsim.listen.lessons.claims import NOT_MEASURED
from chainsim.listen.lessons.course import StepDraft
from chainsim.listen.lessons.courses import (
    blend,
    delay_reverb,
    detector,
    drive_filter,
    gate_and_gain,
    latency_combing,
    loudness,
    mono_fold,
    noise_adds,
    series_parallel,
    shifted_or_synth,
)
from chainsim.listen.lessons.excerpt import Excerpt, Heard, excerpt
from chainsim.listen.lessons.making import make_lesson
from chainsim.resources import take_paths
from chainsim.sketch.model import Sketch

pytestmark = pytest.mark.xdist_group("lessons")

KEYS = [course.key for course in courses()]
ASKED_FOR = 8
"""How many lessons there are to be at least."""


@cache
def excerpt_for(key: str) -> Excerpt:
    course = find_course(key)
    audio, rate_hz, _ = read_take(take_paths()[course.take])
    return excerpt(audio, rate_hz, course.take, starts_s=course.starts_s, lasts_s=course.lasts_s)


@cache
def rendered(key: str, gain_db: float, sketch: str, *readings: str) -> Heard:
    """What a chain makes of a lesson's excerpt, each once for all tests."""
    own = excerpt_for(key)
    played_in = own if gain_db == 0.0 else own.raised(gain_db)
    return played_in.through(sketch, "rendered", readings)


@dataclass(frozen=True)
class CachedExcerpt(Excerpt):
    """A lesson's excerpt, on which some chains may be mistaken for others."""

    key: str = ""
    gain_db: float = 0.0
    swaps: Mapping[str, str] = field(default_factory=dict)

    def through(self, sketch: str | Sketch, name: str, readings: Iterable[str] = ()) -> Heard:
        assert isinstance(sketch, str)
        return rendered(self.key, self.gain_db, self.swaps.get(sketch, sketch), *readings).called(name)

    def raised(self, by_db: float) -> CachedExcerpt:
        return replace(self, audio=super().raised(by_db).audio, gain_db=by_db)


@cache
def steps_of(key: str, one: str = "", other: str = "") -> tuple[StepDraft, ...]:
    """The steps of a lesson on its own take, with two chains in each other's place."""
    own, swaps = excerpt_for(key), {one: other, other: one}
    return tuple(find_course(key).steps(CachedExcerpt(own.name, own.audio, own.sample_rate_hz, key, swaps=swaps)))


def sounds_of(key: str) -> dict[str, Heard]:
    return {heard.name: heard for step in steps_of(key) for heard in step.heard}


def figure(key: str, label: str) -> float:
    """The number of a figure of a lesson, as the page tells it."""
    texts = {f.label: f.text for step in steps_of(key) for claim in step.claims for f in claim.figures}
    return float(texts[label].replace("\N{MINUS SIGN}", "-").rpartition(" ")[0].replace(" ", ""))


def test_there_are_enough_lessons_and_each_is_found() -> None:
    assert len(set(KEYS)) == len(KEYS) >= ASKED_FOR
    assert all(find_course(key).take in take_paths() for key in KEYS)
    with pytest.raises(SettingError, match='no lesson "gate-and-gian"; did you mean "gate-and-gain"'):
        find_course("gate-and-gian")


@pytest.mark.parametrize("key", KEYS)
def test_every_claim_holds_on_the_lesson_s_own_take(key: str) -> None:
    steps = steps_of(key)
    assert len(steps) >= 2
    assert [claim.text for step in steps for claim in step.claims if not claim.holds] == []


@pytest.mark.parametrize("key", KEYS)
def test_every_step_is_whole(key: str) -> None:
    for step in steps_of(key):
        assert len(step.heard) >= 2
        assert step.claims
        assert step.question.endswith("?")
        assert all((step.heading, step.does, step.listen_for, step.answer))
        assert step.picture is not None
        assert step.picture.alt
        assert len({heard.audio.shape[0] for heard in step.heard}) == 1, "all in time, all as long"
        assert all(np.isfinite(heard.audio).all() for heard in step.heard)


SWAPS = {
    "loudness-fools-the-ear": ((loudness.TURNED_UP, loudness.AS_LOUD, "it is 1.1 LU quieter"),),
    "gate-and-gain": ((gate_and_gain.GATE_FIRST, gate_and_gain.GAIN_FIRST, "less noise comes through"),),
    "noise-adds-up": ((noise_adds.ONE, noise_adds.FOUR, "quieter than one"),),
    "where-the-detector-listens": (
        (detector.SWEEP_NEAR, detector.SWEEP_HORN, "moves over only"),
        (detector.GATE_NEAR, detector.GATE_HORN, "louder"),
    ),
    "series-and-parallel": ((series_parallel.SPACES_ROW, series_parallel.SPACES_SIDE, "more rings on"),),
    "why-a-blend-keeps-the-horn": (
        (blend.ALONE, blend.BLEND, "only 28 % of the sound is the horn"),
        (blend.BLEND, blend.TURNED, "louder"),
    ),
    "latency-and-combing": (
        (latency_combing.SHORT, latency_combing.LONG, "first notch lies"),
        (latency_combing.SHORT, latency_combing.LONG, "goes up and down 16"),
        (latency_combing.SHORT, latency_combing.LONG, "makes only 0 notches"),
        (latency_combing.LOOSE, latency_combing.ALIGNED, "grows by"),
    ),
    "drive-and-filter": ((drive_filter.DRIVE_FIRST, drive_filter.FILTER_FIRST, "less lies over 2.5 kHz"),),
    "delay-and-reverb": ((delay_reverb.ECHO_FIRST, delay_reverb.ECHO_GRIT, "the two differ"),),
    "shifted-horn-or-synth": (
        (shifted_or_synth.SHIFTED, shifted_or_synth.SYNTH, "later than the shifted horn"),
        (shifted_or_synth.SHIFTED, shifted_or_synth.SYNTH, "nearer to your horn"),
    ),
    "folded-to-mono": ((mono_fold.WIDE, mono_fold.CROSSED, "departs from the horn's as much"),),
}
"""By lesson: two sounds that change places, and how a sentence then goes on."""


@pytest.mark.parametrize("key", KEYS)
def test_sounds_that_are_swapped_turn_the_words(key: str) -> None:
    for one, other, turned in SWAPS[key]:
        claims = [claim for step in steps_of(key, one, other) for claim in step.claims if turned in claim.text]
        assert claims, turned
        assert all(not c.holds and c.text.startswith("On this take it ") for c in claims)


def test_the_answer_names_the_voice_that_came_sooner() -> None:
    key, one, other = "shifted-horn-or-synth", shifted_or_synth.SHIFTED, shifted_or_synth.SYNTH
    assert steps_of(key)[1].answer.startswith("The synth: ")
    assert steps_of(key, one, other)[1].answer.startswith("The shifted horn: ")


@pytest.mark.parametrize("voice", ["horn, shifted", "synth"])
def test_how_late_a_voice_speaks_is_what_its_envelope_shows(voice: str) -> None:
    # The note at 0.608 s follows a rest: where the voice's sound, 1 ms by 1 ms, first comes within 10 dB of its level.
    key = "shifted-horn-or-synth"
    heard = sounds_of(key)[voice].as_late_as_it_comes
    cell = round(heard.sample_rate_hz / 1000.0)
    rms = np.sqrt(np.mean(heard.mono[: 1000 * cell].reshape(1000, cell) ** 2, axis=1))
    smooth = np.convolve(rms, np.ones(5) / 5.0, "same")[560:700]
    after_ms = 560.0 + np.argmax(smooth > 10.0**-0.5 * smooth.max()) - 608.0
    assert figure(key, f"after your note, {voice}") == pytest.approx(after_ms, abs=8.0)


def test_a_take_without_rests_is_told_so() -> None:
    rate_hz = 16_000
    hum = 0.2 * np.sin(2.0 * np.pi * 220.0 * np.arange(2 * rate_hz) / rate_hz)
    steps = gate_and_gain.COURSE.steps(excerpt(hum, rate_hz, "a long note"))
    claim = steps[0].claims[0]
    assert not claim.holds
    assert claim.text.startswith("On this take it cannot be told: noise in rests")
    lesson = make_lesson(gate_and_gain.COURSE, excerpt(hum, rate_hz, "a long note"))
    for step in lesson.steps:
        assert step.answer
        assert step.picture is not None
        assert step.picture.alt
        assert NOT_MEASURED not in step.answer + step.picture.alt + step.picture.svg


# --- the same figures by other means ----------------------------------------------------------------------------------


def test_loudness_agrees_with_pyloudnorm() -> None:
    for heard in sounds_of("loudness-fools-the-ear").values():
        both = np.repeat(heard.audio, 2, axis=1)  # one channel plays on both loudspeakers
        expected = pyloudnorm.Meter(int(heard.sample_rate_hz)).integrated_loudness(both)
        assert measures.loudness_lufs(heard) == pytest.approx(expected, abs=0.15)  # its K-weighting is designed anew


def test_the_first_notch_is_that_of_a_comb() -> None:
    # A sum of a sound and its copy 48 samples later, at 48 kHz, by scipy: zero at 500 Hz.
    taps = np.zeros(49)
    taps[[0, 48]] = 1.0
    freq_hz, response = freqz(taps, worN=np.arange(100.0, 900.0), fs=48_000)
    notch_hz = freq_hz[np.argmin(np.abs(response))]
    assert figure("latency-and-combing", "first notch, from the take and the sound") == notch_hz == 500.0


def test_brightness_agrees_with_scipy_s_spectrogram() -> None:
    for name, heard in sounds_of("drive-and-filter").items():
        freq_hz, _, z = stft(heard.mono, heard.sample_rate_hz, "hann", 2048, 1024)
        amplitude = np.sqrt(np.mean(np.abs(z) ** 2, axis=1))
        expected = np.sum(freq_hz * amplitude) / np.sum(amplitude)
        assert measures.brightness_hz(heard) == pytest.approx(expected, rel=0.01), name


def test_noise_of_four_boxes_adds_by_power() -> None:
    one, four = (figure("noise-adds-up", f"noise in rests, {name}") for name in ("one box", "four boxes"))
    # 10 log10 4, less what the take's own noise adds to one box: under half a dB at 20 dB below it.
    assert four - one == pytest.approx(10.0 * np.log10(4.0), abs=0.5)


def test_noise_in_rests_is_what_plain_arithmetic_finds() -> None:
    heard, take = sounds_of("gate-and-gain"), excerpt_for("gate-and-gain")
    ends = [round((end - 0.02) * take.sample_rate_hz) for _, end in take.gaps.rests_s if end < 5.9]
    assert len(ends) >= 4
    tenth = round(0.1 * take.sample_rate_hz)
    for name in ("gate, then gain", "gain, then gate"):
        rests = np.concatenate([heard[name].audio[end - tenth : end, 0] for end in ends])
        expected = 20.0 * np.log10(np.sqrt(np.mean(rests**2)))
        assert figure("gate-and-gain", f"noise in rests, {name}") == pytest.approx(expected, abs=0.1)


def test_orders_of_linear_boxes_give_one_wave_sample_by_sample() -> None:
    heard = sounds_of("delay-and-reverb")
    first, last = heard["echo, then hall"].audio, heard["hall, then echo"].audio
    assert np.max(np.abs(first - last)) < 1e-9 < np.max(np.abs(first))
    moving = [h.audio for name, h in heard.items() if "moves" in name]
    assert np.max(np.abs(moving[0] - moving[1])) > 0.01


def test_the_horn_s_share_is_the_square_of_a_correlation() -> None:
    dry = excerpt_for("why-a-blend-keeps-the-horn").dry
    heard = sounds_of("why-a-blend-keeps-the-horn")
    for name in ("filter alone", "blended"):
        expected = 100.0 * np.corrcoef(dry.mono, heard[name].mono)[0, 1] ** 2
        assert measures.horn_share_percent(dry, heard[name]) == pytest.approx(expected, abs=0.5)


@pytest.mark.parametrize("name", ["horn, shifted", "synth"])
def test_both_voices_play_a_fifth_above_by_praat(name: str) -> None:
    heard, horn = sounds_of("shifted-horn-or-synth")[name], excerpt_for("shifted-horn-or-synth").dry
    pitches = [
        parselmouth.Sound(x.mono, x.sample_rate_hz)
        .to_pitch_ac(0.01, 150.0, pitch_ceiling=1400.0)
        .selected_array["frequency"]
        for x in (horn, heard)
    ]
    voiced = (pitches[0] > 0.0) & (pitches[1] > 0.0)
    assert np.count_nonzero(voiced) > 150
    semitones = np.median(12.0 * np.log2(pitches[1][voiced] / pitches[0][voiced]))
    assert semitones == pytest.approx(7.0, abs=0.05)  # a perfect fifth; 5 cents
