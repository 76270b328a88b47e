"""Notes as they were played: what is known by the end sets right what had to be sent too early."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.dsp.note_events import NoteRules
from chainsim.notes.gathering import NoteGatherer
from chainsim.units import Array
from tests.dsp.test_note_events import RATE_HZ, REST, rows_of, steps


def gathered(rows: Array, span: int = 4_096) -> NoteGatherer:
    gatherer = NoteGatherer(NoteRules(), RATE_HZ)
    for n0 in range(0, rows.shape[1], span):
        gatherer.add(np.ascontiguousarray(rows[:, n0 : n0 + span]))
    return gatherer


def test_a_note_is_played_from_its_attack_and_sent_when_it_is_known() -> None:
    gatherer = gathered(rows_of(steps((REST, 0.1), (60.0, 0.3), (REST, 0.2)), [(0.1, 0.015)]))
    (played,), (sent,) = gatherer.as_played().notes, gatherer.as_sent().notes
    assert (played.begin_s, played.end_s) == pytest.approx((0.085, 0.4), abs=1e-3)
    assert (sent.begin_s, sent.end_s) == pytest.approx((0.106, 0.44), abs=1e-3)  # flat for 6 ms; no dropout after 40 ms
    assert gatherer.median_age_s() == pytest.approx(0.021, abs=1e-3)


def test_an_attack_that_is_known_after_the_pitch_still_gives_the_begin() -> None:
    gatherer = gathered(rows_of(steps((REST, 0.1), (60.0, 0.3), (REST, 0.2)), [(0.12, 0.03)]))
    assert [n.begin_s for n in gatherer.as_played().notes] == [pytest.approx(0.09, abs=1e-3)]


def test_a_scoop_belongs_to_the_note_it_leads_to() -> None:
    scoop = np.concatenate([steps((REST, 0.1)), np.linspace(57.5, 60.0, 60), steps((60.0, 0.3), (REST, 0.1))])
    gatherer = gathered(rows_of(scoop))
    (note,) = gatherer.as_played().notes
    assert note.midi == 60
    assert note.begin_s == pytest.approx(0.1, abs=0.01)
    pitch = gatherer.as_played().pitch
    assert pitch[0, 1] < 59.0
    assert pitch[-1, 1] == pytest.approx(60.0, abs=0.02)


def test_an_attack_an_octave_too_low_belongs_to_its_note() -> None:
    gatherer = gathered(rows_of(steps((REST, 0.1), (48.0, 0.08), (60.0, 0.3), (REST, 0.1))))
    assert [n.midi for n in gatherer.as_sent().notes] == [48, 60]
    assert [n.midi for n in gatherer.as_played().notes] == [60]


@pytest.mark.parametrize(("low", "high", "seconds"), [(41.0, 67.0, 0.03), (48.0, 60.0, 0.08), (72.0, 60.0, 0.03)])
def test_a_wrong_pitch_at_the_beginning_is_dropped(low: float, high: float, seconds: float) -> None:
    gatherer = gathered(rows_of(steps((REST, 0.1), (low, seconds), (high, 0.3), (REST, 0.1))))
    assert np.isclose(gatherer.as_sent().pitch[:, 1], low).any()
    played = gatherer.as_played()
    (note,) = played.notes
    assert (note.midi, note.begin_s) == (round(high), pytest.approx(0.1, abs=0.01))
    assert played.pitch[0, 0] == note.begin_s
    assert np.abs(played.pitch[:, 1] - high).max() < 0.02


def test_a_long_slide_keeps_its_pitch() -> None:
    slide = np.concatenate([steps((REST, 0.1)), np.linspace(56.0, 60.0, 90), steps((60.0, 0.3), (REST, 0.1))])
    played = gathered(rows_of(slide)).as_played()
    assert [n.midi for n in played.notes] == [60]
    assert played.pitch[0, 1] < 56.4


def test_a_real_octave_slur_stays_two_notes() -> None:
    gatherer = gathered(rows_of(steps((REST, 0.1), (48.0, 0.2), (60.0, 0.3), (REST, 0.1))))
    assert [n.midi for n in gatherer.as_played().notes] == [48, 60]


def test_a_blip_is_no_note() -> None:
    gatherer = gathered(rows_of(steps((REST, 0.1), (60.0, 0.02), (REST, 0.1), (60.0, 0.2), (REST, 0.1))))
    assert len(gatherer.as_sent().notes) == 2
    assert [n.begin_s for n in gatherer.as_played().notes] == [pytest.approx(0.22, abs=1e-3)]


def test_a_note_is_named_for_the_pitch_it_had_most_of_its_time() -> None:
    late = np.concatenate([steps((REST, 0.1)), np.linspace(59.3, 60.0, 40), steps((60.0, 0.1), (REST, 0.1))])
    gatherer = gathered(rows_of(late))
    assert [n.midi for n in gatherer.as_sent().notes] == [59]
    assert [n.midi for n in gatherer.as_played().notes] == [60]


def test_a_note_that_still_sounds_ends_with_the_take() -> None:
    played = gathered(rows_of(steps((REST, 0.1), (60.0, 0.3)))).as_played()
    assert [n.end_s for n in played.notes] == [pytest.approx(0.4)]
    assert [n.end_s for n in played.until(0.3).notes] == [0.3]
    assert played.until(0.05).notes == ()


def test_spans_of_any_length_gather_the_same() -> None:
    tune = rows_of(
        steps((REST, 0.1), (60.3, 0.2), (62.0, 0.2), (REST, 0.1), (57.9, 0.3)), [(0.11, 0.012), (0.45, 0.02)]
    )
    whole = gathered(tune, 1 << 20)
    for span in (1, 509):
        parts = gathered(tune, span)
        for a, b in ((whole.as_played(), parts.as_played()), (whole.as_sent(), parts.as_sent())):
            assert a.notes == b.notes
            assert a.pitch.tobytes() == b.pitch.tobytes()
            assert a.breath.tobytes() == b.breath.tobytes()


def test_nothing_gives_no_notes() -> None:
    gatherer = gathered(rows_of(steps((REST, 0.2))))
    assert gatherer.as_played().notes == gatherer.as_sent().notes == ()
    assert np.isnan(gatherer.median_age_s())
