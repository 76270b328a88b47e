"""Notes of synthesised horns, whose truth is exact: how each way of playing comes out as notes and bends."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.audio.reading import TakeArray
from chainsim.batch.tracking import track
from chainsim.horn.phrase import Note, Phrase
from chainsim.horn.phrases import LANTERN_WALTZ, LOW_WATER, ROPEWALK
from chainsim.horn.play import HornTake, play
from chainsim.notes.track import Track
from tests.note_scores import hz_of, note_scores


def tracked(notes: tuple[Note, ...], horn: str = "tenor sax", tempo_bpm: float = 90.0) -> tuple[HornTake, Track]:
    """A phrase, played and tracked."""
    take = play(Phrase("study", tempo_bpm, notes, horn))
    return take, track(TakeArray(take.audio, take.sample_rate_hz), instrument=horn)


def heights(found: Track) -> list[int]:
    return [n.midi for n in found.played.notes]


@pytest.mark.parametrize("phrase", [LOW_WATER, LANTERN_WALTZ, ROPEWALK], ids=lambda p: p.title)
def test_notes_of_whole_phrases(phrase: Phrase) -> None:
    take = play(phrase)
    notes = track(TakeArray(take.audio, take.sample_rate_hz), instrument=phrase.horn).played.notes
    precision, recall, f_measure = note_scores(
        ((n.onset_s, n.end_s, hz_of(n.pitch)) for n in take.notes),
        ((n.begin_s, n.end_s, hz_of(n.midi)) for n in notes),
    )
    assert f_measure >= 0.9, (precision, recall)  # the project's bar, at MIREX's 50 ms and 50 cents


def test_slurred_notes_are_as_many() -> None:
    scale = (53, 55, 57, 58, 60, 58, 57, 55, 53)
    take, found = tracked(tuple(Note(float(m), 0.5, slurred=k > 0) for k, m in enumerate(scale)))
    assert heights(found) == list(scale)
    begins = np.array([n.begin_s for n in found.played.notes])
    assert np.abs(begins - take.onsets_s).max() < 0.05


def test_repeated_notes_are_as_many() -> None:
    assert heights(tracked(tuple(Note(57.0, 0.5) for _ in range(8)))[1]) == [57] * 8


def test_vibrato_is_bend_within_one_note() -> None:
    _, found = tracked((Note(57.0, 4.0, vibrato=3.0),))
    assert heights(found) == [57]
    steady = found.played.pitch[(found.played.pitch[:, 0] > 1.5) & (found.played.pitch[:, 0] < 3.0), 1]
    assert steady.max() - steady.min() > 0.3


@pytest.mark.parametrize("articulation", ["scoop", "fall", "ghost", "subtone", "growl"])
def test_each_articulation_is_the_note_that_was_meant(articulation: str) -> None:
    notes = tuple(n for _ in range(3) for n in (Note(57.0, 1.5, articulation=articulation), Note(None, 1.0)))
    take, found = tracked(notes)
    ends = [*take.onsets_s[1:], np.inf]
    for note, onset_s, next_s in zip(take.notes, take.onsets_s, ends, strict=True):
        (first, *more) = [n.midi for n in found.played.notes if onset_s - 0.05 <= n.begin_s < next_s - 0.05]
        assert first == 57
        assert more == [] or articulation == "fall", note  # a fall may end in a note of its own
