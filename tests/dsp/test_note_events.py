"""Notes found in pitch rows whose notes are known, because the rows are made of them."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pytest

from chainsim.dsp import note_rows as found
from chainsim.dsp.note_events import DROPOUT_S, NoteFinder, NoteRules
from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, VOICED
from chainsim.units import Array

RATE_HZ = 48_000.0
HOP = 96
"""Estimates come every 2 ms and are held."""


def rows_of(pitch: Array, onsets: Sequence[tuple[float, float]] = (), level_db: float = -20.0) -> Array:
    """Pitch rows of a pitch (MIDI scale; NaN is unvoiced) every 2 ms; onsets are (known at, age) in seconds."""
    held = np.repeat(pitch, HOP)
    voiced = np.isfinite(held)
    rows = np.zeros((5, held.size))
    last = 0.0
    guesses = []
    for p in pitch:
        last = 440.0 * 2.0 ** ((p - 69.0) / 12.0) if np.isfinite(p) else last
        guesses.append(last)
    rows[F0_HZ] = np.repeat(guesses, HOP)
    rows[VOICED] = rows[CONFIDENCE] = voiced
    rows[LEVEL_DB] = np.where(voiced, level_db, -100.0)
    for known_s, age_s in onsets:
        rows[ONSET_AGE_S, round(known_s * RATE_HZ)] = age_s
    return rows


def steps(*parts: tuple[float, float]) -> Array:
    """A pitch that stands at one height after another: (height, seconds)."""
    return np.concatenate([np.full(round(s / 0.002), p) for p, s in parts])


REST = float("nan")
PLAIN = NoteRules()


def notes_in(rows: Array, rules: NoteRules = PLAIN, cuts: Sequence[int] = ()) -> Array:
    """All rows that the finder makes."""
    finder = NoteFinder(rules, RATE_HZ)
    parts = []
    for a, b in itertools.pairwise([0, *cuts, rows.shape[1]]):
        y = np.full((found.ROWS, b - a), np.nan)
        finder.process(np.ascontiguousarray(rows[:, a:b]), y)
        parts.append(y)
    return np.concatenate(parts, axis=1)


def begun(y: Array) -> list[tuple[int, float]]:
    """(note, when it began) of every note."""
    at = np.flatnonzero(y[found.ON_AGE_S] > 0.0)
    return [(int(y[found.NOTE, i]), float(i / RATE_HZ - y[found.ON_AGE_S, i])) for i in at]


def heights(y: Array) -> list[int]:
    return [note for note, _ in begun(y)]


def test_a_note_begins_at_its_attack_and_ends_where_its_sound_did() -> None:
    y = notes_in(rows_of(steps((REST, 0.2), (60.0, 0.3), (REST, 0.2)), [(0.204, 0.016)]))
    assert begun(y) == [(60, pytest.approx(0.188, abs=7e-4))]
    off = np.flatnonzero(y[found.OFF_AGE_S])
    assert off.size == 1
    assert off[0] / RATE_HZ - y[found.OFF_AGE_S, off[0]] == pytest.approx(0.5, abs=1e-3)
    # Known when the dropout is too long to be one.
    assert off[0] / RATE_HZ == pytest.approx(0.5 + DROPOUT_S, abs=1e-3)
    assert np.all(y[found.NOTE, off[0] :] == -1)


def test_without_an_attack_a_note_begins_when_its_pitch_is_known() -> None:
    assert begun(notes_in(rows_of(steps((REST, 0.2), (60.0, 0.3))))) == [(60, pytest.approx(0.2, abs=7e-4))]


@pytest.mark.parametrize(
    ("cents", "note"), [(0.0, 60), (49.0, 60), (51.0, 61), (-49.0, 60), (-51.0, 59)]
)  # the nearest note
def test_a_note_takes_the_nearest_number(cents: float, note: int) -> None:
    assert heights(notes_in(rows_of(steps((REST, 0.1), (60.0 + cents / 100.0, 0.3))))) == [note]


@pytest.mark.parametrize(
    ("hysteresis_cents", "cents", "wanted"),
    [(0.0, 49.0, [60]), (0.0, 51.0, [60, 61]), (20.0, 69.0, [60]), (20.0, 71.0, [60, 61]), (20.0, -69.0, [60])],
)
def test_a_note_drifts_to_the_next_one_beyond_half_a_semitone_and_the_hysteresis(
    hysteresis_cents: float, cents: float, wanted: list[int]
) -> None:
    drift = np.concatenate(
        [steps((60.0, 0.2)), 60.0 + np.linspace(0.0, cents / 100.0, 500), steps((60 + cents / 100, 1))]
    )
    assert heights(notes_in(rows_of(drift), NoteRules(hysteresis_cents=hysteresis_cents))) == wanted


def test_slurred_notes_are_new_notes_from_where_the_pitch_left() -> None:
    y = notes_in(rows_of(steps((60.0, 0.2), (62.0, 0.08), (64.0, 0.08), (65.0, 0.2), (60.0, 0.2))))
    wanted = [(60, 0.0), (62, 0.2), (64, 0.28), (65, 0.36), (60, 0.56)]
    assert begun(y) == [(note, pytest.approx(t, abs=2e-3)) for note, t in wanted]
    assert [int(v) for v in y[found.SLURRED, y[found.ON_AGE_S] > 0.0]] == [0, 1, 1, 1, 1]


@pytest.mark.parametrize("rate_hz", [4.5, 5.5, 6.5])
@pytest.mark.parametrize("centre", [60.0, 60.3, 59.7])
@pytest.mark.parametrize("phase", [0.0, np.pi / 2, np.pi])
def test_vibrato_of_half_a_semitone_is_one_note(rate_hz: float, centre: float, phase: float) -> None:
    t = np.arange(0.0, 3.0, 0.002)
    swing = 0.5 * np.sin(2.0 * np.pi * rate_hz * t + phase) * np.clip(t / 0.3, 0.0, 1.0)
    assert heights(notes_in(rows_of(centre + swing))) == [60]


def test_a_slur_into_vibrato_is_two_notes() -> None:
    t = np.arange(0.0, 1.0, 0.002)
    swinging = 62.0 + 0.4 * np.sin(2.0 * np.pi * 5.5 * t)
    assert heights(notes_in(rows_of(np.concatenate([steps((60.0, 0.3)), swinging])))) == [60, 62]


@pytest.mark.parametrize("seconds", [0.25, 0.5, 1.0, 1.5])
def test_a_glide_is_a_bend_until_it_arrives(seconds: float) -> None:
    glide = np.linspace(60.0, 66.0, round(seconds / 0.002))
    y = notes_in(rows_of(np.concatenate([steps((60.0, 0.3)), glide, steps((66.0, 0.4))])))
    assert heights(y) == [60, 66]
    bends = y[found.PITCH, y[found.NOTE] == 60]
    assert bends.max() == pytest.approx(66.0, abs=0.1)
    assert np.abs(np.diff(bends)).max() < 24.0 * 0.008  # 24 semitones a second, sent within 8 ms


def test_a_fall_beyond_the_bend_range_begins_another_note() -> None:
    fall = np.linspace(72.0, 58.0, 150)
    y = notes_in(rows_of(np.concatenate([steps((72.0, 0.3)), fall])), NoteRules(bend_range_semitones=12.0))
    assert heights(y)[0] == 72
    assert len(heights(y)) == 2
    assert heights(y)[1] in (59, 60)


def test_repeated_tongued_notes_begin_anew() -> None:
    rows = rows_of(steps((60.0, 0.6)), [(0.02, 0.02), (0.22, 0.02), (0.42, 0.02)])
    assert begun(notes_in(rows)) == [(60, pytest.approx(t, abs=1e-3)) for t in (0.0, 0.2, 0.4)]


@pytest.mark.parametrize(("gap_s", "count"), [(0.03, 1), (0.05, 2)])
def test_a_short_dropout_does_not_split_a_note(gap_s: float, count: int) -> None:
    assert heights(notes_in(rows_of(steps((60.0, 0.2), (REST, gap_s), (60.0, 0.2))))) == [60] * count


def test_a_short_octave_slip_neither_splits_nor_bends_a_note() -> None:
    y = notes_in(rows_of(steps((60.0, 0.2), (72.0, 0.03), (60.0, 0.2))))
    assert heights(y) == [60]
    assert set(np.unique(y[found.PITCH, y[found.NOTE] >= 0])) == {60.0}


def test_levels_are_sent_as_breath_and_the_attack_as_velocity() -> None:
    y = notes_in(rows_of(steps((REST, 0.1), (60.0, 0.3), (REST, 0.2)), level_db=-21.0))
    # General MIDI's 40 log10(v / 127) under -9 dB: 127 * 10^((-21 + 9) / 40) = 63.65, so 64.
    sounding = (y[found.NOTE] >= 0) & (np.arange(y.shape[1]) < 0.39 * RATE_HZ)
    assert set(np.unique(y[found.BREATH, sounding])) == {64.0}
    assert np.all(y[found.BREATH, y[found.NOTE] < 0] == 0.0)
    assert y[found.ATTACK_DB, sounding].max() == -21.0


def test_every_note_keeps_the_level_of_its_own_attack() -> None:
    rows = rows_of(steps((60.0, 0.6)), [(0.02, 0.02), (0.22, 0.02), (0.42, 0.02)])
    for begin_s, level_db in ((0.0, -30.0), (0.2, -12.0), (0.4, -40.0)):
        rows[LEVEL_DB, round(begin_s * RATE_HZ) :] = level_db
    y = notes_in(rows)
    before_ends = [*(np.flatnonzero(y[found.OFF_AGE_S]) - 1), y.shape[1] - 1]
    assert y[found.ATTACK_DB, before_ends].tolist() == [-30.0, -12.0, -40.0]


def test_any_cutting_gives_the_same_bits_and_a_reset_finder_is_a_new_one() -> None:
    random = np.random.default_rng(8)
    heights_st = np.repeat(random.integers(55, 70, 40).astype(float), 30) + np.cumsum(random.normal(0.0, 0.05, 1200))
    heights_st[random.random(1200) < 0.1] = np.nan
    onsets = [(float(t), 0.01) for t in random.uniform(0.1, 2.3, 15)]
    rows = rows_of(heights_st, onsets)
    whole = notes_in(rows)
    assert len(begun(whole)) > 10
    for cuts in ([1, 2, 3], range(509, rows.shape[1], 509), sorted(random.integers(0, rows.shape[1], 50).tolist())):
        assert notes_in(rows, cuts=list(cuts)).tobytes() == whole.tobytes()
    finder, y = NoteFinder(NoteRules(), RATE_HZ), np.empty((found.ROWS, rows.shape[1]))
    finder.process(rows, y)
    finder.reset()
    finder.process(rows, y)
    assert y.tobytes() == whole.tobytes()


def test_every_begin_has_one_end_and_none_overlap() -> None:
    random = np.random.default_rng(9)
    for _ in range(20):
        pitch = np.cumsum(random.normal(0.0, 0.4, 800)) + 60.0
        pitch[np.convolve(random.random(800) < 0.02, np.ones(25), "same") > 0.5] = np.nan
        y = notes_in(rows_of(pitch, [(float(t), 0.02) for t in random.uniform(0.1, 1.5, 10)]))
        sounding, last_end, last_begin = False, 0.0, 0.0
        for i in np.flatnonzero((y[found.ON_AGE_S] > 0.0) | (y[found.OFF_AGE_S] > 0.0)):
            if y[found.OFF_AGE_S, i] > 0.0:
                assert sounding
                last_end, sounding = i / RATE_HZ - y[found.OFF_AGE_S, i], False
                assert last_end >= last_begin - 1.5 / RATE_HZ
            if y[found.ON_AGE_S, i] > 0.0:
                assert not sounding
                last_begin, sounding = i / RATE_HZ - y[found.ON_AGE_S, i], True
                assert last_begin >= last_end - 1.5 / RATE_HZ
        assert sounding == (y[found.NOTE, -1] >= 0)
