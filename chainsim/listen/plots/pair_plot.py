"""A measured box drawn: the response of its direct sound with bounds, how far that can be believed, and its echoes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.measure.pair.deconvolution import Deconvolution
from chainsim.measure.pair.response import BandResponse
from chainsim.units import Array

FORMATS = (".png", ".svg", ".pdf")
BEFORE_S, AFTER_S = 0.05, 1.5
LOWEST_DB = -60.0
LEAST_SPAN_DB = 3.0
TICKS_HZ = (50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)


def draw_pair(
    title: str, bands: Sequence[BandResponse], found: Deconvolution, lag: int, path: Path, file_format: str
) -> None:
    """Draw a box into a file.

    Parameters
    ----------
    title : str
    bands : sequence of BandResponse
        Those without a gain are left out.
    found : Deconvolution
    lag : int
        Of the direct sound in samples: 0 ms of the impulse response.
    path : Path
    file_format : str
        "png", "svg" or "pdf".
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(12.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(3, 1, height_ratios=(4, 2, 4))
    response, coherence, impulse = (figure.add_subplot(grid[row, 0]) for row in range(3))
    response.set_title(title, loc="left", fontsize=10, parse_math=False)
    seen = [band for band in bands if band.gain_db.found]
    freq_hz = [band.centre_hz for band in seen]
    gains, lows, highs = (np.array([getattr(b.gain_db, part) for b in seen]) for part in ("value", "low", "high"))
    response.errorbar(freq_hz, gains, yerr=(gains - lows, highs - gains), fmt=".-", lw=1.2, capsize=2.0)
    low_db, high_db = response.get_ylim()
    response.set_ylim(min(low_db, -LEAST_SPAN_DB), max(high_db, LEAST_SPAN_DB))
    coherence.plot([band.centre_hz for band in bands], [band.coherence for band in bands], ".-", lw=1.2)
    coherence.set_ylim(0.0, 1.05)
    for axes, label in ((response, "gain, dB"), (coherence, "coherence")):
        axes.set_xscale("log")
        axes.set_xlim(40.0, 25_000.0)
        axes.set_xticks(TICKS_HZ, [f"{hz / 1000:g} k" if hz >= 1000 else f"{hz}" for hz in TICKS_HZ])
        axes.minorticks_off()
        _label(axes, "Hz, third octaves", label)
    impulse.plot(*impulse_level(found, lag), lw=0.6)
    impulse.set_ylim(LOWEST_DB, 5.0)
    impulse.set_xlim(-1000.0 * BEFORE_S, 1000.0 * AFTER_S)
    _label(impulse, "ms after the direct sound", "impulse response, dB")
    figure.savefig(path, format=file_format, dpi=120)


def impulse_level(found: Deconvolution, lag: int) -> tuple[Array, Array]:
    """Times in ms from the direct sound, and the level of the response there under its largest value."""
    before, after = (round(s * found.sample_rate_hz) for s in (BEFORE_S, AFTER_S))
    part = np.abs(found.around(lag, before, after))
    level_db: Array = 20.0 * np.log10(np.maximum(part / max(float(np.max(part)), 1e-12), 10.0 ** (LOWEST_DB / 20.0)))
    times_ms: Array = np.arange(-before, after, dtype=np.float64) * (1000.0 / found.sample_rate_hz)
    return times_ms, level_db


def _label(axes: Any, x: str, y: str) -> None:
    axes.set_xlabel(x, fontsize=9)
    axes.set_ylabel(y, fontsize=9)
    axes.grid(color="#dddddd", lw=0.6)
    axes.set_axisbelow(True)
