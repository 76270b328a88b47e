"""The settings of one of our blocks that come nearest to a box, and how near that is.

The search starts from the measured figures and renders the dry recording again and again, with a few settings moved by
the method of Nelder and Mead, until what the block gives is nearest to the wet recording: wave by wave, or, for blocks
whose waves no measurement can tell, by levels in third octaves and time.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.batch.pair.recordings import Pair
from chainsim.batch.pair.report import PairReport
from chainsim.batch.pair.starts import RECIPES, Free, Recipe, Values
from chainsim.batch.pair.verdict import pointing_notes, start_notes, verdict_on
from chainsim.block import block_type
from chainsim.errors import SettingError, nearest
from chainsim.graph.rendering import Rendering, render
from chainsim.measure.pair.alignment import shifted
from chainsim.measure.pair.response import THIRDS_HZ
from chainsim.settings import Spec
from chainsim.sketch.loading import parse_sketch
from chainsim.units import Array

MOST_RENDERS = 30
"""For each setting that is moved."""
EXCERPT_S = 8.0
PULL = 0.003
"""How much nearer a setting must bring the levels for each step it goes: what the recordings leave open stays put."""
FRAME_S = 0.04
NAME = "box"
DIGITS = 5
LEAST_POWER_DB = -70.0


@dataclass(frozen=True)
class PairFit:
    """A block that comes near a box.

    Attributes
    ----------
    block_type : str
    settings : dict
        Those that were found.
    sketch : str
        A sketch of that one block, as a file holds it.
    residual_db : float
        Energy of the wet sound that the block's does not explain, under all of the wet sound's.
    verdict : str
        What that says: by bounds stated in it.
    bands_db : tuple of (centre in Hz, wet, block)
        Levels in third octaves, dBFS.
    notes : tuple of str
    """

    block_type: str
    settings: Mapping[str, Any]
    sketch: str
    residual_db: float
    verdict: str
    bands_db: tuple[tuple[float, float, float], ...]
    notes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        return asdict(self)


def check_can_fit(type_name: str) -> None:
    """SettingError, with those that can, if no block of this type can be fitted."""
    if type_name not in RECIPES:
        known = ", ".join(RECIPES)
        raise SettingError(f'"{type_name}" cannot be fitted to a box, allowed {known}{nearest(type_name, RECIPES)}')


def fit_block(pair: Pair, report: PairReport, type_name: str) -> PairFit:
    """Find the settings that come nearest.

    Parameters
    ----------
    pair : Pair
        The recordings.
    report : PairReport
        What was measured of them.
    type_name : str
        One of `RECIPES`.

    Raises
    ------
    SettingError
        If blocks of this type cannot be fitted.
    """
    check_can_fit(type_name)
    recipe = RECIPES[type_name]
    whole = _Target.of(pair, report, type_name, recipe)
    part = whole.excerpt()
    start = min(recipe.starts(report), key=part.distance)
    found = _searched(part, recipe, start)
    rendering = whole.rendering(found)
    own_ms = 1000.0 * rendering.latency_samples / pair.sample_rate_hz
    latency_ms = (report.latency_ms.value if report.latency_ms.found else 0.0) - own_ms
    if report.dry_is_off and type_name == "delay":
        latency_ms -= report.echoes.delay_ms.value
    notes = []
    if latency_ms < -0.01:
        notes.append(f"the block's own latency, {own_ms:.2f} ms, is {-latency_ms:.2f} ms more than the box's")
    if recipe.by_level and type_name == "vibrato":
        notes.append("where in its turn the box's sway began can't be set, so the waves differ")
    noise_db = report.noise.of_all.value - 10.0 * math.log10(float(np.mean(whole.wet**2)))
    if math.isfinite(noise_db):
        notes.append(f"the box's own noise, {noise_db:.1f} dB under all of the wet sound's energy, is part of that")
    sounding = whole.sound(rendering)
    rest = float(np.sum((whole.wet - sounding) ** 2)) / float(np.sum(whole.wet**2))
    residual_db = 10.0 * math.log10(max(rest, 1e-30))
    levels_off_db = math.sqrt(whole.distance(found)) if recipe.by_level else math.inf
    verdict, near = verdict_on(residual_db, noise_db, levels_off_db)
    notes += start_notes(type_name, report)
    notes += [] if near else pointing_notes(type_name, report)
    found = {name: _rounded(value) for name, value in found.items()}
    if latency_ms >= 0.01:
        found["latency_ms"] = round(min(latency_ms, 500.0), 4)
    return PairFit(
        type_name,
        found,
        _sketch_text(type_name, found, pair.names),
        residual_db,
        verdict,
        _thirds(whole.wet, sounding, pair.sample_rate_hz),
        tuple(notes),
    )


@dataclass(frozen=True)
class _Target:
    """What is to be come near: the wet sound, aligned, its latency taken out."""

    dry: Array
    wet: Array
    sample_rate_hz: float
    type_name: str
    by_level: bool
    sign: float
    floor: float = field(default=0.0)

    @classmethod
    def of(cls, pair: Pair, report: PairReport, type_name: str, recipe: Recipe) -> _Target:
        rate_hz = pair.sample_rate_hz
        lag = float(report.lag)
        if report.dry_is_off and type_name == "delay":
            lag -= report.echoes.delay_ms.value * rate_hz / 1000.0
        wet = shifted(pair.wet, round(lag), pair.dry.size)
        noise_db = report.noise.of_all.value
        floor = 10.0 ** (0.1 * noise_db) if math.isfinite(noise_db) else 1e-6 * float(np.mean(wet**2))
        sign = -1.0 if report.alignment.inverted else 1.0
        return cls(pair.dry, sign * wet, rate_hz, type_name, recipe.by_level, sign, floor)

    def excerpt(self) -> _Target:
        """The beginning, so that the search takes no longer for a long recording."""
        frames = round(EXCERPT_S * self.sample_rate_hz)
        return _Target(
            self.dry[:frames],
            self.wet[:frames],
            self.sample_rate_hz,
            self.type_name,
            self.by_level,
            self.sign,
            self.floor,
        )

    def rendering(self, values: Values) -> Rendering:
        """What the block makes of the dry sound."""
        sketch = parse_sketch(_sketch_text(self.type_name, values))
        return render(sketch, self.dry, self.sample_rate_hz)

    def sound(self, rendering: Rendering) -> Array:
        """One channel of it, its own latency taken out."""
        mono: Array = np.mean(rendering.audio, axis=1)
        return shifted(mono, round(rendering.latency_samples), self.dry.size)

    def distance(self, values: Values) -> float:
        """How far the block's sound is from the wet one."""
        sound = self.sound(self.rendering(values))
        if not self.by_level:
            return float(np.sum((self.wet - sound) ** 2) / np.sum(self.wet**2))
        ours, theirs = (_levels_db(x, self.sample_rate_hz, self.floor) for x in (sound, self.wet))
        return float(np.mean((ours - theirs) ** 2))


