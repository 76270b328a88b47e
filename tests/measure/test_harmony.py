"""What is said of voices whose every fault is known: ideal shifts of a take, as they are and spoilt."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest

from chainsim.errors import AudioError, SettingError
from chainsim.horn.phrase import Note, Phrase
from chainsim.horn.phrases import LANTERN_WALTZ, LOW_WATER, ROPEWALK
from chainsim.horn.play import HornTake, play
from chainsim.measure.harmony import HarmonyError, HarmonyJudge, harmony_error
from tests.dsp.tracked import SAW, harmonics
from tests.tables import thorough

RATE_HZ = 48_000.0
SEEDS = {LOW_WATER.title: 5, LANTERN_WALTZ.title: 3, ROPEWALK.title: 2}

STEPS = Phrase(
    "Steps down to the quay",
    100.0,
    tuple(Note(p, 1.0, 0.6) if p else Note(None, 1.0) for p in (58.0, None, 62.0, 65.0, None, 63.0, 60.0)),
    "tenor sax",
)
"""Five tongued notes of 0.6 s; the first, the second and the fourth come after rests."""


@functools.cache
def played(phrase: Phrase, semitones: float = 0.0, rate_hz: float = RATE_HZ) -> HornTake:
    return play(phrase, sample_rate_hz=rate_hz, seed=SEEDS.get(phrase.title, 1), transpose_semitones=semitones)


@functools.cache
def judge(phrase: Phrase) -> HarmonyJudge:
    return HarmonyJudge(played(phrase).audio, RATE_HZ)


def of_steps(voice: np.ndarray, semitones: float | np.ndarray = 7.0, latency_samples: float = 0.0) -> HarmonyError:
    return judge(STEPS).of_interval(voice, semitones, latency_samples)


def fifth() -> np.ndarray:
    """An ideal fifth above the steps, free to be spoilt."""
    return played(STEPS, 7.0).audio.copy()


@pytest.mark.parametrize("semitones", [-12.0, 7.0, *thorough(-5.0, 0.0, 4.0, 12.0)])
@pytest.mark.parametrize("phrase", [LOW_WATER, LANTERN_WALTZ, ROPEWALK], ids=lambda p: p.title)
def test_an_ideal_shift_is_seen_to_be_ideal(phrase: Phrase, semitones: float) -> None:
    error = judge(phrase).of_interval(played(phrase, semitones).audio, semitones)
    # Far less than what a shifter is held to: 2 cents, 8 cents, 1.5 dB, -40 dB.
    assert abs(error.mean_cents) < 0.1
    assert error.spread_cents < 1.0
    assert all(abs(n.mean_cents) < 0.6 for n in error.steady_notes)
    assert abs(error.worst_level_db) < 0.5
    assert error.dropped_out == 0
    assert error.pre_echo_db < -60.0


def test_the_notes_are_those_that_were_played() -> None:
    error = of_steps(fifth())
    assert [n.steady for n in error.notes] == [True] * 5
    for note, truth in zip(error.notes, played(STEPS).notes, strict=True):
        assert note.begin_s == pytest.approx(truth.onset_s, abs=0.025)  # the player's air comes first
        assert 1200.0 * abs(math.log2(note.take_hz / truth.f0_hz)) < 6.0  # either is a median, of another part
        assert note.cents.size >= 0.4 / 0.01
    assert [not math.isnan(n.pre_echo_db) for n in error.notes] == [True, True, False, True, False]


def test_short_notes_and_slides_are_no_ground_to_judge_by() -> None:
    # 160 ms is the least: 50 ms of attack, 80 steady, 30 of release.
    beat = Phrase("short", 120.0, (Note(60.0, 0.26), Note(None, 1.0), Note(62.0, 0.6)), "trumpet")
    error = HarmonyJudge(played(beat).audio, RATE_HZ).of_interval(played(beat).audio, 0.0)
    assert [n.steady for n in error.notes] == [False, True]
    t = np.arange(96_000) / RATE_HZ
    slide_hz = 220.0 * 2.0 ** (4.0 * t / 12.0)  # 400 cents a second: 30 of them in 75 ms
    slide = harmonics(slide_hz, SAW, 2.0)
    assert harmony_error(slide, slide, RATE_HZ, 0.0).steady_notes == ()


def test_what_a_slur_or_a_scoop_needs_to_settle_is_left_out() -> None:
    # A step of 60 cents, too little to be a note of its own: the longer stretch is judged, from 50 ms after it is
    # reached, or to 30 ms before it is left. A moment is 10 ms, a window 27.
    for step_s, begin_s, end_s in ((0.3, 0.35, 0.77), (0.5, 0.05, 0.47)):
        t = np.arange(38_400) / RATE_HZ
        course_hz = 220.0 * 2.0 ** (0.6 * (t >= step_s) / 12.0)
        tone = harmonics(course_hz, SAW, 0.8)
        (note,) = harmony_error(tone, tone, RATE_HZ, 0.0).notes
        assert note.time_s[0] == pytest.approx(begin_s, abs=0.025)
        assert note.time_s[-1] == pytest.approx(end_s, abs=0.025)


@pytest.mark.parametrize("cents", [-2.0, 30.0, *thorough(-30.0, 2.0)])
def test_a_mistuned_voice_is_mistuned_by_so_much(cents: float) -> None:
    error = of_steps(played(STEPS, 7.0 + cents / 100.0).audio)
    assert error.mean_cents == pytest.approx(cents, abs=0.1)
    assert error.spread_cents < 1.0
    assert error.dropped_out == 0


def test_a_voice_that_wavers_spreads_by_so_much() -> None:
    # A tone whose pitch swings by 10 cents: the standard deviation of a sine is 10 / sqrt(2) = 7.07 cents. At 3 Hz a
    # window of 27 ms keeps 0.99 of it.
    t = np.arange(144_000) / RATE_HZ
    swing_hz = 330.0 * 2.0 ** (10.0 / 1200.0 * np.sin(2.0 * np.pi * 3.0 * t))
    take, voice = (harmonics(f, SAW, 3.0) for f in (220.0, swing_hz))
    error = harmony_error(take, voice, RATE_HZ, 12.0 * math.log2(1.5))
    assert error.spread_cents == pytest.approx(10.0 / math.sqrt(2.0), rel=0.03)
    assert abs(error.mean_cents) < 0.3


@pytest.mark.parametrize("latency", [37, *thorough(0, 1_234)])
def test_latency_is_taken_out(latency: int) -> None:
    late = np.concatenate([np.zeros(latency), fifth()])
    here, there = of_steps(fifth()), of_steps(late, latency_samples=latency)
    assert there.mean_cents == pytest.approx(here.mean_cents, abs=1e-3)
    assert [n.level_db for n in there.notes] == pytest.approx([n.level_db for n in here.notes], abs=1e-9)
    assert [n.gap_ms for n in there.notes] == [n.gap_ms for n in here.notes]


def test_one_interval_a_sample() -> None:
    first, second = played(STEPS, 7.0).audio, played(STEPS, 4.0).audio
    onset = round(played(STEPS).onsets_s[1] * RATE_HZ) - 4_800
    mixed = np.where(np.arange(first.size) < onset, first, second)
    semitones = np.where(np.arange(first.size) < onset, 7.0, 4.0)
    error = of_steps(mixed, semitones)
    assert abs(error.mean_cents) < 0.1
    assert [n.semitones for n in error.notes] == pytest.approx([7.0, 4.0, 4.0, 4.0, 4.0])
    assert of_steps(mixed, 7.0).dropped_out == 4


def test_a_drone_is_judged_by_its_own_pitch() -> None:
    drone = harmonics(82.41, SAW, played(STEPS).audio.size / RATE_HZ)  # E2
    error = judge(STEPS).of_pitch(drone, 82.41)
    assert len(error.steady_notes) == 5
    assert abs(error.mean_cents) < 0.05
    assert error.spread_cents < 0.2
    assert judge(STEPS).of_pitch(drone, 82.41 * 2.0 ** (5.0 / 1200.0)).mean_cents == pytest.approx(-5.0, abs=0.05)


@pytest.mark.parametrize("semitones", [2.0, 12.0, *thorough(5.0, -12.0, 19.0, -19.0)])
def test_the_take_itself_is_not_a_harmony(semitones: float) -> None:
    assert of_steps(played(STEPS).audio, semitones).dropped_out == 5


@pytest.mark.parametrize("gain_db", [-3.0, *thorough(0.0, 2.0)])
def test_the_level_of_one_note(gain_db: float) -> None:
    voice, (begin, end) = fifth(), span_of(2)
    before = of_steps(voice)
    voice[begin:end] *= 10.0 ** (gain_db / 20.0)
    after = of_steps(voice)
    changes = [b.level_db - a.level_db for a, b in zip(before.notes, after.notes, strict=True)]
    assert changes == pytest.approx([0.0, 0.0, gain_db, 0.0, 0.0], abs=0.1)
    if gain_db:
        assert after.worst_level_db == after.notes[2].level_db


def span_of(index: int) -> tuple[int, int]:
    """First sample of a note of the steps, and the one behind its last."""
    note = played(STEPS).notes[index]
    return round(note.onset_s * RATE_HZ), round(note.end_s * RATE_HZ)


@pytest.mark.parametrize(("gap_ms", "dropped"), [(17.0, 0), (24.0, 1), *thorough((12.0, 0), (40.0, 1), (200.0, 1))])
def test_a_gap_of_more_than_20_ms_is_a_drop_out(gap_ms: float, dropped: int) -> None:
    voice, (begin, _) = fifth(), span_of(1)
    at = begin + round(0.2 * RATE_HZ)
    voice[at : at + round(gap_ms / 1000.0 * RATE_HZ)] = 0.0
    error = of_steps(voice)
    assert error.dropped_out == dropped
    assert error.notes[1].dropped_out == bool(dropped)
    # peaks are a millisecond or a period of the voice's, 2.3 ms, apart
    assert error.notes[1].gap_ms == pytest.approx(gap_ms, abs=3.5)


def test_a_note_that_is_missing_is_a_drop_out_even_if_it_is_short() -> None:
    voice = played(ROPEWALK, 4.0).audio.copy()
    short = [n for n in judge(ROPEWALK).of_interval(voice, 4.0).notes if not n.steady]
    for note in (short[3], short[20]):
        voice[round((note.begin_s - 0.01) * RATE_HZ) : round(note.end_s * RATE_HZ)] *= 0.01
    error = judge(ROPEWALK).of_interval(voice, 4.0)
    assert [n.begin_s for n in error.notes if n.dropped_out] == [short[3].begin_s, short[20].begin_s]


def test_a_voice_that_turns_to_another_note_drops_out() -> None:
    voice, wrong, (begin, end) = fifth(), played(STEPS, 6.0).audio, span_of(3)
    fifth_of_it = (end - begin) // 5
    voice[begin + 2 * fifth_of_it : begin + 3 * fifth_of_it] = wrong[begin + 2 * fifth_of_it : begin + 3 * fifth_of_it]
    error = of_steps(voice)
    assert [n.dropped_out for n in error.notes] == [False, False, False, True, False]
    assert 0.15 < error.notes[3].off_share < 0.4


@pytest.mark.parametrize("echo_db", [-40.0, *thorough(-50.0, -20.0)])
def test_pre_echo_has_the_power_that_it_was_given(echo_db: float) -> None:
    voice, (begin, _) = fifth(), span_of(1)
    note = of_steps(voice).notes[1]
    onset, end = begin, round(note.end_s * RATE_HZ)
    rms = math.sqrt(np.mean(voice[onset:end] ** 2))
    first, last = onset - round(0.06 * RATE_HZ), onset
    echo = np.sin(2.0 * np.pi * 300.0 * np.arange(last - first) / RATE_HZ)
    voice[first:last] += math.sqrt(2.0) * 10.0 ** (echo_db / 20.0) * rms * echo
    error = of_steps(voice)
    assert error.notes[1].pre_echo_db == pytest.approx(echo_db, abs=1.0)
    assert error.pre_echo_db == error.notes[1].pre_echo_db


def noise(seconds: float, level_db: float, seed: int) -> np.ndarray:
    """White, of a level in dB rms."""
    samples = np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))
    return 10.0 ** (level_db / 20.0) * samples


def tone(pitch_hz: float, level_db: float = -20.0) -> np.ndarray:
    """A second and a half of rest, then a tone of 0.8 s at once, of a level in dB rms."""
    sound = harmonics(pitch_hz, SAW, 0.8)
    sound *= 10.0 ** (level_db / 20.0) / math.sqrt(np.mean(sound**2))
    return np.concatenate([np.zeros(72_000), sound, np.zeros(24_000)])


TONE_S, TONE_END_S = 1.5, 2.3


def only_pre_echo_db(take: np.ndarray, voice: np.ndarray) -> float:
    """Of a take with one note, a fifth below the voice."""
    (note,) = harmony_error(take, voice, RATE_HZ, 12.0 * math.log2(1.5)).notes
    return note.pre_echo_db


@pytest.mark.parametrize("breath_s", [0.0, 0.05, 0.09])
def test_what_sounds_with_the_take_is_no_echo_however_late_the_note_is_found(breath_s: float) -> None:
    # A chiff 10 dB under the tone, which the tracker does not count; a voice has noise of its own there, 2 dB louder.
    chiff = slice(72_000 - round(breath_s * RATE_HZ), 72_000)
    take, voice = tone(220.0), tone(330.0)
    take[chiff] += noise(breath_s, -30.0, 1)
    voice[chiff] += noise(breath_s, -28.0, 2)
    assert only_pre_echo_db(take, voice) < -100.0


def test_a_slow_attack_is_no_echo() -> None:
    # From 80 dB under the tone to its level, in 160 ms; the voice is 10 ms ahead, 5 dB: less than the 6 that it may be.
    seconds = np.arange(tone(220.0).size) / RATE_HZ - TONE_S

    def swell(ahead_s: float) -> np.ndarray:
        level_db = np.clip(500.0 * (seconds + ahead_s - 0.16), -80.0, 0.0)
        return np.where(seconds + ahead_s > 0.0, 10.0 ** (level_db / 20.0), 0.0)

    take, voice = tone(220.0), tone(330.0)
    assert only_pre_echo_db(take * swell(0.0), voice * swell(0.01)) < -60.0


@pytest.mark.parametrize("room_db", [-200.0, -70.0, -62.0])
def test_a_voice_that_begins_20_ms_early_is_told(room_db: float) -> None:
    take, voice = (tone(f) + noise(2.8, room_db, s) for f, s in ((220.0, 1), (330.0, 2)))
    assert only_pre_echo_db(take, voice) < -45.0
    early = slice(72_000 - 960, 72_000)
    voice[early] += 10.0 ** (-30.0 / 20.0) * tone(330.0)[80_000:80_960]
    # 15 of the 35 ms that are listened to, at -30 dB: 10 log10(15 / 35) = -3.7.
    assert only_pre_echo_db(take, voice) == pytest.approx(-33.7, abs=0.7)


def test_an_early_voice_is_told_under_breath_that_comes_first() -> None:
    # 200 ms of breath 45 dB under the tone: the take has begun, but does not speak yet.
    take, voice = tone(220.0), tone(330.0)
    for sound, seed in ((take, 1), (voice, 2)):
        sound[72_000 - 9_600 : 72_000] += noise(0.2, -65.0, seed)
    assert only_pre_echo_db(take, voice) < -60.0
    voice[72_000 - 960 : 72_000] += 10.0 ** (-30.0 / 20.0) * tone(330.0)[80_000:80_960]
    # As above, less four times the breath: 10^-3.37 - 4 * 10^-4.5 is -35.3 dB.
    assert only_pre_echo_db(take, voice) == pytest.approx(-35.3, abs=0.7)


@pytest.mark.parametrize(("rest_s", "told"), [(0.07, False), (0.12, True)])
def test_what_rings_of_the_note_before_is_no_echo(rest_s: float, told: bool) -> None:
    # The voice rings for 60 ms more, 15 dB softer; a rest of less than 100 ms is none to judge by.
    rest = np.zeros(round(rest_s * RATE_HZ))
    take, voice = (np.concatenate([tone(f)[:110_000], rest, tone(1.125 * f)[72_000:]]) for f in (220.0, 330.0))
    voice[110_000:112_880] += 10.0 ** (-15.0 / 20.0) * tone(330.0)[80_000:82_880]
    first, second = harmony_error(take, voice, RATE_HZ, 12.0 * math.log2(1.5)).notes
    assert first.pre_echo_db < -100.0
    assert second.pre_echo_db < -100.0 if told else math.isnan(second.pre_echo_db)


def with_decay(sound: np.ndarray, seed: int) -> np.ndarray:
    """Dies away by 150 dB/s from 0.3 s before its end on, into noise that is 20 dB softer than it was."""
    seconds = np.arange(sound.size) / RATE_HZ - (TONE_END_S - 0.3)
    return sound * 10.0 ** (-150.0 * np.maximum(seconds, 0.0) / 20.0) + noise(2.8, -40.0, seed)


def test_a_voice_that_fades_into_noise_with_the_take_does_not_drop_out() -> None:
    # 80 ms after the decay begins the take is 12 dB softer; from there on the voice is noise, at the take's own level.
    faded = round((TONE_END_S - 0.3 + 0.08) * RATE_HZ)
    take, voice = with_decay(tone(220.0), 1), with_decay(tone(330.0), 2)
    level = np.sqrt(np.convolve((take - voice) ** 2 / 2.0, np.ones(960) / 960.0, "same"))
    lost = np.where(np.arange(voice.size) < faded + 960, voice, level * noise(2.8, 0.0, 3))
    (note,) = harmony_error(take, lost, RATE_HZ, 12.0 * math.log2(1.5)).notes
    assert note.time_s[-1] > TONE_END_S - 0.3 + 0.12  # the tracker's note goes on
    assert note.loud_s[1] == pytest.approx(TONE_END_S - 0.3 + 0.08, abs=0.015)
    assert not note.dropped_out


@pytest.mark.parametrize("wrong_semitones", [-12.0, 12.0])
def test_a_voice_an_octave_wrong_for_a_fifth_of_a_note_drops_out(wrong_semitones: float) -> None:
    # 160 of 800 ms, in a decay by 9 dB: not so soft that it would not count.
    seconds = np.arange(tone(220.0).size) / RATE_HZ - TONE_S
    take, voice, wrong = (
        tone(f) * 10.0 ** (-9.0 * np.clip(seconds / 0.8, 0.0, 1.0) / 20.0)
        for f in (220.0, 330.0, 330.0 * 2.0 ** (wrong_semitones / 12.0))
    )
    voice[100_000:107_680] = wrong[100_000:107_680]
    (note,) = harmony_error(take, voice, RATE_HZ, 12.0 * math.log2(1.5)).notes
    assert note.dropped_out
    assert 0.15 < note.off_share < 0.35


def test_a_silence_of_30_ms_in_a_faded_tail_drops_out() -> None:
    take, voice = with_decay(tone(220.0), 1), with_decay(tone(330.0), 2)
    (whole,) = harmony_error(take, voice, RATE_HZ, 12.0 * math.log2(1.5)).notes
    at = round((whole.time_s[-1] - 0.04) * RATE_HZ)
    voice[at : at + 1_440] = 0.0
    (note,) = harmony_error(take, voice, RATE_HZ, 12.0 * math.log2(1.5)).notes
    assert not whole.dropped_out
    assert note.dropped_out
    assert note.gap_ms == pytest.approx(30.0, abs=3.5)


def test_other_rates_say_the_same() -> None:
    for rate_hz in (44_100.0, 96_000.0):
        take, voice = (played(STEPS, s, rate_hz).audio for s in (0.0, 7.0))
        error = harmony_error(take, voice, rate_hz, 7.0)
        assert len(error.steady_notes) == 5
        assert abs(error.mean_cents) < 0.1
        assert error.dropped_out == 0
        assert abs(error.worst_level_db) < 0.5


def test_silence_and_noise_have_no_notes() -> None:
    noise = 0.1 * np.random.default_rng(1).standard_normal(96_000)
    for take in (np.zeros(96_000), noise, np.zeros(3)):
        error = harmony_error(take, np.zeros(10), RATE_HZ, 7.0)
        assert error.steady_notes == ()
        assert math.isnan(error.mean_cents)
        assert math.isnan(error.worst_level_db)
    silent = of_steps(np.zeros(played(STEPS).audio.size))
    assert silent.dropped_out == 5
    assert math.isnan(silent.mean_cents)
    assert silent.worst_level_db == -math.inf


def test_what_does_not_fit_is_refused() -> None:
    x = np.zeros(48_000)
    with pytest.raises(AudioError, match=r"semitones of shape \(7,\)"):
        harmony_error(x, x, RATE_HZ, np.zeros(7))
    with pytest.raises(AudioError, match="one channel"):
        harmony_error(x, np.zeros((48_000, 2)), RATE_HZ, 0.0)
    with pytest.raises(AudioError, match="not finite"):
        harmony_error(np.full(100, np.nan), x, RATE_HZ, 0.0)
    with pytest.raises(SettingError, match="lower end comes first"):
        harmony_error(x, x, RATE_HZ, 0.0, range_hz=(900.0, 100.0))
