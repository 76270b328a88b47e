"""Pictures of a few curves over time or frequency, as SVG whose lines also differ by their dashes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np

from chainsim.listen.lessons.block_words.words import listed
from chainsim.listen.lessons.claims import measured_only
from chainsim.listen.lessons.excerpt import Heard
from chainsim.listen.lessons.measures import levels_dbfs, spectrum_db
from chainsim.listen.lessons.model import Line, Picture
from chainsim.units import Array

WIDTH, HEIGHT = 480.0, 230.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 18.0, 10.0, 44.0
FREQUENCIES_HZ = (100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0)
DOWN_DB = 70.0
MARKS = ("solid", "dashed", "dotted")


@dataclass(frozen=True)
class Curve:
    """One line: its name, and its points."""

    name: str
    x: Array
    y: Array


@dataclass(frozen=True)
class Axis:
    """What an axis shows: its words, its ends and its ticks."""

    label: str
    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    log: bool = False

    def share(self, value: float) -> float:
        """Where a value lies between the ends, 0 to 1."""
        if self.log:
            at = math.log(value / self.low) / math.log(self.high / self.low)
        else:
            at = (value - self.low) / (self.high - self.low)
        return min(max(at, 0.0), 1.0)


def level_picture(heard: Sequence[Heard], alt: str) -> Picture:
    """Level over time of up to three sounds."""
    curves = [Curve(h.name, *levels_dbfs(h)) for h in heard]
    seconds = float(curves[0].x[-1])
    top = _tidy_top(curves)
    step = 1.0 if seconds <= 10.0 else 5.0
    time = Axis("seconds", 0.0, seconds, tuple((k * step, f"{k * step:g}") for k in range(int(seconds / step) + 1)))
    return _picture(curves, time, _level_axis(top), "Level over time", alt, over_time=True)


def spectrum_picture(heard: Sequence[Heard], alt: str) -> Picture:
    """Spectrum of up to three sounds."""
    curves = [Curve(h.name, *spectrum_db(h)) for h in heard]
    top_db = max(float(np.max(curve.y)) for curve in curves)
    shown = [Curve(curve.name, curve.x, curve.y - top_db) for curve in curves]
    return frequency_picture(shown, "Spectrum: level in sixths of an octave", alt, top_db=0.0)


def frequency_picture(
    curves: Sequence[Curve], caption: str, alt: str, *, top_db: float = 10.0, down_db: float = DOWN_DB
) -> Picture:
    """Levels over frequency."""
    low, high = float(curves[0].x[0]), float(curves[0].x[-1])
    ticks = tuple((f, f"{f / 1000:g}k" if f >= 1000.0 else f"{f:g}") for f in FREQUENCIES_HZ if low <= f <= high)
    return _picture(curves, Axis("Hz", low, high, ticks, log=True), _level_axis(top_db, down_db), caption, alt)


def _level_axis(top_db: float, down_db: float = DOWN_DB) -> Axis:
    step = 20.0 if down_db > 50.0 else 10.0
    count = int(down_db / step)
    ticks = tuple(
        (top_db - k * step, f"{top_db - k * step:.0f}".replace("-", "\N{MINUS SIGN}")) for k in range(count + 1)
    )
    return Axis("dB", top_db - down_db, top_db, ticks)


def _tidy_top(curves: Sequence[Curve]) -> float:
    return 10.0 * math.ceil(max(float(np.max(curve.y)) for curve in curves) / 10.0)


def _picture(curves: Sequence[Curve], x: Axis, y: Axis, caption: str, alt: str, *, over_time: bool = False) -> Picture:
    alt = measured_only(alt) or f"{caption}: {listed([curve.name for curve in curves])}."
    inner_width, inner_height = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM
    frame = f"{LEFT:g} {WIDTH - RIGHT:g} {TOP:g} {TOP + inner_height:g}"
    moving = f' data-seconds="{x.high:.3f}" data-frame="{frame}"' if over_time else ""
    parts = [
        f'<svg class="curves" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="{_attribute(alt)}"{moving}>',
        f'<rect class="curves-ground" x="{LEFT:g}" y="{TOP:g}" width="{inner_width:g}" height="{inner_height:g}"/>',
    ]
    for value, text in x.ticks:
        at = LEFT + x.share(value) * inner_width
        parts.append(f'<path class="curves-grid" d="M{at:.1f} {TOP:g}V{TOP + inner_height:g}"/>')
        parts.append(f'<text x="{at:.1f}" y="{HEIGHT - 26:g}" text-anchor="middle">{escape(text)}</text>')
    for value, text in y.ticks:
        at = TOP + (1.0 - y.share(value)) * inner_height
        parts.append(f'<path class="curves-grid" d="M{LEFT:g} {at:.1f}H{WIDTH - RIGHT:g}"/>')
        parts.append(f'<text x="{LEFT - 6:g}" y="{at + 5:.1f}" text-anchor="end">{escape(text)}</text>')
    parts.append(f'<text x="{WIDTH - RIGHT:g}" y="{HEIGHT - 6:g}" text-anchor="end">{escape(x.label)}</text>')
    parts.append(f'<text x="{LEFT - 6:g}" y="{HEIGHT - 6:g}" text-anchor="end">{escape(y.label)}</text>')
    for number, curve in enumerate(curves):
        points = " ".join(
            f"{LEFT + x.share(float(a)) * inner_width:.1f},{TOP + (1.0 - y.share(float(b))) * inner_height:.1f}"
            for a, b in zip(curve.x, curve.y, strict=True)
        )
        parts.append(f'<polyline class="curve curve-{number + 1}" points="{points}"/>')
    parts.append("</svg>")
    lines = tuple(Line(curve.name, MARKS[number]) for number, curve in enumerate(curves))
    return Picture("".join(parts), caption, lines, alt)


def _attribute(text: str) -> str:
    return escape(text, {'"': "&quot;"})
