"""Notes found beside notes played, as MIREX counts them: onset within 50 ms, pitch within 50 cents."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

PlainNote = tuple[float, float, float]
"""Begin and end in seconds, frequency in Hz."""
ONSET_S, PITCH_CENTS = 0.050, 50.0


def note_scores(played: Iterable[PlainNote], found: Iterable[PlainNote]) -> tuple[float, float, float]:
    """Precision, recall and F-measure; ends do not count, and each note is matched once, as many of them as can be."""
    true, told = (np.array(list(notes)).reshape(-1, 3) for notes in (played, found))
    apart_s = np.abs(told[:, np.newaxis, 0] - true[:, 0])
    apart_cents = 1200.0 * np.abs(np.log2(told[:, np.newaxis, 2] / true[:, 2]))
    near = csr_array((apart_s <= ONSET_S) & (apart_cents <= PITCH_CENTS))
    hits = int(np.sum(maximum_bipartite_matching(near) >= 0)) if near.size else 0
    precision, recall = hits / max(len(told), 1), hits / max(len(true), 1)
    return precision, recall, 2.0 * precision * recall / (precision + recall) if hits else 0.0


def hz_of(midi: float) -> float:
    """Frequency of a MIDI note at A4 = 440 Hz."""
    return float(440.0 * 2.0 ** ((midi - 69.0) / 12.0))
