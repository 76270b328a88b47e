"""A measured file drawn: its loudness in time and how often which loudness is there, its waveform, its spectrogram."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from chainsim.measure.course import Course

FORMATS = (".png", ".svg", ".pdf")

FAINTEST_LUFS = -60.0
LOUDEST_LUFS = 0.0
SHOWN_DB = 90.0
"""Of the spectrogram, under its strongest band."""
READINGS = 600
"""Most columns of the curves of loudness."""
MINUTES_FROM_S = 180.0
_MOMENTARY, _SHORT_TERM, _INTEGRATED, _WAVE = "#8fb3a2", "#14365c", "#b06a5a", "#5b7f95"


def draw_course(
    course: Course, path: Path, file_format: str, *, title: str, integrated_lufs: float, duration_s: float
) -> None:
    """Draw a sound's course into a file.

    Parameters
    ----------
    course : Course
    path : Path
    file_format : str
        "png", "svg" or "pdf".
    title : str
    integrated_lufs : float
        Drawn as a line, if it is finite.
    duration_s : float
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11.0, 7.5), layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(3, 2, width_ratios=(8, 1), height_ratios=(3, 1.4, 3))
    scale, unit = (60.0, "min") if duration_s >= MINUTES_FROM_S else (1.0, "s")
    loudness, wave, spectrum = panels[:, 0]
    _draw_loudness(loudness, course, integrated_lufs, scale)
    _draw_shares(panels[0, 1], course)
    _draw_wave(wave, course, scale)
    picture = _draw_spectrum(spectrum, course, scale)
    strip = panels[2, 1].inset_axes((0.0, 0.0, 0.2, 1.0))
    figure.colorbar(picture, cax=strip).set_label("dBFS in a bin", fontsize=8)
    strip.tick_params(labelsize=8)
    for axes in panels[1:, 1]:
        axes.set_axis_off()
    for axes in (loudness, wave, spectrum):
        axes.set_xlim(0.0, max(duration_s, 1e-3) / scale)
        axes.tick_params(labelsize=8)
    for axes in (loudness, wave):
        axes.tick_params(labelbottom=False)
    spectrum.set_xlabel(f"time, {unit}", fontsize=9)
    loudness.set_title(title, loc="left", fontsize=10, parse_math=False)
    figure.savefig(path, format=file_format, dpi=120)


def _draw_loudness(axes: Any, course: Course, integrated_lufs: float, scale: float) -> None:
    # In a long file many readings share a column: the curves are then the highest of each, and a shade goes down to the
    # lowest.
    first = np.arange(0, course.time_s.size, -(-course.time_s.size // READINGS) or 1)
    if first.size:
        time, momentary = course.time_s[first] / scale, _shown(course.momentary_lufs)
        crests = np.maximum.reduceat(momentary, first)
        axes.fill_between(time, np.minimum.reduceat(momentary, first), crests, color=_MOMENTARY, alpha=0.5, lw=0.0)
        axes.plot(time, crests, color=_MOMENTARY, lw=0.8, label="momentary, 0.4 s")
        short_term = np.maximum.reduceat(_shown(course.short_term_lufs), first)
        axes.plot(time, short_term, color=_SHORT_TERM, lw=1.4, label="short-term, 3 s")
    if np.isfinite(integrated_lufs):
        axes.axhline(integrated_lufs, color=_INTEGRATED, lw=1.0, ls="--", label=f"integrated, {integrated_lufs:.1f}")
    axes.set_ylim(*_range(course))
    axes.set_ylabel("loudness, LUFS", fontsize=9)
    axes.grid(color="#dddddd", lw=0.6)
    if first.size:
        axes.legend(loc="lower right", fontsize=8, ncols=3, framealpha=0.9)


def _draw_shares(axes: Any, course: Course) -> None:
    """Share of time at each momentary loudness, in steps of 1 LU, on the axis of the curves beside it."""
    low, high = _range(course)
    counts, edges = np.histogram(course.momentary_lufs, bins=np.arange(low, high + 1.0))
    shares = 100.0 * counts / max(course.momentary_lufs.size, 1)
    axes.barh(edges[:-1] + 0.5, shares, height=0.9, color=_MOMENTARY)
    axes.set_ylim(low, high)
    axes.tick_params(labelleft=False, labelsize=8)
    axes.set_xlabel("% of time", fontsize=8)
    axes.grid(axis="y", color="#dddddd", lw=0.6)
    axes.set_axisbelow(True)


def _draw_wave(axes: Any, course: Course, scale: float) -> None:
    lowest, highest = (np.append(row, row[-1:]) for row in (course.lowest, course.highest))
    axes.fill_between(course.column_edges_s / scale, lowest, highest, step="post", color=_WAVE, lw=0.0)
    for full_scale in (-1.0, 1.0):
        axes.axhline(full_scale, color=_INTEGRATED, lw=0.8, ls=":")
    largest = max(1.0, float(np.max(np.abs([course.lowest, course.highest]), initial=0.0)))
    axes.set_ylim(-1.05 * largest, 1.05 * largest)
    axes.set_ylabel("waveform\n(1: full scale)", fontsize=9)


def _draw_spectrum(axes: Any, course: Course, scale: float) -> Any:
    strongest = float(np.max(course.band_dbfs, initial=-SHOWN_DB))
    faintest = strongest - SHOWN_DB
    picture = axes.pcolormesh(
        course.spectrum_edges_s / scale, course.band_edges_hz, np.maximum(course.band_dbfs, faintest), cmap="magma",
        vmin=faintest, vmax=strongest, rasterized=True,
    )  # fmt: skip
    axes.set_yscale("log")
    named = [f for f in (50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000) if f <= course.band_edges_hz[-1]]
    axes.set_yticks(named, [f"{f}" if f < 1000 else f"{f // 1000}k" for f in named])
    axes.minorticks_off()
    axes.set_ylabel("frequency, Hz", fontsize=9)
    return picture


def _shown(levels: Any) -> Any:
    """Levels for a line: what is under the picture lies on its lower edge, not at minus infinity."""
    return np.maximum(levels, FAINTEST_LUFS - 40.0)


def _range(course: Course) -> tuple[float, float]:
    """Whole LUFS around what is there, at least 20 LU and at most down to FAINTEST_LUFS."""
    there = course.momentary_lufs[course.momentary_lufs > FAINTEST_LUFS]
    if not there.size:
        return FAINTEST_LUFS, LOUDEST_LUFS
    high = float(np.ceil(np.max(there))) + 3.0
    return max(FAINTEST_LUFS, min(float(np.floor(np.min(there))) - 2.0, high - 20.0)), high
