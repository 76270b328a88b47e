"""What a take is fit to judge: its level, clipping, noise, room and offset, and what follows from them.

The room is told from how fast the level falls at the ends of phrases. A player's own fade only makes a fall slower, so
the fast ones bound the room's decay time from above; one of four may be faster than what is reported. The limits of the
verdicts are this project's own judgement, not a standard's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from chainsim.measure.attacks import Note, find_notes
from chainsim.measure.gaps import Gaps, measure_gaps
from chainsim.measure.loudness import LoudnessMeter
from chainsim.measure.peaks import CLIP_LEVEL, PeakMeter, Peaks
from chainsim.measure.signals import channel_count, pieces
from chainsim.units import Array, db_to_gain, gain_to_db

LEAST_S = 0.4
"""One gating block of ITU-R BS.1770-5: what is shorter has no loudness."""
CLIPPED_FRAMES = 2
FALL_HOP_MS = 5.0
FALL_WINDOW_HOPS = 4
FALL_LOOK_BACK_S = 2.0
FALL_FROM_DB = -5.0
FALL_TO_DB = -35.0
FALL_LEAST_DB = 12.0
FALL_STEADY_S = 0.15
MOST_ABRUPT_S = 0.05
"""What windows of 20 ms can tell."""
SILENT_UNDER_DB = 50.0
SILENCE_DB = -150.0
FALL_OVER_NOISE_DB = 6.0
FALL_PERCENTILE = 25.0

GOOD_NOISE_DB = 50.0
POOR_NOISE_DB = 30.0
DRY_S = 0.5
WET_S = 1.0
QUIET_PEAK_DBFS = -40.0
DC_DBFS = -50.0

Fit = Literal["yes", "with care", "no"]


@dataclass(frozen=True)
class Verdict:
    """Whether one kind of effect can be judged on a take, and why."""

    what: str
    fit: Fit
    reason: str


@dataclass(frozen=True)
class Fitness:
    """What was found; levels in dBFS, minus infinity for silence, NaN where the take does not tell."""

    sample_rate_hz: float
    channels: int
    seconds: float
    integrated_lufs: float
    loud_peak_dbfs: float
    """Peak of loud notes, as in `Gaps`."""
    sample_peak_dbfs: float
    true_peak_dbtp: float
    clipped_places: int
    """Places where two or more samples in a row stand at full scale."""
    first_clip_s: float
    noise_rms_dbfs: float
    noise_peak_dbfs: float
    """What a gate hears of it, as in `Gaps`."""
    signal_to_noise_db: float
    """Loud notes over the noise in rests, both rms; infinite over digital silence."""
    rests: int
    rests_s: float
    fall_60_db_s: float
    """Time in which the level falls by 60 dB at the ends of phrases, from the slope of what can be seen of it."""
    dc_dbfs: float
    silent_channel: str
    """"left" or "right" where one of two channels lies SILENT_UNDER_DB under the other, else empty."""
    notes: int
    verdicts: tuple[Verdict, ...]

    @property
    def too_short(self) -> bool:
        """Whether it does not even have a loudness."""
        return self.seconds < LEAST_S


@dataclass(frozen=True)
class TakeFindings:
    """A take's fitness, with the gaps and notes it rests on."""

    fitness: Fitness
    gaps: Gaps
    notes: tuple[Note, ...]


def measure_fitness(audio: npt.ArrayLike, sample_rate_hz: float) -> TakeFindings:
    """Find out what a take is fit to judge.

    Parameters
    ----------
    audio : ndarray, shape (frames, channels) or (frames,)
    sample_rate_hz : float, at least 4000

    Raises
    ------
    AudioError
        If a sample is not finite.
    """
    peaks, integrated_lufs = _read(audio, sample_rate_hz)
    gaps = measure_gaps(audio, sample_rate_hz)
    notes = find_notes(audio, sample_rate_hz, gaps)
    clipped = clipped_places(audio)
    fall_s = _fall_60_db_s(audio, sample_rate_hz, gaps)
    frames = int(np.asarray(audio).shape[0])
    noise_db = gaps.loud_rms_dbfs - gaps.noise_rms_dbfs if math.isfinite(gaps.loud_rms_dbfs) else math.nan
    first_clip_s = clipped[0] / sample_rate_hz if clipped else math.nan
    verdicts = (
        _on_levels(gaps, peaks.sample_peak_dbfs, len(clipped), first_clip_s),
        _on_gates(gaps, noise_db),
        _on_reverbs(gaps, noise_db, fall_s),
    )
    fitness = Fitness(
        sample_rate_hz=sample_rate_hz,
        channels=channel_count(audio),
        seconds=frames / sample_rate_hz,
        integrated_lufs=integrated_lufs,
        loud_peak_dbfs=gaps.loud_peak_dbfs,
        sample_peak_dbfs=peaks.sample_peak_dbfs,
        true_peak_dbtp=peaks.true_peak_dbtp,
        clipped_places=len(clipped),
        first_clip_s=first_clip_s,
        noise_rms_dbfs=gaps.noise_rms_dbfs,
        noise_peak_dbfs=gaps.noise_peak_dbfs,
        signal_to_noise_db=noise_db,
        rests=len(gaps.rests_s),
        rests_s=sum(b - a for a, b in gaps.rests_s),
        fall_60_db_s=fall_s,
        dc_dbfs=gain_to_db(max(map(abs, peaks.dc))),
        silent_channel=_silent_channel(audio),
        notes=len(notes),
        verdicts=verdicts if frames >= LEAST_S * sample_rate_hz else tuple(map(_of_too_short, verdicts)),
    )
    return TakeFindings(fitness, gaps, notes)


