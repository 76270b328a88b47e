"""What a take tells an engineer of every patch: loudness, true peak, where the energy begins, what a fold loses."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from scipy.signal import welch

from chainsim.audio.reading import Take
from chainsim.batch.chain.chain_measuring import measure_chain
from chainsim.batch.level_plan import LevelPlan, plan_levels
from chainsim.batch.playing import alone
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.listen.sheets.failure_sheet.sheet import played_states
from chainsim.listen.sheets.house_sheet.figures import FeedLevels, HouseFigures, LargestGain, PatchFigures, WayIn
from chainsim.listen.sheets.house_sheet.sheet import feed_channels
from chainsim.measure.gaps import measure_gaps
from chainsim.measure.loudness import measure_loudness
from chainsim.measure.peaks import measure_peaks
from chainsim.sketch.model import Sketch, State
from chainsim.units import Array, Audio

LONGEST_S = 120.0
"""Of a take that is longer, so much is played, from its beginning."""
ENERGY_SHARE = 1e-3
_WINDOW_S = 0.34

Progress = Callable[[int, int], None]
"""Told (steps done, steps in all)."""


def house_figures(sketch: Sketch, take: Take, progress: Progress = lambda done, whole: None) -> HouseFigures:
    """Play a take through every patch and measure what comes out.

    Parameters
    ----------
    sketch : Sketch
        As it is set in the room that it is asked of.
    take : Take
    progress : callable, optional

    Raises
    ------
    SketchError, GraphError, AudioError
        If a patch cannot be built for the take, or the take cannot be read.
    """
    audio = beginning(take, LONGEST_S)
    rate_hz = take.sample_rate_hz
    states, lines = played_states(sketch), feed_channels(sketch, take.channels)
    steps = len(states) * (1 if sketch.levels is None else 2) + 1
    patches = []
    with ThreadPoolExecutor(os.cpu_count()) as executor:
        figures = executor.map(lambda name: _patch(sketch, name, states[name], audio, rate_hz, lines), states)
        for one in figures:
            patches.append(one)
            progress(len(patches), steps)

    def planned(done: int, whole: int) -> None:
        progress(len(states) + len(states) * done // whole, steps)

    levels = _levels(sketch, audio, rate_hz, planned)
    howls = _howls(sketch, max(patches, key=lambda p: p.integrated_lufs))
    progress(steps, steps)
    return HouseFigures(
        take=take.path.name if take.path is not None else "a take in memory",
        seconds=audio.shape[1] / rate_hz,
        patches=tuple(patches),
        levels=levels,
        howls=howls,
    )


def beginning(take: Take, longest_s: float) -> Audio:
    """As much of a take as is played, shape (channels, frames)."""
    frames = min(take.frames, math.floor(longest_s * take.sample_rate_hz))
    return np.ascontiguousarray(take.read(0, frames), dtype=np.float64)


def lowest_frequency_hz(x: Audio, sample_rate_hz: float) -> float:
    """The frequency under which a thousandth of the energy lies; NaN for silence.

    Parameters
    ----------
    x : ndarray, shape (channels, frames)
    sample_rate_hz : float
        The power is that of Hann windows of about a third of a second (P. D. Welch, IEEE Trans. Audio Electroacoust.
        15 (1967) 70-73), the channels' sum.
    """
    if not x.any():
        return math.nan
    size = min(1 << round(math.log2(_WINDOW_S * sample_rate_hz)), x.shape[1])
    freq_hz, power = welch(x, sample_rate_hz, nperseg=size, detrend=False)
    sums: Array = np.cumsum(np.sum(power, axis=0))
    return float(freq_hz[int(np.searchsorted(sums, ENERGY_SHARE * sums[-1]))])


def mono_loss_db(x: Audio) -> float:
    """By how much (left + right) / 2, on both sides, is quieter than the sound (channels, frames); NaN for silence."""
    whole = float(np.mean(np.sum(x**2, axis=1)))
    middle = float(np.sum(np.mean(x, axis=0) ** 2))
    if whole == 0.0:
        return math.nan
    return 10.0 * math.log10(whole / middle) if middle > 0.0 else math.inf


def _patch(sketch: Sketch, name: str, state: State, audio: Audio, rate_hz: float, lines: int) -> PatchFigures:
    y = render_graph(build_graph(alone(sketch, state), rate_hz, audio.shape[0]), audio)["out"]
    sound = np.ascontiguousarray(np.broadcast_to(y, (lines, y.shape[1])).T)
    return PatchFigures(
        patch=name,
        integrated_lufs=measure_loudness(sound, rate_hz).integrated_lufs,
        true_peak_dbtp=measure_peaks(sound, rate_hz).true_peak_dbtp,
        lowest_hz=lowest_frequency_hz(y, rate_hz),
        mono_loss_db=mono_loss_db(y) + 0.0,
    )


def _levels(sketch: Sketch, audio: Audio, rate_hz: float, progress: Progress) -> FeedLevels | None:
    sound = np.ascontiguousarray(audio.T, dtype=np.float32)
    plan = plan_levels(sketch, sound, rate_hz, measure_gaps(sound, rate_hz).noise_rms_dbfs, progress=progress)
    return None if plan is None else feed_levels(plan)


def feed_levels(plan: LevelPlan) -> FeedLevels:
    """What the level plan says of the loudest patch's output, and of the ways by which it arrives."""
    out = next(state.points[-1] for state in plan.states if state.name == plan.loudest)
    ways = tuple(
        WayIn(way.name, way.nominal_dbu, way.peak_dbu, way.headroom_db, way.gain_db, "phantom on" in way.name)
        for way in plan.ways
        if way.arrives
    )
    return FeedLevels(out.nominal_dbu, out.peak_dbu, out.noise_resting_dbu, plan.phantom, ways)


def _howls(sketch: Sketch, loudest: PatchFigures) -> LargestGain | None:
    if loudest.integrated_lufs == -math.inf:
        return None
    largest = measure_chain(sketch, loudest.patch if sketch.patches else None).patches[0].largest
    return None if math.isnan(largest.gain_db) else LargestGain(loudest.patch, largest.gain_db, largest.freq_hz)
