"""Where the search for a block's settings starts, from what was measured of a box, and which settings it may move."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from chainsim.batch.pair.equalizer import nearest_equalizer
from chainsim.batch.pair.report import PairReport
from chainsim.measure.pair.figure import Figure
from chainsim.units import gain_to_db

Values = dict[str, Any]


@dataclass(frozen=True)
class Free:
    """A setting that the search may move: by `step` at first, on a scale of its logarithm where that is its law."""

    name: str
    step: float
    logarithmic: bool = False


@dataclass(frozen=True)
class Recipe:
    """How one type of block is fitted.

    Attributes
    ----------
    starts : callable
        One or more sets of settings to start from.
    free : tuple of Free
    by_level : bool
        Whether two sounds are compared by their levels in bands and time, and not wave by wave: for blocks whose
        waves depend on what can't be measured.
    """

    starts: Callable[[PairReport], list[Values]]
    free: tuple[Free, ...]
    by_level: bool = False


def _known(figure: Figure, otherwise: float) -> float:
    return figure.value if math.isfinite(figure.value) else otherwise


def _gain(report: PairReport) -> list[Values]:
    return [{"gain_db": _known(report.gain_db, 0.0)}]


def _delay(report: PairReport) -> list[Values]:
    echoes = report.echoes
    wet = _known(echoes.first_gain, 0.25)
    without_dry = report.dry_is_off
    return [
        {
            "time_ms": _known(echoes.delay_ms, 350.0),
            "feedback_percent": 100.0 * min(_known(echoes.feedback, 0.0), 0.98),
            "dry_db": "off" if without_dry else _known(report.gain_db, 0.0),
            "wet_db": gain_to_db(wet / max(_known(echoes.feedback, 1.0), 0.01)) if without_dry else gain_to_db(wet),
            "low_cut_hz": 80.0,
            "high_cut_hz": 8000.0,
        }
    ]


def _reverb(report: PairReport) -> list[Values]:
    decay_s = _known(report.tail.decay_s, 1.5)
    # At wet_db = 0 noise comes back as loud as it went in: that is what the tail's share of power says.
    wet_db = float(np.clip(report.tail.share_db, -60.0, 12.0))
    common = {"dry_db": _known(report.gain_db, 0.0), "decay_s": decay_s, "wet_db": wet_db, "high_ratio": 0.6}
    return [{"space": space, **common} for space in ("hall", "room", "plate", "spring")]


def _noise_gate(report: PairReport) -> list[Values]:
    floor_db = report.gating.floor_db.value
    attack_ms = report.gating.attack_ms
    return [
        {
            "threshold_db": _known(report.gating.threshold_db, -45.0),
            "floor_db": float(np.clip(floor_db, -96.0, 0.0)) if not math.isnan(floor_db) else -60.0,
            "attack_ms": attack_ms if math.isfinite(attack_ms) else 2.0,
            "hold_ms": 50.0,
            "release_ms": release_ms,
        }
        for release_ms in (40.0, 160.0)
    ]


def _tremolo(report: PairReport) -> list[Values]:
    sway = report.sway if report.modulation == "tremolo" else None
    if sway is None:
        return [{"rate_hz": 5.0, "depth": 0.1, "phase": 0.0}]
    return [{"rate_hz": sway.rate_hz.value, "depth": min(sway.depth.value, 1.0), "phase": sway.phase}]


def _vibrato(report: PairReport) -> list[Values]:
    sway = report.sway if report.modulation == "vibrato" else None
    if sway is None:
        return [{"rate_hz": 5.5, "depth_cents": 0.0}]
    return [{"rate_hz": sway.rate_hz.value, "depth_cents": min(report.depth_cents.value, 200.0)}]


def _compressor(report: PairReport) -> list[Values]:
    found = report.compression
    ratio = float(np.clip(_known(found.ratio, 3.0), 1.1, 20.0))
    threshold_db = _known(found.threshold_db, -26.0)
    make_up_db = found.soft_gain_db
    if not math.isfinite(make_up_db):
        loud = [(level, gain) for level, gain in found.curve_db if level > threshold_db]
        over = [gain + (1.0 - 1.0 / ratio) * (level - threshold_db) for level, gain in loud]
        make_up_db = float(np.median(over)) if over else _known(report.gain_db, 0.0)
    return [
        {
            "threshold_db": threshold_db,
            "ratio": ratio,
            "make_up_db": float(np.clip(make_up_db, -24.0, 48.0)),
            "knee_db": 6.0,
            "attack_ms": 10.0,
            "release_ms": 150.0,
        }
    ]


def _equalizer(report: PairReport) -> list[Values]:
    if report.response is None:
        return [{"gain_db": _known(report.gain_db, 0.0), "bands": []}]
    sign = -1.0 if report.alignment.inverted else 1.0
    return [nearest_equalizer(report.response, sign, report.sample_rate_hz)]


RECIPES: Mapping[str, Recipe] = {
    "compressor": Recipe(
        _compressor,
        (
            Free("threshold_db", 3.0),
            Free("ratio", 0.3, True),
            Free("make_up_db", 2.0),
            Free("attack_ms", 0.5, True),
            Free("release_ms", 0.5, True),
        ),
    ),
    "delay": Recipe(
        _delay,
        (
            Free("time_ms", 0.01),
            Free("feedback_percent", 3.0),
            Free("wet_db", 0.5),
            Free("high_cut_hz", 0.3, True),
            Free("low_cut_hz", 0.3, True),
            Free("dry_db", 0.1),
        ),
    ),
    "equalizer": Recipe(_equalizer, (Free("gain_db", 0.1),)),
    "gain": Recipe(_gain, (Free("gain_db", 0.1),)),
    "noise_gate": Recipe(
        _noise_gate,
        (
            Free("threshold_db", 2.0),
            Free("hold_ms", 0.4, True),
            Free("release_ms", 0.4, True),
            Free("attack_ms", 0.4, True),
            Free("floor_db", 3.0),
        ),
    ),
    "reverb": Recipe(
        _reverb,
        (Free("wet_db", 1.5), Free("decay_s", 0.05, True), Free("high_ratio", 0.2, True)),
        by_level=True,
    ),
    "tremolo": Recipe(_tremolo, (Free("rate_hz", 0.002), Free("depth", 0.02), Free("phase", 0.02))),
    "vibrato": Recipe(_vibrato, (), by_level=True),
}
"""Types of block that can be fitted."""
