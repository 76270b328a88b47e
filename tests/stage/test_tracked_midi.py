"""The converter beside the horn: steps, latency, and the same notes as the MIDI file that is written as sent."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.dsp.note_events import NoteRules
from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, VOICED
from chainsim.notes.gathering import NoteGatherer
from chainsim.stage.tracked_midi import TrackedMidi
from tests.dsp.test_note_events import REST, rows_of, steps
from tests.stage.control_harness import RATE_HZ, prepared, run

TUNE = rows_of(steps((REST, 0.1), (60.3, 0.2), (62.0, 0.2), (REST, 0.1), (57.9, 0.3)), [(0.11, 0.012)], level_db=-17.0)


def heard(latency_ms: float = 0.0) -> np.ndarray:
    block = prepared(TrackedMidi, latency_ms=latency_ms)
    return run(block, TUNE.shape[1], {"pitch": TUNE})


def test_pitch_comes_in_steps_of_the_bend() -> None:
    # A range of 12 semitones: a step is 0.146 cents; 0.3 semitones are 204.8 steps, so 205 are sent: 30.03 cents.
    f0_hz = heard()[F0_HZ, round(0.2 * RATE_HZ)]
    assert f0_hz == pytest.approx(440.0 * 2.0 ** ((60.0 + 205 * 12 / 8192 - 69.0) / 12.0), rel=1e-12)
    assert abs(1200.0 * np.log2(f0_hz / (440.0 * 2.0 ** ((60.3 - 69.0) / 12.0)))) < 0.08


def test_level_comes_in_steps_of_breath() -> None:
    # -17 dB is 127 * 10^((-17 + 9) / 40) = 80.1, so 80 is sent: -17.03 dB.
    y = heard()
    assert y[LEVEL_DB, round(0.2 * RATE_HZ)] == pytest.approx(-9.0 + 40.0 * np.log10(80 / 127), abs=1e-9)
    assert y[LEVEL_DB, round(0.05 * RATE_HZ)] == -120.0


def test_everything_is_later_by_the_latency_and_says_so() -> None:
    at_once, later = heard(), heard(12.5)
    d = round(0.0125 * RATE_HZ)
    for row in (F0_HZ, VOICED, CONFIDENCE, LEVEL_DB):
        assert np.array_equal(later[row, d:], at_once[row, :-d])
    assert np.all(later[VOICED, :d] == 0.0)
    known, known_later = np.flatnonzero(at_once[ONSET_AGE_S]), np.flatnonzero(later[ONSET_AGE_S])
    assert np.array_equal(known_later, known + d)
    assert later[ONSET_AGE_S, known_later] == pytest.approx(at_once[ONSET_AGE_S, known] + 0.0125)
    assert prepared(TrackedMidi, latency_ms=12.5).age_samples == d


def test_notes_are_those_of_the_file_as_sent() -> None:
    gatherer = NoteGatherer(NoteRules(), RATE_HZ)
    gatherer.add(TUNE)
    sent = gatherer.as_sent().notes
    assert [n.midi for n in sent] == [60, 62, 58]
    y = heard()
    assert np.flatnonzero(y[ONSET_AGE_S]) / RATE_HZ == pytest.approx([n.begin_s for n in sent], abs=1e-9)
    falls = np.flatnonzero(np.diff(y[VOICED]) < 0.0) + 1
    assert falls / RATE_HZ == pytest.approx([sent[1].end_s], abs=1e-9)


def test_any_cutting_gives_the_same_bits_and_a_reset_block_is_a_new_one() -> None:
    block = prepared(TrackedMidi, latency_ms=7.3)
    frames = TUNE.shape[1]
    whole = run(block, frames, {"pitch": TUNE})
    for cuts in (range(1, frames, 509), sorted(np.random.default_rng(4).integers(0, frames, 40).tolist())):
        block.reset()
        assert run(block, frames, {"pitch": TUNE}, cuts=list(cuts)).tobytes() == whole.tobytes()


def test_silence_and_noise_stay_finite_and_sound_nothing() -> None:
    rows = np.zeros((5, 4_800))
    rows[LEVEL_DB] = -120.0
    y = run(prepared(TrackedMidi), 4_800, {"pitch": rows})
    assert np.all(np.isfinite(y))
    assert not y[VOICED].any()
