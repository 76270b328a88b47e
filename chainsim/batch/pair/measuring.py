"""What a box does, from a dry recording and the one that went through it: every figure, with its interval.

>>> report = measure_pair("dry.wav", "wet.wav")  # doctest: +SKIP
>>> report.latency_ms.value, report.echoes.delay_ms.value  # doctest: +SKIP

Each part takes out what the ones before have found: latency and drift first, then echoes, then the response of the
direct sound, then what the rest tells of a tail, a gate, a compressor, a tremolo. Two recordings of which one is made
of the other only by a delay that sways are recognised by that.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from chainsim.batch.pair.moving import find_movement
from chainsim.batch.pair.notes import latency_notes, linearity_notes, rings_on_db, swap_notes
from chainsim.batch.pair.recordings import Pair, read_pair
from chainsim.batch.pair.report import PairReport
from chainsim.errors import AudioError
from chainsim.measure.pair.alignment import (
    UNRELATED_BELOW,
    Alignment,
    first_arrival,
    latency_figure,
    measure_drift,
    shifted,
    without_drift,
)
from chainsim.measure.pair.compression import Compression, measure_compression
from chainsim.measure.pair.decay import TailDecay, measure_tail_decay
from chainsim.measure.pair.deconvolution import EARLIEST_S, Deconvolution, Tap, deconvolve
from chainsim.measure.pair.echoes import NOTES_S, Echoes, measure_echoes
from chainsim.measure.pair.figure import Figure
from chainsim.measure.pair.gain_track import GainTrack, track_gain
from chainsim.measure.pair.gating import PairGating, measure_pair_gating
from chainsim.measure.pair.modulation import Sway, measure_tremolo
from chainsim.measure.pair.noise import LOWEST_HZ, BoxNoise, measure_noise
from chainsim.measure.pair.response import Response, measure_response
from chainsim.measure.pair.steadiness import Steadiness
from chainsim.units import Array, gain_to_db

MAY_MOVE_BELOW = 300.0
"""Clearness under which a delay that moves is looked for."""
CLEARER = 1.01
DRIFT_ROUNDS = 2
RUN_DEVIATION_PPM = 1.0
"""What taking out a drift must do for the clearness: a sway can look like a drift, but isn't cured like one."""
TAIL_UNDER_ECHOES_DB = 5.0
SWAMPED_DB = -25.0
"""Tails and echoes louder than this, against the dry sound, hide what a gate or a compressor does."""
BESIDE_DB = -15.0
"""Power beside the mean response from which on this response isn't taken for that of the direct sound."""
LEAST_BESIDE_DB = -13.0
"""Power beside response and noise from which on the box is none that a response describes."""
MOST_BY_LEVEL_DB = -9.0
"""More than a gate or a compressor leaves beside the mean response."""
UNSURE_S = 0.0004


def measure_pair(dry: str | Path, wet: str | Path) -> PairReport:
    """Measure a box from two files; see `measure_sounds`.

    Parameters
    ----------
    dry, wet : path
        Recordings that start together, of one rate; two channels are folded.

    Raises
    ------
    AudioError
        As `read_pair`, or if the two have nothing in common.
    """
    return measure_sounds(read_pair(dry, wet))


def measure_sounds(pair: Pair) -> PairReport:
    """Measure a box from two recordings in memory.

    Raises
    ------
    AudioError
        If the two have nothing in common.
    """
    found = deconvolve(pair.dry, pair.wet, pair.sample_rate_hz)
    wet, run_ppm = pair.wet, 0.0
    if found.clearness < MAY_MOVE_BELOW:
        sway, run = find_movement(pair, found)
        if sway is not None:
            return _swaying(pair, found, sway)
        if run is not None:
            run_ppm = run.drift_ppm
            wet = without_drift(pair.wet, run_ppm)
            found = deconvolve(pair.dry, wet, pair.sample_rate_hz)
    if found.clearness < UNRELATED_BELOW:
        raise AudioError(
            f"{pair.names[1]}: has nothing in common with {pair.names[0]}: is it another take, or one at another speed?"
        )
    wet, found, drift = _steadied(pair, wet, found, run_ppm)
    return _standing(pair, wet, found, drift)