def _searched(target: _Target, recipe: Recipe, start: Values) -> Values:
    """The best settings from one start."""
    from scipy.optimize import minimize

    specs = block_type(target.type_name).settings_type.specs()
    free = [f for f in recipe.free if isinstance(start.get(f.name), int | float)]
    if not free:
        return start

    def moved(steps: Array) -> Values:
        return {
            **start,
            **{f.name: _moved(start[f.name], f, s, specs[f.name]) for f, s in zip(free, steps, strict=True)},
        }

    pull = PULL if target.by_level else 0.0
    simplex = np.concatenate([np.zeros((1, len(free))), np.eye(len(free))])
    found = minimize(
        lambda steps: target.distance(moved(steps)) * (1.0 + pull * float(np.sum(np.square(steps)))),
        np.zeros(len(free)),
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxfev": MOST_RENDERS * len(free), "xatol": 0.005, "fatol": 1e-7},
    )
    return moved(found.x)


def _moved(value: float, free: Free, steps: float, spec: Spec) -> float:
    moved = value * math.exp(free.step * steps) if free.logarithmic else value + free.step * steps
    if spec.name == "phase":
        return float(moved % 1.0)
    assert spec.low is not None
    assert spec.high is not None
    return float(min(max(moved, spec.low), spec.high))


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") + 0.0
    if isinstance(value, list):
        return [{k: _rounded(v) for k, v in item.items()} for item in value]
    return value


def _sketch_text(type_name: str, values: Values, names: tuple[str, str] | None = None) -> str:
    import tomlkit

    document = tomlkit.document()
    document["format"] = 1
    if names is not None:
        document["title"] = (
            f"{type_name} that comes nearest to what made {Path(names[1]).name} of {Path(names[0]).name}"
        )
    document["chain"] = [NAME]
    block = tomlkit.table()
    block["type"] = type_name
    for name, value in values.items():
        block[name] = value
    blocks = tomlkit.table(is_super_table=True)
    blocks[NAME] = block
    document["blocks"] = blocks
    return tomlkit.dumps(document)


def _levels_db(x: Array, sample_rate_hz: float, floor: float) -> Array:
    """Levels of third octaves in frames, shape (bands, frames), over a floor that stands for noise in each."""
    from scipy.signal import stft

    size = 1 << round(math.log2(FRAME_S * sample_rate_hz))
    freq_hz, _, spectrum = stft(x, sample_rate_hz, nperseg=size, noverlap=size // 2)
    power = np.square(np.abs(spectrum))
    edges = np.searchsorted(freq_hz, [hz * 10.0**-0.05 for hz in THIRDS_HZ if hz > 1.0 / FRAME_S * 4])
    sums = np.add.reduceat(power, np.unique(edges[edges < power.shape[0]]), axis=0)
    level_db: Array = 10.0 * np.log10(sums + floor / len(THIRDS_HZ) + 1e-12)
    return level_db


def _thirds(wet: Array, ours: Array, sample_rate_hz: float) -> tuple[tuple[float, float, float], ...]:
    """Levels of both in third octaves in which the wet one is to be heard."""
    from scipy.signal import welch

    size = min(1 << round(math.log2(0.17 * sample_rate_hz)), wet.size)
    freq_hz, power = welch(np.stack([wet, ours]), sample_rate_hz, nperseg=size)
    power = power * (freq_hz[1] - freq_hz[0])
    rows = []
    for centre in THIRDS_HZ:
        low, high = (int(np.searchsorted(freq_hz, centre * 10.0 ** (s * 0.05))) for s in (-1, 1))
        theirs, mine = (10.0 * math.log10(float(np.sum(p[low:high])) + 1e-20) for p in power)
        rows.append((centre, theirs, mine))
    loudest = max(theirs for _, theirs, _ in rows)
    return tuple(row for row in rows if row[1] > loudest + LEAST_POWER_DB)
