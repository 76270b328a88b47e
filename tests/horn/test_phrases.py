"""The written notes, the phrases and the example takes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.errors import SettingError
from chainsim.horn.examples import FLOOR_DBFS, PEAK_DBFS, write_takes
from chainsim.horn.model import HORNS
from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import ARTICULATIONS, Note, Phrase
from chainsim.horn.phrases import PHRASES, articulation_study


def test_notation() -> None:
    assert notes_of("E4 2 0.7, ~F#4 1/2 accent, - 1, Bb3 1.5 >0.9 scoop") == (
        Note(64.0, 2.0, 0.7),
        Note(66.0, 0.5, 0.7, "accent", slurred=True),
        Note(None, 1.0, 0.7),
        Note(58.0, 1.5, 0.7, "scoop", swell_to=0.9),
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("E4", '"E4": allowed is a pitch or "-", then beats'),
        ("E4 1/0", '"1/0" is no number'),
        ("H4 1", "H4"),
        ("E4 1 gost", 'no articulation "gost"; did you mean "ghost"?'),
        ("E4 0", "beats = 0, allowed 0.01 ... 64"),
        ("E4 1 1.5", "dynamic = 1.5, allowed 0 ... 1"),
    ],
)
def test_faults_in_notation_are_told(text: str, told: str) -> None:
    with pytest.raises(SettingError) as caught:
        notes_of(text)
    assert told in str(caught.value)


def test_a_phrase_needs_a_note_and_a_tempo() -> None:
    with pytest.raises(SettingError, match="has no note"):
        Phrase("rest", 100.0, (Note(None, 1.0),))
    with pytest.raises(SettingError, match="tempo_bpm = 5 bpm, allowed 20"):
        Phrase("slow", 5.0, (Note(60.0, 1.0),))


def test_phrases_lie_in_their_horns_compass() -> None:
    for phrase in PHRASES.values():
        model = HORNS[phrase.horn]
        for note in phrase.notes:
            assert note.pitch is None or model.low_midi <= note.pitch <= model.high_midi + 7


def test_the_study_has_one_of_everything() -> None:
    assert {note.articulation for note in articulation_study().notes} == set(ARTICULATIONS)


def test_example_takes_are_written_as_promised(tmp_path: Path) -> None:
    import soundfile

    paths = write_takes(tmp_path / "takes")
    assert len(paths) == 3
    for path in paths:
        with soundfile.SoundFile(path) as file:
            assert (file.samplerate, file.channels, file.subtype) == (48_000, 1, "PCM_16")
            assert "Invented" in file.comment
            assert "synthetic" in file.comment
            x = file.read()
        assert 8.0 < x.size / 48_000 < 13.0
        # the floor itself moves the peak a little
        assert 20.0 * np.log10(np.abs(x).max()) == pytest.approx(PEAK_DBFS, abs=0.1)
        assert 20.0 * np.log10(np.std(x[-12_000:])) == pytest.approx(FLOOR_DBFS, abs=1.0)
        assert path.stat().st_size < 1_000_000
