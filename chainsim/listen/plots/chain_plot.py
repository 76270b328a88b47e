"""Measured chains drawn: response, levels and distortion of a sine, one line a patch."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.measure.chain_figures import ChainFigures
from chainsim.measure.filter_response import FINE_LIMIT_DB, FilterResponse
from chainsim.units import Array

FORMATS = (".png", ".svg", ".pdf")
POINTS_PER_OCTAVE = 24
LOWEST_GAIN_DB, LOWEST_OUT_DBFS = -60.0, -120.0
FEWEST_PERCENT = 1e-3
FEW = 12
"""Of more patches the names stand in two columns."""


def draw_chains(title: str, patches: Sequence[ChainFigures], path: Path, file_format: str) -> None:
    """Draw the figures of some patches into a file ("png", "svg" or "pdf")."""
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(12.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(2, 2, height_ratios=(5, 4))
    response, levels, distortion = (figure.add_subplot(place) for place in (grid[0, :], grid[1, 0], grid[1, 1]))
    colours = matplotlib.colormaps["tab20"](np.linspace(0.0, 1.0, 20))
    for i, figures in enumerate(patches):
        colour = colours[i % 20]
        freq_hz, gain_db = smoothed(figures.response)
        response.plot(freq_hz, np.maximum(gain_db, LOWEST_GAIN_DB), color=colour, lw=1.2, label=figures.name)
        coarse_hz, coarse_db = coarse(figures.response)
        response.plot(coarse_hz, np.maximum(coarse_db, LOWEST_GAIN_DB), "o", color=colour, ms=4, mfc="none")
        if np.isfinite(figures.largest.freq_hz) and figures.largest.gain_db > LOWEST_GAIN_DB:
            response.plot(figures.largest.freq_hz, figures.largest.gain_db, "v", color=colour, ms=6)
        ins = [step.in_dbfs for step in figures.steps]
        outs = [max(step.out_dbfs, LOWEST_OUT_DBFS) for step in figures.steps]
        levels.plot(ins, outs, ".-", color=colour, lw=1.2)
        thd = [max(step.thd_percent, FEWEST_PERCENT) for step in figures.steps]
        distortion.semilogy(ins, thd, ".-", color=colour, lw=1.2)
    level_dbfs = patches[0].response.level_dbfs
    response.set_title(
        f"{title}: response to broadband sound of {level_dbfs:g} dBFS rms; triangles: largest gain over the dry sound;"
        " rings: a third octave as a whole, no finer",
        loc="left", fontsize=10, parse_math=False,
    )  # fmt: skip
    _label(response, "Hz", "dB")
    response.set_xscale("log")
    response.set_xlim(20.0, 20_000.0)
    ticks = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
    response.set_xticks(ticks, [f"{hz / 1000:g} k" if hz >= 1000 else f"{hz}" for hz in ticks])
    response.minorticks_off()
    response.legend(fontsize=7, frameon=False, ncols=1 if len(patches) <= FEW else 2, loc="best")
    for axes, label in ((levels, "out, dBFS"), (distortion, "THD, % (0.001 and less at the bottom)")):
        _label(axes, "sine in, dBFS", label)
    levels.axline((0.0, 0.0), slope=1.0, color="#999999", lw=0.8, ls=":")
    figure.savefig(path, format=file_format, dpi=120)


def smoothed(response: FilterResponse) -> tuple[Array, Array]:
    """Mean power in steps of 1/24 octave; NaN where single bins say nothing."""
    steps = np.round(POINTS_PER_OCTAVE * np.log2(response.freq_hz / 1000.0)).astype(np.int64)
    first = np.flatnonzero(np.diff(steps, prepend=steps[0] - 1))
    counts = np.diff(np.append(first, steps.size))
    fine_db = np.where(response.is_fine, response.fine_db, np.nan)
    power = np.add.reduceat(10.0 ** (fine_db / 10.0), first) / counts
    return 1000.0 * 2.0 ** (steps[first] / POINTS_PER_OCTAVE), 10.0 * np.log10(power)


def coarse(response: FilterResponse) -> tuple[Array, Array]:
    """Middles and gains of the third octaves of which only the whole is known."""
    known = ~np.isnan(response.gain_db) & (response.stray_db > FINE_LIMIT_DB)
    return np.array([band.centre_hz for band in response.bands])[known], response.gain_db[known]


def _label(axes: Any, x: str, y: str) -> None:
    axes.set_xlabel(x, fontsize=9)
    axes.set_ylabel(y, fontsize=9)
    axes.grid(color="#dddddd", lw=0.6)
    axes.set_axisbelow(True)