def _steadied(pair: Pair, wet: Array, found: Deconvolution, run_ppm: float) -> tuple[Array, Deconvolution, Figure]:
    """Take out what is left of a drift, as long as that makes the two clearer."""
    drift = Figure.around(run_ppm, RUN_DEVIATION_PPM) if run_ppm != 0.0 else Figure.missing()
    for _ in range(DRIFT_ROUNDS):
        left = measure_drift(pair.dry, wet, pair.sample_rate_hz, found.loudest)
        if not left.found:
            break
        total_ppm = left.value + (drift.value if drift.found else 0.0)
        straight = without_drift(pair.wet, total_ppm)
        clearer = deconvolve(pair.dry, straight, pair.sample_rate_hz)
        if clearer.clearness < CLEARER * found.clearness:
            break
        wet, found, drift = straight, clearer, left.scaled(1.0, total_ppm - left.value)
    return wet, found, drift


def _standing(pair: Pair, wet: Array, found: Deconvolution, drift: Figure) -> PairReport:
    """The report of a box whose delay stands still."""
    rate_hz = pair.sample_rate_hz
    taps, rest = found.taps()
    steadiness = Steadiness(pair.dry, wet, rate_hz, found.loudest)
    direct = first_arrival(taps, rate_hz, steadiness.stands)
    certain = steadiness.loudest_is_steady or not steadiness.can_tell
    lag = round(direct.lag)
    earliest = -min(round(EARLIEST_S * rate_hz), found.response.size // 2 - 1)
    echoes = measure_echoes(found, taps, rest, direct, earliest, steadiness.stands)
    aligned = shifted(wet, lag, max(wet.size - lag, pair.dry.size))
    if echoes.delay_ms.found:
        aligned = _without_echoes(pair.dry, aligned, echoes.taps, lag)
    through = aligned[: pair.dry.size]
    response = measure_response(pair.dry, through, rate_hz)
    delay = round(echoes.delay_ms.value * rate_hz / 1000.0) if echoes.delay_ms.found else 0
    noise = measure_noise(pair.dry, shifted(wet, lag, pair.dry.size), rate_hz, delay)
    tail_part = aligned.copy()
    tail_part[: pair.dry.size] -= direct.gain * pair.dry
    tail = measure_tail_decay(pair.dry, tail_part, rate_hz)
    echo_db = gain_to_db(echoes.first_gain.value) if echoes.delay_ms.found else -math.inf
    if tail.decay_s.found and tail.share_db < echo_db - TAIL_UNDER_ECHOES_DB:
        tail = TailDecay(Figure.missing(), tail.share_db)
    swamped = echo_db > SWAMPED_DB or tail.decay_s.found
    track = track_gain(pair.dry, through, rate_hz)
    sway = measure_tremolo(track)
    beside_db = _beside_db(response, noise.of_all, through)
    alone = echoes.delay_ms.found or tail.decay_s.found or beside_db > BESIDE_DB
    gain_db = _gain_db(response, direct, found, alone, sway, track) if certain else Figure.missing()
    gating, compression = _of_level(pair, through, track, sway, swamped)
    by_level = (gating.threshold_db.found or compression.ratio.found) and beside_db < MOST_BY_LEVEL_DB
    explained = swamped or sway is not None or by_level
    nonlinear = beside_db > LEAST_BESIDE_DB and not explained
    latency = latency_figure(found, direct, taps) if certain else Figure.missing()
    if nonlinear:  # its filters move: where their response has its peak is not when it begins
        latency = Figure(latency.value, latency.low - UNSURE_S * rate_hz, latency.high + UNSURE_S * rate_hz)
    notes = [
        *latency_notes(latency.scaled(1000.0 / rate_hz), echoes),
        *swap_notes(
            pair.names,
            rings_on_db(pair.dry[max(-lag, 0) :], wet[max(lag, 0) :], rate_hz),
            echoes.delay_ms.value > 1000.0 * NOTES_S and echoes.inverted != (direct.gain < 0.0),
            gating,
        ),
        *linearity_notes(certain, beside_db, nonlinear),
    ]
    return PairReport(
        dry=pair.names[0],
        wet=pair.names[1],
        sample_rate_hz=rate_hz,
        seconds=pair.dry.size / rate_hz,
        clearness=found.clearness,
        alignment=Alignment(latency, direct.gain < 0.0, drift),
        gain_db=gain_db,
        response=response,
        noise=noise,
        echoes=echoes,
        tail=tail,
        gating=gating,
        modulation=None if sway is None else "tremolo",
        sway=sway,
        compression=compression,
        notes=(*pair.notes, *notes),
        lag=lag,
    )


def _beside_db(response: Response, noise: Figure, through: Array) -> float:
    """Power of the wet sound that neither response nor noise explains, under all of it; -inf if there is none."""
    power = float(np.mean(np.square(through)))
    share = 10.0 ** (0.1 * response.unexplained_db)
    if noise.found and power > 0.0:
        share -= 10.0 ** (0.1 * noise.high) / power
    return 10.0 * math.log10(share) if share > 0.0 else -math.inf


def _without_echoes(dry: Array, aligned: Array, taps: tuple[Tap, ...], lag: int) -> Array:
    y = aligned.copy()
    for tap in taps:
        begin = round(tap.lag) - lag
        end = min(begin + dry.size, y.size)
        if 0 < begin < end:
            y[begin:end] -= tap.gain * dry[: end - begin]
    return y


def _gain_db(
    response: Response, direct: Tap, found: Deconvolution, alone: bool, sway: Sway | None, track: GainTrack
) -> Figure:
    """Gain of the direct sound, by what disturbs it least; between the other way's bounds, too.

    The mean response holds what a tail or echoes add within its window, the direct tap (`alone`) doesn't.
    """
    half_db = 8.686 * found.noise / abs(direct.gain)
    if sway is not None:
        mean_db = gain_to_db(sway.middle * track.loud_gain)
        return Figure.around(mean_db, max(half_db, 8.686 * (sway.depth.high - sway.depth.value)))
    by_tap = Figure.around(gain_to_db(abs(direct.gain)), 5.0 * half_db)
    if not response.gain_db.found:
        return by_tap
    if alone:
        return by_tap.widened(response.gain_db.value)
    return response.gain_db


def _of_level(
    pair: Pair, through: Array, track: GainTrack, sway: Sway | None, swamped: bool
) -> tuple[PairGating, Compression]:
    """What goes with the level of the dry sound; nothing can be said of it beside a tail, echoes or a tremolo."""
    if swamped or sway is not None:
        return (
            PairGating(Figure.missing(), Figure.missing(), math.nan, 0),
            Compression(Figure.missing(), Figure.missing(), math.nan, math.nan, ()),
        )
    return measure_pair_gating(pair.dry, through, pair.sample_rate_hz, track), measure_compression(track)


def _swaying(pair: Pair, found: Deconvolution, best: Sway) -> PairReport:
    """The report of a box whose delay sways."""
    rate_hz = pair.sample_rate_hz
    lag = round(best.middle)
    through = shifted(pair.wet, lag, pair.dry.size)
    gain_db = Figure.around(10.0 * math.log10(float(np.sum(through**2) / np.sum(pair.dry**2))), 0.1)
    latency = Figure.around(best.middle, max(0.5 * best.depth.value, 0.5))
    missing = Figure.missing()
    return PairReport(
        dry=pair.names[0],
        wet=pair.names[1],
        sample_rate_hz=rate_hz,
        seconds=pair.dry.size / rate_hz,
        clearness=found.clearness,
        alignment=Alignment(latency, False, missing),
        gain_db=gain_db,
        response=None,
        noise=BoxNoise(missing, LOWEST_HZ),
        echoes=Echoes(missing, missing, missing, (), False),
        tail=TailDecay(missing, -math.inf),
        gating=PairGating(missing, missing, math.nan, 0),
        modulation="vibrato",
        sway=best,
        compression=Compression(missing, missing, math.nan, math.nan, ()),
        notes=(*pair.notes, "the delay sways, so no response, noise, echoes, tail or gate were looked for"),
        lag=lag,
    )
