"""What is printed of rendered files: a line for each, and a table of what patches do to soft and loud playing."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from chainsim.cli.common import loudness, number, table

if TYPE_CHECKING:
    from chainsim.batch.files.file_report import FileReport


def report_line(report: FileReport) -> str:
    """Length, loudness, peak, trim and latency of one file."""
    trim_db = round(report.trim_db, 1) + 0.0
    trimmed = f", trimmed by {trim_db:+.1f} dB" if trim_db else ""
    lowered = f", lowered by {report.lowered_by_db:.1f} dB" if report.lowered_by_db else ""
    than = {"take while it sounds": report.louder_by_lu, "feed": report.against_feed_lu}
    known = {what: lu for what, lu in than.items() if lu is not None and math.isfinite(lu)}
    told = [f"{round(lu, 1) + 0.0:+.1f} LU against the {what}" for what, lu in known.items()]
    louder = f" ({', '.join(told)})" if told else ""
    seat = "" if report.seat is None else f"seat {report.seat}, "
    return (
        f"{report.output}: {seat}{report.frames / report.sample_rate_hz:.1f} s,"
        f" {loudness(report.integrated_lufs, report.channels)}{louder},"
        f" peak {number(report.true_peak_dbtp, 1, ' dBTP')}{trimmed}{lowered},"
        f" latency {report.latency_ms:.1f} ms, {report.times_real_time:.0f} x real time"
    )


def dynamics_lines(reports: list[FileReport]) -> Iterator[str]:
    """What each patch does to soft, medium and loud playing, as one table."""
    known = [(r, r.dynamics) for r in reports if r.dynamics is not None]
    if not known:
        yield "\nThe take has too little steady playing to tell what becomes of soft and loud."
        return
    yield "\nLU against the take, and how far soft and loud playing lie apart:"
    rows = []
    for report, dynamics in known:
        (soft_in, _, loud_in), (soft, medium, loud) = dynamics.take_lufs, dynamics.offset_lu
        name = report.patch or Path(report.output).name
        offsets = (f"{lu + 0.0:+.1f}" for lu in (soft, medium, loud))
        rows.append((name, number(report.trim_db, 2), *offsets, number(loud_in + loud - soft_in - soft)))
    yield table(("", "trim dB", "soft", "medium", "loud", "apart"), rows)
    soft_lufs, medium_lufs, loud_lufs = known[0][1].take_lufs
    yield (
        f"In this take soft is {soft_lufs:.1f}, medium {medium_lufs:.1f}, loud {loud_lufs:.1f} LUFS:"
        f" {loud_lufs - soft_lufs:.1f} LU apart."
    )
