"""What a noise gate does to the notes of a take, read from the gate's gain."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.measure.attacks import Note
from chainsim.units import Array, db_to_gain

SWALLOWED_DB = -10.0
PASSES_DB = -6.0
OPEN_DB = -1.0
SHUT_DB = -3.0
Row = npt.NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Gating:
    """The gate counts as open from -1 dB on and as shut below -3 dB."""

    notes: int
    openings: int
    """Also where it is open at the beginning."""
    swallowed_s: tuple[float, ...]
    """Beginnings of the notes of whose energy less than -10 dB gets through."""
    cut_notes: int
    """Notes whose beginning is cut: the gain is below -6 dB when they begin, and reaches it before they end."""
    median_cut_ms: float
    """Of those, how long it takes to reach -6 dB; NaN if there are none."""
    worst_cut_ms: float
    worst_cut_s: float
    """Where the note begins that is cut worst; NaN if there is none."""
    closes_per_note: float
    """Mean; NaN without notes. More than 1 means that the gate shuts within notes."""
    most_closes: int
    most_closes_s: float
    """Where the note begins that has most of them; NaN if the gate never shuts."""
    rests_open: float
    """Share of the rests' time in which the gate is not shut, 0 to 1; NaN without rests."""


def measure_gating(
    audio: npt.ArrayLike,
    gain: Row,
    sample_rate_hz: float,
    notes: Sequence[Note],
    rests_s: Sequence[tuple[float, float]] = (),
) -> Gating:
    """Compare a gate's gain with the notes of a take.

    Parameters
    ----------
    audio : ndarray, shape (frames, channels) or (frames,)
        The take.
    gain : ndarray, shape (frames,)
        What the gate multiplies each frame of the take by: its latency and that of what precedes it taken out.
    sample_rate_hz : float
    notes : sequence of Note
        As `find_notes` finds them.
    rests_s : sequence of (begin, end)
        As `measure_gaps` finds them.
    """
    take = np.asarray(audio)
    if gain.shape != take.shape[:1]:
        raise AudioError(f"gate's gain: shape {gain.shape}, wanted one value a frame: {take.shape[:1]}")
    begins = np.array([round(n.begin_s * sample_rate_hz) for n in notes], dtype=np.int64)
    ends = np.array([round(n.end_s * sample_rate_hz) for n in notes], dtype=np.int64)
    swallowed = [n.begin_s for n, a, b in zip(notes, begins, ends, strict=True) if _is_swallowed(take[a:b], gain[a:b])]
    cuts_ms = np.array([_cut_ms(gain[a:b], sample_rate_hz) for a, b in zip(begins, ends, strict=True)])
    cut = np.flatnonzero(cuts_ms > 0.0)
    worst = int(cut[np.argmax(cuts_ms[cut])]) if cut.size else None
    changes, opens = _changes(gain)
    closes = _closes_by_note(changes[~opens], begins)
    most = int(np.argmax(closes)) if closes.any() else None
    return Gating(
        notes=len(notes),
        openings=int(np.sum(opens)),
        swallowed_s=tuple(swallowed),
        cut_notes=int(cut.size),
        median_cut_ms=float(np.median(cuts_ms[cut])) if cut.size else math.nan,
        worst_cut_ms=float(cuts_ms[worst]) if worst is not None else math.nan,
        worst_cut_s=notes[worst].begin_s if worst is not None else math.nan,
        closes_per_note=float(np.mean(closes)) if notes else math.nan,
        most_closes=int(closes[most]) if most is not None else 0,
        most_closes_s=notes[most].begin_s if most is not None else math.nan,
        rests_open=_share_open(gain, rests_s, sample_rate_hz),
    )


class OpeningCounter:
    """Counts how often a gate opens, its gain taken span by span; at the beginning it counts as shut."""

    def __init__(self) -> None:
        self.openings = 0
        self._open = False

    def add(self, gain: Array) -> None:
        """Take the gain of the next frames, shape (frames,)."""
        start = 1.0 if self._open else 0.0
        _, opens = _changes(np.concatenate([[start], gain]))
        self.openings += int(np.sum(opens)) - self._open
        self._open = bool(opens[-1]) if opens.size else False


def _is_swallowed(sound: npt.NDArray[Any], gain: Row) -> bool:
    power = np.square(sound, dtype=np.float64).reshape(len(sound), -1).sum(axis=1)
    through, whole = float(np.sum(power * np.square(gain, dtype=np.float64))), float(np.sum(power))
    return through < db_to_gain(SWALLOWED_DB) ** 2 * whole


def _cut_ms(gain: Row, sample_rate_hz: float) -> float:
    """Time until the gain reaches PASSES_DB; 0 if it does at once or never."""
    passing = np.flatnonzero(gain >= db_to_gain(PASSES_DB))
    return 1000.0 * float(passing[0]) / sample_rate_hz if passing.size else 0.0


def _changes(gain: Row) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Frames at which the gate opens or shuts, and which of the two; it starts shut."""
    opening, shutting = _starts(gain >= db_to_gain(OPEN_DB)), _starts(gain < db_to_gain(SHUT_DB))
    frames = np.concatenate([opening, shutting])
    order = np.argsort(frames)
    opens = order < opening.size
    changed = opens != np.concatenate([[False], opens[:-1]])
    return frames[order][changed], opens[changed]


def _starts(flags: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Where runs of flagged frames start."""
    starts = flags.copy()
    starts[1:] &= ~flags[:-1]
    return np.flatnonzero(starts)


def _closes_by_note(closings: npt.NDArray[np.int64], begins: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """How often the gate shuts from each note's beginning to the next one's."""
    owner = np.searchsorted(begins, closings, side="right") - 1
    return np.bincount(owner[owner >= 0], minlength=begins.size).astype(np.int64)


def _share_open(gain: Row, rests_s: Sequence[tuple[float, float]], sample_rate_hz: float) -> float:
    parts = [gain[round(a * sample_rate_hz) : round(b * sample_rate_hz)] for a, b in rests_s]
    frames = sum(p.size for p in parts)
    shut_under = db_to_gain(SHUT_DB)
    return sum(int(np.sum(p >= shut_under)) for p in parts) / frames if frames else math.nan
