"""A MIDI file as the rows of a pitch track."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, VOICED
from chainsim.errors import SettingError
from chainsim.notes.model import Note, NoteEvents
from chainsim.notes.smf_writing import SmfLayout, smf_bytes
from chainsim.stage.midi_part import MidiPart
from tests.stage.control_harness import RATE_HZ, prepared, run

EVENTS = NoteEvents(
    (Note(0.1, 0.2, 69, 127), Note(0.2, 0.3, 57, 64), Note(0.35, 0.4, 57, 64)),
    np.array([[0.1, 69.0], [0.15, 70.0], [0.2, 57.0], [0.35, 57.0]]),
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "part.mid").write_bytes(smf_bytes(EVENTS))
    blown = NoteEvents(EVENTS.notes, EVENTS.pitch, np.array([[0.1, 127.0], [0.2, 64.0], [0.35, 1.0]]))
    (tmp_path / "blown.mid").write_bytes(smf_bytes(blown, SmfLayout(bend_range_semitones=2.0)))
    return tmp_path


def at(time_s: float) -> int:
    """A sample well within what holds at a time: half a millisecond later, more than a tick."""
    return round((time_s + 0.0006) * RATE_HZ)


def test_pitch_is_that_of_note_and_bend(folder: Path) -> None:
    y = run(prepared(MidiPart, folder=folder, file="part.mid"), 24_000)
    # A4 is 440 Hz, a semitone above 466.16, an octave below 220.
    for time_s, f0_hz in ((0.1, 440.0), (0.15, 466.1638), (0.2, 220.0), (0.31, 220.0), (0.45, 220.0)):
        cents = 1200.0 * np.log2(y[F0_HZ, at(time_s)] / f0_hz)
        assert abs(cents) < 0.08  # half a step of the bend: 1200 / 8192 / 2
    assert y[F0_HZ, 0] == 0.0
    voiced = [int(y[VOICED, at(t)]) for t in (0.0, 0.1, 0.2, 0.31, 0.35, 0.41)]
    assert voiced == [0, 1, 1, 0, 1, 0]
    assert np.array_equal(y[CONFIDENCE], y[VOICED])


def test_every_note_on_is_an_onset_of_one_sample(folder: Path) -> None:
    y = run(prepared(MidiPart, folder=folder, file="part.mid"), 24_000)
    onsets = np.flatnonzero(y[ONSET_AGE_S])
    assert onsets / RATE_HZ == pytest.approx([0.1, 0.2, 0.35], abs=6e-4)
    assert np.all(y[ONSET_AGE_S, onsets] == 1.0 / RATE_HZ)


def test_level_is_that_of_velocity_or_of_breath(folder: Path) -> None:
    # 127 is -9 dB; 64 is 11.90 dB less, 1 is 84.15 dB less (General MIDI, 40 log10).
    plain = run(prepared(MidiPart, folder=folder, file="part.mid"), 24_000)
    assert [plain[LEVEL_DB, at(t)] for t in (0.1, 0.2, 0.35)] == pytest.approx([-9.0, -20.90, -20.90], abs=0.01)
    blown = run(prepared(MidiPart, folder=folder, file="blown.mid"), 24_000)
    assert [blown[LEVEL_DB, at(t)] for t in (0.1, 0.2, 0.35)] == pytest.approx([-9.0, -20.90, -93.15], abs=0.01)
    assert blown[LEVEL_DB, at(0.31)] == -120.0


def test_tuning_moves_the_pitch(folder: Path) -> None:
    y = run(prepared(MidiPart, folder=folder, a4_hz=442.0, file="part.mid"), 24_000)
    assert y[F0_HZ, at(0.1)] == pytest.approx(442.0)


@pytest.mark.parametrize("rate_hz", [8_000.0, 44_100.0, 192_000.0])
def test_times_are_the_same_at_every_rate(folder: Path, rate_hz: float) -> None:
    y = run(prepared(MidiPart, rate_hz=rate_hz, folder=folder, file="part.mid"), int(0.5 * rate_hz))
    assert np.flatnonzero(y[ONSET_AGE_S]) / rate_hz == pytest.approx([0.1, 0.2, 0.35], abs=6e-4)


def test_any_cutting_and_any_beginning_give_the_same_bits(folder: Path) -> None:
    block = prepared(MidiPart, folder=folder, file="blown.mid")
    whole = run(block, 24_000)
    for cuts in (range(1, 24_000, 509), sorted(np.random.default_rng(4).integers(0, 24_000, 40).tolist())):
        assert run(block, 24_000, cuts=list(cuts)).tobytes() == whole.tobytes()
    assert run(block, 10_000, n0=9_700).tobytes() == np.ascontiguousarray(whole[:, 9_700:19_700]).tobytes()


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({}, "file: a MIDI part needs one"),
        ({"file": "none.mid"}, "not found in"),
        ({"file": "../part.mid"}, "lies outside the sketch's own folder"),
        ({"file": "part.mid", "channel": 5}, "no notes on channel 5, but on 1"),
    ],
)
def test_what_cannot_be_played(folder: Path, settings: dict[str, object], message: str) -> None:
    with pytest.raises(SettingError, match=message):
        prepared(MidiPart, folder=folder, **settings)