def clipped_places(audio: npt.ArrayLike) -> list[int]:
    """First frame of each run of at least two frames at full scale, in any channel."""
    found = [np.zeros(0, np.int64)]
    first = 0
    for piece in pieces(audio):
        found.append(first + np.flatnonzero((np.abs(piece) >= CLIP_LEVEL).any(axis=0)))
        first += piece.shape[1]
    frames = np.concatenate(found)
    runs = np.split(frames, np.flatnonzero(np.diff(frames) > 1) + 1)
    return [int(run[0]) for run in runs if run.size >= CLIPPED_FRAMES]


def _read(audio: npt.ArrayLike, sample_rate_hz: float) -> tuple[Peaks, float]:
    peaks = PeakMeter(sample_rate_hz, channel_count(audio))
    loudness = LoudnessMeter(sample_rate_hz, channel_count(audio))
    for piece in pieces(audio):
        peaks.add(piece)
        loudness.add(piece)
    return peaks.result(), loudness.result().integrated_lufs


def _silent_channel(audio: npt.ArrayLike) -> str:
    if channel_count(audio) != 2:
        return ""
    left, right = (float(np.max(np.abs(np.asarray(audio)[:, c]), initial=0.0)) for c in (0, 1))
    share = db_to_gain(-SILENT_UNDER_DB)
    return "left" if left < share * right else "right" if right < share * left else ""


def _fall_60_db_s(audio: npt.ArrayLike, sample_rate_hz: float, gaps: Gaps) -> float:
    """Lower quartile of the times of 60 dB over all ends of phrases; NaN if none can be read."""
    hop = max(1, round(FALL_HOP_MS * sample_rate_hz / 1000.0))
    level_db = _smooth_levels(audio, hop)
    hop_s = hop / sample_rate_hz
    over_noise = gaps.noise_rms_dbfs + FALL_OVER_NOISE_DB if math.isfinite(gaps.noise_rms_dbfs) else -math.inf
    falls_s, after_s = [], 0.0
    for begin_s, end_s in gaps.rests_s:
        a, b = round(max(after_s, begin_s - FALL_LOOK_BACK_S) / hop_s), round((begin_s + end_s) / 2.0 / hop_s)
        fall_s = _one_fall_s(level_db[a:b], over_noise, hop_s)
        if math.isfinite(fall_s):
            falls_s.append(fall_s)
        after_s = end_s
    return float(np.percentile(falls_s, FALL_PERCENTILE)) if falls_s else math.nan


def _smooth_levels(audio: npt.ArrayLike, hop: int) -> Array:
    """Rms level (dBFS) of 20 ms every 5 ms, of the louder channel, as `measure_gaps` takes it."""
    powers = [np.zeros(FALL_WINDOW_HOPS)]
    for piece in pieces(audio, frames=hop * 4096):
        count = piece.shape[1] // hop
        squares = np.square(piece[:, : count * hop]).reshape(piece.shape[0], count, hop)
        powers.append(squares.mean(axis=2).max(axis=0))
    power = np.concatenate(powers)
    smooth = np.lib.stride_tricks.sliding_window_view(power, FALL_WINDOW_HOPS).mean(axis=1)[1:]
    level_db: Array = 10.0 * np.log10(np.maximum(smooth, 1e-30))
    return level_db


