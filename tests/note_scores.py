"""Notes found beside notes played, as MIREX counts them: onset within 50 ms, pitch within 50 cents."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from mir_eval import transcription

PlainNote = tuple[float, float, float]
"""Begin and end in seconds, frequency in Hz."""


def note_scores(played: Iterable[PlainNote], found: Iterable[PlainNote]) -> tuple[float, float, float]:
    """Precision, recall and F-measure; ends do not count."""
    true, told = (np.array(list(notes)).reshape(-1, 3) for notes in (played, found))
    precision, recall, f_measure, _ = transcription.precision_recall_f1_overlap(
        true[:, :2], true[:, 2], told[:, :2], told[:, 2], offset_ratio=None
    )
    return precision, recall, f_measure


def hz_of(midi: float) -> float:
    """Frequency of a MIDI note at A4 = 440 Hz."""
    return float(440.0 * 2.0 ** ((midi - 69.0) / 12.0))
