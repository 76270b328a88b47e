"""A whole take's pitch track: one row an estimate, and the notes in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, VOICED
from chainsim.music.horns import Horn
from chainsim.notes.model import NoteEvents
from chainsim.units import Array

CSV_HEADER = "time_s,f0_hz,voiced,confidence,level_db"


@dataclass(frozen=True)
class Track:
    """What the pitch tracker made of a take.

    Attributes
    ----------
    take : str
        File name, or "array".
    sample_rate_hz : float
    frames, channels : int
        Of the take; two channels were folded to their mean.
    range_hz : (low, high)
        What was looked for.
    horn : Horn or None
    a4_hz : float
        Tuning against which notes and cents are told.
    hop_samples : int
    rows : ndarray, shape (5, estimates)
        As `chainsim.dsp.pitch_rows` names them; estimate k used the samples before (k + 1) hop_samples.
    played, sent : NoteEvents
        Notes from their attacks on, and as a live converter could have sent them.
    known_ms : float
        Median time from a note's attack until it is known; NaN without notes.
    warnings : tuple of str
    """

    take: str
    sample_rate_hz: float
    frames: int
    channels: int
    range_hz: tuple[float, float]
    horn: Horn | None
    a4_hz: float
    hop_samples: int
    rows: Array
    played: NoteEvents
    sent: NoteEvents
    known_ms: float
    warnings: tuple[str, ...] = field(default=())

    @property
    def time_s(self) -> Array:
        """When each estimate could be known: all samples that it used had arrived."""
        time_s: Array = np.arange(1, self.rows.shape[1] + 1) * (self.hop_samples / self.sample_rate_hz)
        return time_s

    @property
    def f0_hz(self) -> Array:
        """Best guess of the fundamental, also where it is unsure; 0 only where there is none."""
        f0_hz: Array = self.rows[F0_HZ]
        return f0_hz

    @property
    def voiced(self) -> npt.NDArray[np.bool_]:
        """Whether a note sounds and its pitch is known."""
        voiced: npt.NDArray[np.bool_] = self.rows[VOICED] > 0.5
        return voiced

    @property
    def confidence(self) -> Array:
        """How probable it is that the guess is right, 0 to 1."""
        confidence: Array = self.rows[CONFIDENCE]
        return confidence

    @property
    def level_db(self) -> Array:
        """Rms level, dB relative to full scale."""
        level_db: Array = self.rows[LEVEL_DB]
        return level_db

    @property
    def duration_s(self) -> float:
        """Length of the take."""
        return self.frames / self.sample_rate_hz

    @property
    def voiced_percent(self) -> float:
        """Share of the estimates that are voiced."""
        return 100.0 * float(np.mean(self.voiced)) if self.rows.shape[1] else 0.0

    def csv_lines(self) -> Iterator[str]:
        """The track as comma-separated values, one line an estimate after the header."""
        yield CSV_HEADER
        columns = (self.time_s, self.f0_hz, self.voiced, self.confidence, self.level_db)
        for time_s, f0_hz, voiced, confidence, level_db in zip(*(c.tolist() for c in columns), strict=True):
            yield f"{time_s:.6f},{f0_hz:.3f},{voiced:d},{confidence:.4f},{level_db:.2f}"
