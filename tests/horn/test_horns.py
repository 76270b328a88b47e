"""Each horn has its own voice: known facts of acoustics, measured on the sound."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.horn.model import HORNS
from chainsim.horn.phrase import Note, Phrase
from chainsim.horn.play import play
from tests.horn.listening import centroid_hz, harmonics_db, level_db, one_note, span


@pytest.mark.parametrize("horn", HORNS)
def test_louder_is_brighter(horn: str) -> None:
    model = HORNS[horn]
    sounds = [span(one_note(Note(model.low_midi + 9, 1.2, d), horn), 0.4, 1.0) for d in (0.1, 0.5, 1.0)]
    levels, centroids = [level_db(x) for x in sounds], [centroid_hz(x) for x in sounds]
    assert levels[2] - levels[0] == pytest.approx(0.9 * model.range_db, abs=4.0)
    assert centroids[0] < centroids[1] < centroids[2]


def test_brass_brightens_most_and_the_flute_least() -> None:
    def growth(horn: str) -> float:
        soft, loud = (centroid_hz(span(one_note(Note(60, 1.2, d), horn), 0.4, 1.0)) for d in (0.1, 1.0))
        return loud / soft

    # Fletcher and Rossing, chapters 14 and 16 (from memory): brass spectra grow steeply with level, flutes' little
    assert growth("trombone") > 1.5 * growth("flute")
    assert growth("trumpet") > growth("flute")


def test_a_low_clarinet_lacks_even_harmonics() -> None:
    take = one_note(Note(52, 1.2, 0.6, vibrato=0.0), "clarinet", clean=True)
    level = harmonics_db(span(take, 0.4, 1.0), take.notes[0].f0_hz, 6)
    # sampled clarinets: second and fourth harmonic 34 dB and more under the first (a cylinder stopped at one end)
    assert np.max(level[1:4:2]) < np.min(level[0:3:2]) - 15.0
    sax = one_note(Note(52, 1.2, 0.6, vibrato=0.0), "tenor sax", clean=True)
    level = harmonics_db(span(sax, 0.4, 1.0), sax.notes[0].f0_hz, 6)
    assert level[1] > level[0] - 10.0


def breath_db(horn: str, pitch: float) -> float:
    """Level of the breath against the tone."""
    note = Note(pitch, 1.2, 0.8)
    clean = span(one_note(note, horn, clean=True), 0.4, 1.0)
    airy = play(Phrase("airy", 60.0, (note,), horn), unsteadiness=0.0, floor_dbfs=-np.inf, lead_s=0.2)
    return level_db(span(airy, 0.4, 1.0) - clean) - level_db(clean)


@pytest.mark.parametrize("horn", HORNS)
def test_breath_lies_under_the_tone(horn: str) -> None:
    # sampled horns: -45 to -35 dB for flutes, down to -60 and less for clarinets and brass
    assert -65.0 < breath_db(horn, HORNS[horn].low_midi + 12) < -30.0


def test_flutes_are_airier_than_clarinets() -> None:
    assert breath_db("flute", 72.0) > breath_db("clarinet", 72.0) + 8.0
