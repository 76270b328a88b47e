"""The level plan: nominal and peak level, headroom and noise at every point of a chain, in dBu.

A level in dBu is that of a sine with the same peak (for peaks and clip levels) or the same rms (for nominal levels and
noise), 0 dBFS being a sine that reaches full scale. Nominal is the mean of playing, gated as loudness is (400 ms
blocks, -70 dBFS and -10 dB under their mean) but unweighted. Noise is heard, not guessed: the chain is rendered with
and without the noise of the take and of its devices, and what differs is the noise under playing; with noise alone
going in, gates shut, it is the noise at rest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.batch.chain.noisy_devices import INPUT_NOISE, before, behind, noise_levels, with_noise
from chainsim.batch.house_feed import Feed, Way, ways_to_the_house
from chainsim.batch.input_level import InputLevel, input_level
from chainsim.batch.playing import alone, states
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.measure.electrical import SINE_CREST_DB
from chainsim.measure.idle_noise import measure_idle_noise
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import Sketch, State
from chainsim.units import Array, Audio

Progress = Callable[[int, int], None]
"""Told (states done, states in all)."""

LOUDEST_S = 10.0
RESTING_S = 4.0
MEASURED_S = 1.0
BLOCK_S, HOP_S = 0.4, 0.1
ABSOLUTE_GATE_DBFS, RELATIVE_GATE_DB = -70.0, -10.0
COSTLY_DB = 3.0
"""Signal-to-noise that a device may take before it is told."""
LOST_DB = 6.0
"""Level under that of a point before from which on gain counts as lost."""


@dataclass(frozen=True)
class Point:
    """One point of a chain: the input, a block's output, or what goes to the house.

    Attributes
    ----------
    nominal_dbu, peak_dbu : float
        Minus infinity where nothing plays.
    clip_dbu, headroom_db : float or None
        Where the sketch states at what level the device clips; headroom is from the peak to there.
    noise_playing_dbu, noise_resting_dbu : float
        20 Hz to 20 kHz, unweighted; minus infinity where no noise is known. Under playing NaN in states that follow the
        pitch: there it cannot be told from what it does to the voices.
    """

    name: str
    nominal_dbu: float
    peak_dbu: float
    clip_dbu: float | None
    headroom_db: float | None
    noise_playing_dbu: float
    noise_resting_dbu: float


@dataclass(frozen=True)
class StateLevels:
    """The points of the sketch as written or of a patch, in the order of the chain."""

    name: str
    points: tuple[Point, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class LevelPlan:
    """Levels of a sketch over a take.

    Attributes
    ----------
    input : InputLevel
    output_dbu : float
        What 0 dBFS stands for coming out.
    analysed_s : (from, to)
        Part of the take that was played, round its loudest sample.
    states : tuple of StateLevels
    loudest : str
        The state whose peaks are highest: `ways` are for it.
    phantom : bool
        Whether the house has phantom supply on this line.
    ways : tuple of Way
        To the house.
    """

    input: InputLevel
    output_dbu: float
    analysed_s: tuple[float, float]
    states: tuple[StateLevels, ...]
    loudest: str
    phantom: bool
    ways: tuple[Way, ...]


def plan_levels(
    sketch: Sketch,
    audio: npt.NDArray[np.float32],
    sample_rate_hz: float,
    take_noise_dbfs: float,
    *,
    progress: Progress = lambda done, whole: None,
) -> LevelPlan | None:
    """Plan the levels of a take, shape (frames, channels), through every state of a sketch that states its levels.

    Parameters
    ----------
    sketch : Sketch
    audio : ndarray, shape (frames, channels)
    sample_rate_hz : float
    take_noise_dbfs : float
        Rms of the take's rests; what is not finite counts as unknown.
    progress : callable, optional

    Raises
    ------
    SketchError, AudioError, GraphError
        If the calibration recording cannot be used, or a state cannot be built.
    """
    if sketch.levels is None:
        return None
    settings = sketch.levels.settings
    found = input_level(settings, sketch.assets)
    output_dbu = found.full_scale_dbu if settings.output_dbu is None else settings.output_dbu
    first, last = _loudest_part(audio, sample_rate_hz)
    part = np.ascontiguousarray(audio[first:last].T, dtype=np.float64)
    planned: list[StateLevels] = []
    each = tuple(states(sketch))
    for name, state in each:
        planned.append(
            _state(sketch, name, state, part, sample_rate_hz, take_noise_dbfs, found.full_scale_dbu, output_dbu)
        )
        progress(len(planned), len(each))
    loudest = max(planned, key=lambda s: s.points[-1].peak_dbu)
    out = loudest.points[-1]
    feed = Feed(out.nominal_dbu, out.peak_dbu, _noise_dbu(out))
    return LevelPlan(
        input=found,
        output_dbu=output_dbu,
        analysed_s=(first / sample_rate_hz, last / sample_rate_hz),
        states=tuple(planned),
        loudest=loudest.name,
        phantom=settings.phantom,
        ways=ways_to_the_house(feed, sketch.levels),
    )


def _loudest_part(audio: npt.NDArray[np.float32], sample_rate_hz: float) -> tuple[int, int]:
    frames = round(LOUDEST_S * sample_rate_hz)
    middle = int(np.argmax(np.abs(audio).max(axis=1))) if len(audio) else 0
    first = max(0, min(middle - frames // 2, len(audio) - frames))
    return first, min(len(audio), first + frames)


def _state(
    sketch: Sketch,
    name: str,
    state: State,
    part: Audio,
    rate_hz: float,
    take_noise_dbfs: float,
    full_scale_dbu: float,
    output_dbu: float,
) -> StateLevels:
    noises = noise_levels(state, take_noise_dbfs, full_scale_dbu)
    engaged = [n for n in block_names(state.chain) if n in state.engaged]
    at = {n: behind(n) if behind(n) in noises else n for n in engaged}
    inputs = [before(n) for n in engaged if behind(n) in noises]
    start = INPUT_NOISE if INPUT_NOISE in noises else "input"
    probes = [start, *at.values(), *(n for n in inputs if n in with_noise(state, noises, True).blocks)]

    def heard(sound: Audio, sounding: bool) -> Mapping[str, Audio]:
        changed = alone(sketch, with_noise(state, noises, sounding))
        return render_graph(build_graph(changed, rate_hz, sound.shape[0], probes), sound)

    clean, noisy = heard(part, False), heard(part, True)
    graph = build_graph(alone(sketch, state), rate_hz, part.shape[0])
    following = graph.follows_pitch
    resting = heard(np.zeros((part.shape[0], round(RESTING_S * rate_hz))), True)
    end = round(RESTING_S * rate_hz)
    last = slice(end - round(MEASURED_S * rate_hz), end)

    def point(label: str, probe: str, clip_dbu: float | None, full_dbu: float) -> Point:
        nominal_dbfs, peak_dbfs = _playing(clean[probe], rate_hz)
        there = slice(0, part.shape[1])
        peak_dbu = peak_dbfs + full_dbu
        return Point(
            name=label,
            nominal_dbu=nominal_dbfs + full_dbu,
            peak_dbu=peak_dbu,
            clip_dbu=clip_dbu,
            headroom_db=None if clip_dbu is None else clip_dbu - peak_dbu,
            # A voice that follows the pitch is turned in phase by noise: then the whole voice would count as noise.
            noise_playing_dbu=math.nan
            if following
            else _noise_dbfs((noisy[probe] - clean[probe])[:, there], rate_hz) + full_dbu,
            noise_resting_dbu=_noise_dbfs(resting[probe][:, last], rate_hz) + full_dbu,
        )

    points = [point("input", start, None, full_scale_dbu)]
    points += [point(n, at[n], state.blocks[n].common.clip_dbu, full_scale_dbu) for n in engaged]
    points.append(point("out", "out", None, output_dbu))
    going_in = {n: point(n, before(n), None, full_scale_dbu) for n in engaged if before(n) in probes}
    return StateLevels(name, tuple(points), tuple(_warnings(points, going_in)))


def _warnings(points: list[Point], going_in: Mapping[str, Point]) -> list[str]:
    found = []
    for i, point in enumerate(points):
        if point.headroom_db is not None and point.headroom_db < 0.0:
            peak_dbu = round(point.peak_dbu, 1) + 0.0
            found.append(
                f"{point.name} would clip: its peaks of {peak_dbu:+.1f} dBu are {-point.headroom_db:.1f} dB over the"
                f" {point.clip_dbu:+g} dBu that it takes; chainsim does not clip there, the device does"
            )
        entering = going_in.get(point.name)
        if entering is None or not math.isfinite(entering.nominal_dbu):
            continue
        cost_db = _ratio_db(entering) - _ratio_db(point)
        if not cost_db >= COSTLY_DB:  # not a number where no noise is known
            continue
        strongest = max(points[:i], key=lambda p: p.nominal_dbu)
        lost_db = strongest.nominal_dbu - entering.nominal_dbu
        if lost_db >= LOST_DB:
            found.append(
                f"gain is lost before {point.name}: {entering.nominal_dbu:+.0f} dBu go in, {lost_db:.0f} dB less than"
                f" at {strongest.name}, and its own noise costs {_amount(cost_db)} of signal-to-noise; send it more"
            )
        else:
            found.append(
                f"{point.name}: its own noise costs {_amount(cost_db)} of signal-to-noise; send it more level, or take"
                " it to where there is more"
            )
    return found


def _ratio_db(point: Point) -> float:
    return point.nominal_dbu - _noise_dbu(point)


def _noise_dbu(point: Point) -> float:
    """Noise under playing where it is known, else at rest."""
    return point.noise_resting_dbu if math.isnan(point.noise_playing_dbu) else point.noise_playing_dbu


def _amount(cost_db: float) -> str:
    return f"{cost_db:.0f} dB" if math.isfinite(cost_db) else "all"


def _playing(x: Audio, sample_rate_hz: float) -> tuple[float, float]:
    """Nominal level and peak of a sound (channels, frames), in dBFS; the nominal one is that of a sine."""
    peak = float(np.max(np.abs(x), initial=0.0))
    hop, block = round(HOP_S * sample_rate_hz), round(BLOCK_S * sample_rate_hz)
    power = np.max(x**2, axis=0) if x.size else np.zeros(0)
    sums = np.concatenate([[0.0], np.cumsum(power)])
    starts = np.arange(0, max(1, power.size - block + 1), hop)
    ends = np.minimum(starts + block, power.size)
    powers: Array = (sums[ends] - sums[starts]) / np.maximum(ends - starts, 1)
    powers = powers[powers > 10.0 ** (ABSOLUTE_GATE_DBFS / 10.0)]
    if powers.size:
        powers = powers[powers > np.mean(powers) * 10.0 ** (RELATIVE_GATE_DB / 10.0)]
    return _db(float(np.mean(powers)) if powers.size else 0.0) + SINE_CREST_DB, _db(peak**2)


def _noise_dbfs(x: Audio, sample_rate_hz: float) -> float:
    """Rms of the loudest channel between 20 Hz and 20 kHz, as the level of a sine."""
    return measure_idle_noise(x, sample_rate_hz).rms_dbfs + SINE_CREST_DB if x.size else -math.inf


def _db(power: float) -> float:
    return 10.0 * math.log10(power) if power > 0.0 else -math.inf
