"""Runs a block that follows pitch on a scripted track: notes, rests and doubt in, sound out, without the graph."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from chainsim.block import Block, Context, Io, Moving, block_type, seed_of
from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, SILENT_DB, VOICED

HOP = 144
"""Samples between estimates: 3 ms at 48 kHz."""


@dataclass
class Script:
    """A track, written stretch by stretch, and a horn that goes with it: a sine of the track's level."""

    rate_hz: float = 48_000.0
    parts: list[np.ndarray] = field(default_factory=list)

    def note(
        self,
        hz: float | np.ndarray,
        seconds: float,
        level_db: float = -20.0,
        *,
        attack: bool = True,
        voiced: bool = True,
        unknown_s: float = 0.0,
    ) -> Script:
        """Add a note; with `attack`, its onset becomes known 10 ms in, and its pitch after `unknown_s`."""
        n = round(seconds * self.rate_hz)
        rows = np.zeros((5, n))
        held = (np.arange(n) // HOP) * HOP
        rows[F0_HZ] = np.broadcast_to(hz, n)[held]
        rows[VOICED] = float(voiced)
        rows[VOICED, : round(unknown_s * self.rate_hz)] = 0.0
        rows[CONFIDENCE] = rows[VOICED]
        rows[LEVEL_DB] = level_db
        if attack and n:
            rows[ONSET_AGE_S, min(round(0.010 * self.rate_hz), n - 1)] = 0.010
        self.parts.append(rows)
        return self

    def rest(self, seconds: float) -> Script:
        """Add silence, in which the last guess of a pitch stands."""
        rows = np.zeros((5, round(seconds * self.rate_hz)))
        rows[F0_HZ] = self.parts[-1][F0_HZ, -1] if self.parts else 0.0
        rows[LEVEL_DB] = SILENT_DB
        self.parts.append(rows)
        return self

    @property
    def track(self) -> np.ndarray:
        """Rows (5, frames)."""
        return np.ascontiguousarray(np.hstack(self.parts))

    @property
    def horn(self) -> np.ndarray:
        """One channel of a sine at the track's pitch and level."""
        track = self.track
        turns = np.cumsum(np.maximum(track[F0_HZ], 0.0)) / self.rate_hz
        heard = np.where(track[LEVEL_DB] > SILENT_DB, 10.0 ** (track[LEVEL_DB] / 20.0), 0.0)
        return (math.sqrt(2.0) * heard * np.sin(2.0 * np.pi * turns))[None]


def ready(
    type_name: str,
    *,
    channels: int = 1,
    rate_hz: float = 48_000.0,
    key: str | None = None,
    a4_hz: float = 440.0,
    name: str = "test",
    moving: Mapping[str, np.ndarray] | None = None,
    **settings: Any,
) -> Block[Any]:
    """Make and prepare a block for `play`."""
    cls = block_type(type_name)
    chosen = cls.settings_type(**settings)
    ports = {"in": channels, "detector": channels}
    extremes = {n: (getattr(chosen, n),) * 2 for n, s in cls.settings_type.specs().items() if s.movable}
    for setting, row in (moving or {}).items():
        extremes[setting] = (float(np.min(row)), float(np.max(row)))
    block = cls(chosen)
    block.prepare(
        Context(
            sample_rate_hz=rate_hz,
            channels=ports,
            out_channels=cls.output_channels(chosen, ports),
            extremes=extremes,
            tempo_bpm=(40.0, 300.0),
            seed=seed_of(type_name, name, chosen),
            key=key,
            a4_hz=a4_hz,
        )
    )
    return block


def play(
    block: Block[Any],
    track: np.ndarray,
    horn: np.ndarray,
    *,
    bpm: float | np.ndarray = 120.0,
    rate_hz: float = 48_000.0,
    moving: Mapping[str, np.ndarray] | None = None,
    cuts: Sequence[int] | Iterable[int] = (),
    start: int = 0,
) -> np.ndarray:
    """Sound (channels, frames) from frame `start` on, in spans that end at `cuts`."""
    frames = track.shape[1]
    cls = type(block)
    rows = {}
    for name, spec in cls.settings_type.specs().items():
        if spec.movable:
            values = (moving or {}).get(name, np.full(frames, float(getattr(block.settings, name))))
            known, where = np.unique(values, return_inverse=True)
            rows[name] = np.array([spec.row_value(float(v)) for v in known])[where]
    tempo = np.broadcast_to(np.asarray(bpm, dtype=np.float64), (frames,))
    beat = np.concatenate([[0.0], np.cumsum(tempo / (60.0 * rate_hz))[:-1]])
    if np.all(tempo == tempo[0]):
        beat = np.arange(frames) * tempo[0] / (60.0 * rate_hz)
    controls = {"pitch": track, "tempo": np.stack([tempo, beat])}
    out = cls.output_channels(block.settings, {"in": horn.shape[0], "detector": horn.shape[0]})
    y = np.full((out, frames), np.nan)
    for a, b in itertools.pairwise([start, *(c for c in cuts if c > start), frames]):
        cut = {k: np.ascontiguousarray(v[:, a:b]) for k, v in controls.items()}
        x = np.ascontiguousarray(horn[:, a:b])
        part = np.full((out, b - a), np.nan)
        span = Moving({k: np.ascontiguousarray(v[a:b]) for k, v in rows.items()})
        block.process(Io(a, b - a, {"in": x, "detector": x}, cut, span, part, np.empty((0, b - a))))
        y[:, a:b] = part
    return y[:, start:]


def pitch_of(y: np.ndarray, near_hz: float, rate_hz: float = 48_000.0) -> float:
    """Frequency of the strongest line within a semitone and a half of `near_hz`, from the phase of a windowed sine."""
    n = y.size
    window = np.blackman(n)
    spectrum = np.abs(np.fft.rfft(y * window, 16 * n))
    hz = np.arange(spectrum.size) * rate_hz / (16 * n)
    inside = np.flatnonzero((hz > near_hz / 1.09) & (hz < near_hz * 1.09))
    k = inside[np.argmax(spectrum[inside])]
    a, b, c = np.log(spectrum[k - 1 : k + 2])
    return float((k + 0.5 * (a - c) / (a - 2.0 * b + c)) * rate_hz / (16 * n))