def _one_fall_s(level_db: Array, over_noise_db: float, hop_s: float) -> float:
    """Time of 60 dB on the line through the end of one phrase; NaN if too little of the fall is over the noise."""
    audible = np.flatnonzero(level_db > max(over_noise_db, SILENCE_DB))
    if not audible.size:
        return math.nan
    last = int(audible[-1])
    crest = _crest_before(level_db, last, round(FALL_STEADY_S / hop_s))
    top = float(level_db[crest])
    start = crest + int(np.flatnonzero(level_db[crest : last + 1] >= top + FALL_FROM_DB)[-1])
    fall = level_db[start : last + 1]
    fall = fall[fall >= top + FALL_TO_DB]
    if fall.size < 2:
        return MOST_ABRUPT_S if fall.size and top - over_noise_db >= FALL_LEAST_DB else math.nan
    if fall[0] - fall[-1] < FALL_LEAST_DB:
        return math.nan
    t = hop_s * (np.arange(fall.size) - 0.5 * (fall.size - 1))
    slope = float(np.sum(t * fall) / np.sum(t * t))
    return max(-60.0 / slope, MOST_ABRUPT_S) if slope < 0.0 else math.nan


def _crest_before(level_db: Array, last: int, steady_hops: int) -> int:
    """Going back from `last`, the first place before which the level rises by less than 1 dB for a while."""
    crest = last
    while True:
        begin = max(0, crest - steady_hops)
        higher = np.flatnonzero(level_db[begin:crest] >= level_db[crest] + 1.0)
        if not higher.size:
            return crest
        crest = begin + int(higher[-1])


def _of_too_short(verdict: Verdict) -> Verdict:
    return Verdict(verdict.what, "no", f"the take is too short: under {LEAST_S:g} s")


def _on_levels(gaps: Gaps, peak_dbfs: float, clipped: int, first_clip_s: float) -> Verdict:
    what = "levels, drives, compressors"
    if not math.isfinite(peak_dbfs):
        return Verdict(what, "no", "the take is silent")
    if clipped:
        places = "1 place" if clipped == 1 else f"{clipped} places"
        return Verdict(what, "no", f"clipped at {places}, first at {first_clip_s:.2f} s: record it lower")
    if gaps.loud_peak_dbfs < QUIET_PEAK_DBFS:
        return Verdict(what, "with care", f"loud notes peak at only {gaps.loud_peak_dbfs:.0f} dBFS")
    return Verdict(what, "yes", f"nothing clipped, loud notes peak at {gaps.loud_peak_dbfs:.0f} dBFS")


def _on_gates(gaps: Gaps, noise_db: float) -> Verdict:
    what = "gates"
    if not math.isfinite(gaps.loud_rms_dbfs):
        return Verdict(what, "no", "the take is silent")
    if not gaps.rests_s:
        return Verdict(what, "no", "it has no rest in which the noise could be heard")
    if noise_db == math.inf:
        return Verdict(what, "with care", "its rests are digital silence; on stage there is noise in them")
    if math.isnan(gaps.gate_threshold_db):
        return Verdict(what, "no", f"the noise is too close: only {noise_db:.0f} dB under the loud notes")
    if noise_db < POOR_NOISE_DB:
        return Verdict(what, "with care", f"the noise is {noise_db:.0f} dB under the loud notes: soft ones drown in it")
    return Verdict(what, "yes", f"it has rests, with noise {noise_db:.0f} dB under the loud notes")


def _on_reverbs(gaps: Gaps, noise_db: float, fall_s: float) -> Verdict:
    what = "echoes, reverbs"
    if not math.isfinite(gaps.loud_rms_dbfs):
        return Verdict(what, "no", "the take is silent")
    if math.isnan(fall_s):
        return Verdict(what, "with care", "no phrase ends clearly enough to tell whether the take carries its room")
    if fall_s > WET_S:
        return Verdict(what, "no", f"it carries its room ({fall_s:.1f} s for 60 dB): all will sound wetter than live")
    if fall_s > DRY_S:
        return Verdict(what, "with care", f"it carries some room ({fall_s:.1f} s for 60 dB) or fades slowly")
    if noise_db < GOOD_NOISE_DB:
        return Verdict(what, "with care", f"dry, but its noise, {noise_db:.0f} dB under the loud notes, rings along")
    return Verdict(what, "yes", f"dry: ends of phrases fall by 60 dB in about {fall_s:.2f} s")


def describe_fall(fall_s: float) -> str:
    """One sentence about the room, for players."""
    if math.isnan(fall_s):
        return "no end of a phrase shows how fast the sound dies away"
    return f"ends of phrases fall by 60 dB in about {fall_s:.2f} s"


def offsets(fitness: Fitness) -> Sequence[str]:
    """What else to know: a constant offset."""
    if fitness.dc_dbfs > DC_DBFS:
        return (f"a constant offset of {fitness.dc_dbfs:.0f} dBFS: it thumps where blocks are switched",)
    return ()
