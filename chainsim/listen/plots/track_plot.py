"""A pitch track drawn: notes as bars on their lines, the pitch as it moved, and below it confidence and level."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from chainsim.music.pitch import pitch_name
from chainsim.notes.track import Track
from chainsim.units import Array

FORMATS = (".png", ".svg", ".pdf")

INCHES_A_SECOND = 1.0
WIDTHS = (10.0, 80.0)
"""Least and largest width in inches: ten seconds fill the first."""
LOWEST_SHOWN_DB = -80.0
MARGIN_ST = 3
LEAP_ST = 1.0
UNNAMED_AT = 30
"""From so many semitones on, only natural notes are named."""
_BLACK_KEYS = {1, 3, 6, 8, 10}
_NOTE, _PITCH, _UNSURE, _LEVEL = "#e3b36b", "#14365c", "#b06a5a", "#5d8a74"


def draw_track(track: Track, path: Path, file_format: str, *, written: bool = False) -> None:
    """Draw a track into a file.

    Parameters
    ----------
    track : Track
    path : Path
    file_format : str
        "png", "svg" or "pdf".
    written : bool
        Name notes as they stand on the horn's part; needs a track with a horn.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    width = min(max(track.duration_s * INCHES_A_SECOND, WIDTHS[0]), WIDTHS[1])
    figure = Figure(figsize=(width, 6.5), layout="constrained")
    FigureCanvasAgg(figure)
    roll, trust = figure.subplots(2, 1, sharex=True, height_ratios=(4, 1))
    shift = track.horn.transposition if written and track.horn is not None else 0
    pitch = _pitch(track)
    _draw_roll(roll, track, pitch, shift)
    _draw_trust(trust, track)
    names = f"written for {track.horn.name}" if shift and track.horn is not None else "sounding"
    title = (
        f"{Path(track.take).name}: {len(track.played.notes)} notes, {names}; A4 = {track.a4_hz:g} Hz, C4 is middle C"
    )
    roll.set_title(title, loc="left", fontsize=10, parse_math=False)
    figure.savefig(path, format=file_format, dpi=120)


def _pitch(track: Track) -> Array:
    """The best guess on the scale of MIDI notes; NaN where there is none, and at leaps, so that no line joins them."""
    known = track.f0_hz > 0.0
    pitch = np.full(track.f0_hz.shape, np.nan)
    pitch[known] = 69.0 + 12.0 * np.log2(track.f0_hz[known] / track.a4_hz)
    pitch[1:][np.abs(np.diff(pitch)) > LEAP_ST] = np.nan
    return pitch


def _draw_roll(axes: Any, track: Track, pitch: Array, shift: int) -> None:
    low, high = _shown(track, pitch)
    for midi in range(low, high + 1):
        if (midi - shift) % 12 in _BLACK_KEYS:
            axes.axhspan(midi - 0.5, midi + 0.5, color="#f1f1ee", zorder=0)
    for note in track.played.notes:
        axes.broken_barh(
            [(note.begin_s, note.end_s - note.begin_s)], (note.midi - 0.4, 0.8), facecolor=_NOTE, edgecolor="#8a6425"
        )
    axes.plot(track.time_s, np.where(track.voiced, np.nan, pitch), color=_UNSURE, lw=0.6, alpha=0.6, label="unsure")
    axes.plot(track.time_s, np.where(track.voiced, pitch, np.nan), color=_PITCH, lw=1.2, label="pitch")
    axes.set_ylim(low - 0.5, high + 0.5)
    named = [
        midi
        for midi in range(low, high + 1)
        if 0 <= midi - shift <= 127 and (high - low < UNNAMED_AT or (midi - shift) % 12 not in _BLACK_KEYS)
    ]
    axes.set_yticks(named, [pitch_name(midi - shift) for midi in named], fontsize=8)
    axes.grid(axis="x", color="#dddddd", lw=0.6)
    axes.set_axisbelow(True)
    axes.legend(loc="upper right", fontsize=8, frameon=False, ncols=2)


def _shown(track: Track, pitch: Array) -> tuple[int, int]:
    """Lowest and highest MIDI note of the picture: around what was played, or else what was looked for."""
    heights = [n.midi for n in track.played.notes]
    if not heights:
        found = pitch[np.isfinite(pitch)]
        heights = [int(found.min()), int(found.max())] if found.size else [60, 72]
    return max(min(heights) - MARGIN_ST, 0), min(max(heights) + MARGIN_ST, 127)


def _draw_trust(axes: Any, track: Track) -> None:
    axes.fill_between(track.time_s, track.confidence, color=_PITCH, alpha=0.35, lw=0.0, step="pre")
    axes.set_ylim(0.0, 1.05)
    axes.set_ylabel("confidence", color=_PITCH, fontsize=8)
    axes.set_xlabel("time when known, s", fontsize=9)
    axes.set_xlim(0.0, max(track.duration_s, 1e-3))
    level = axes.twinx()
    level.plot(track.time_s, np.maximum(track.level_db, LOWEST_SHOWN_DB), color=_LEVEL, lw=0.8)
    level.set_ylim(LOWEST_SHOWN_DB, 0.0)
    level.set_ylabel("level, dBFS", color=_LEVEL, fontsize=8)
