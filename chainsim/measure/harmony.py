"""How true a harmony is to the take that it was made from: pitch, level, drop-outs and pre-echo, note by note.

    error = 1200 log2( f_voice(t + latency) / f_take(t) ) - 100 semitones      in cents                         (1)

Both pitches are measured alike and after the fact (`chainsim.measure.fundamental`), in windows of the same length, at
moments 10 ms apart in the steady stretches of the take's notes (`chainsim.measure.steady_notes`).

A voice drops out in a note if its peaks lie more than 20 dB under those of the take for longer than 20 ms, if all of
it is 20 dB softer, or if more than a tenth of the steady stretch is not within 50 cents of what is wanted. Of the
stretch that counts for which the take itself is a fair ground: from the first to the last moment at which its level is
within 12 dB of the loudest. What has faded further, into the noise of a room, has no pitch that a voice could miss.
Moments at which the take's own pitch is not sure are left out altogether: those at which the two measurements of it,
once alone and once in the window that a lower voice needs, do not agree within 50 cents.

Pre-echo is the power that the voice adds just before a note that follows a rest, relative to the power of the voice in
the note; `chainsim.measure.harmony_pre_echo` says what is added, and when a note begins.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.measure.fundamental import LEAST_PERIODS, WINDOW_S, fundamental_hz
from chainsim.measure.harmony_peaks import CELL_S, GAP_DB, cell_peaks, longest_gap, power, power_db
from chainsim.measure.harmony_pre_echo import pre_echo_db, take_begins
from chainsim.measure.signals import one_channel
from chainsim.measure.steady_notes import SteadyNote, SteadyNotes, find_steady_notes
from chainsim.units import Array

TAKE_RANGE_HZ = (40.0, 2000.0)
"""Any horn."""

GAP_S, LEAST_HELD_S = 0.02, 0.005
OFF_CENTS, MOST_OFF = 50.0, 0.1
FADED_DB = -12.0


@dataclass(frozen=True)
class NoteError:
    """One note of the take, and what the voice made of it.

    Attributes
    ----------
    begin_s, end_s : float
        In the take.
    take_hz : float
        Its pitch: the median of its steady stretch, or, without one, of what is known of it; NaN if nothing is.
    semitones : float
        The interval that is wanted there, the mean.
    time_s, cents : ndarray, shape (moments,)
        The moments of the steady stretch at which the take's pitch is sure, and error (1) at each; NaN where the voice
        has no tone near what is wanted.
    loud_s : (first, last)
        The moments from which to which the take's level is within 12 dB of the loudest of them; NaN without any.
    level_db : float
        Level of the voice minus level of the take, rms over the note.
    gap_ms : float
        Longest time in which the voice's peaks lie more than 20 dB under the take's.
    pre_echo_db : float
        Power that the voice adds before the note, relative to its own in the note; minus infinity if it adds nothing,
        NaN if no rest comes before the note.
    """

    begin_s: float
    end_s: float
    take_hz: float
    semitones: float
    time_s: Array
    cents: Array
    loud_s: tuple[float, float]
    level_db: float
    gap_ms: float
    pre_echo_db: float

    @property
    def steady(self) -> bool:
        """Whether there is a stretch in which its pitch can be judged."""
        return self.cents.size > 0

    @property
    def mean_cents(self) -> float:
        """Mean error; NaN where nothing is known."""
        return _mean(self.cents)

    @property
    def spread_cents(self) -> float:
        """Standard deviation of the error; NaN where nothing is known."""
        return _spread(self.cents)

    @property
    def in_place(self) -> npt.NDArray[np.bool_]:
        """At which moments the voice is within 50 cents of what is wanted."""
        near: npt.NDArray[np.bool_] = np.abs(self.cents) <= OFF_CENTS
        return near

    @property
    def off_share(self) -> float:
        """Share of the steady stretch, while the take is loud, in which the voice is not in place; 0 without one."""
        loud = (self.time_s >= self.loud_s[0]) & (self.time_s <= self.loud_s[1])
        return 1.0 - float(np.mean(self.in_place[loud])) if loud.any() else 0.0

    @property
    def dropped_out(self) -> bool:
        """Whether the voice dropped out."""
        return self.gap_ms > 1000.0 * GAP_S or not self.level_db > GAP_DB or self.off_share > MOST_OFF


@dataclass(frozen=True)
class HarmonyError:
    """How true one voice is to a take.

    Attributes
    ----------
    notes : tuple of NoteError, in order of time
        Every note of the take; those that are not steady count for drop-outs and pre-echo only.
    """

    notes: tuple[NoteError, ...]

    @property
    def steady_notes(self) -> tuple[NoteError, ...]:
        """Those whose pitch can be judged."""
        return tuple(n for n in self.notes if n.steady)

    @property
    def mean_cents(self) -> float:
        """Mean error over all moments of steady notes; NaN if there are none."""
        return _mean(self._cents)

    @property
    def spread_cents(self) -> float:
        """Standard deviation of the error over all moments of steady notes; NaN if there are none."""
        return _spread(self._cents)

    @property
    def worst_level_db(self) -> float:
        """Level of the voice minus level of the take in the steady note in which they differ most; NaN without one."""
        return max((n.level_db for n in self.steady_notes), key=abs, default=math.nan)

    @property
    def dropped_out(self) -> int:
        """Notes in which the voice dropped out."""
        return sum(n.dropped_out for n in self.notes)

    @property
    def pre_echo_db(self) -> float:
        """The worst note's pre-echo; NaN if no note follows a rest."""
        return max((n.pre_echo_db for n in self.notes if not math.isnan(n.pre_echo_db)), default=math.nan)

    @property
    def _cents(self) -> Array:
        return np.concatenate([np.zeros(0), *(n.cents for n in self.notes)])


def harmony_error(
    take: npt.ArrayLike,
    voice: npt.ArrayLike,
    sample_rate_hz: float,
    semitones: npt.ArrayLike,
    latency_samples: float = 0.0,
    *,
    range_hz: tuple[float, float] = TAKE_RANGE_HZ,
) -> HarmonyError:
    """How true a voice is to the take that it was made from.

    Parameters
    ----------
    take, voice : ndarray, shape (frames,)
        One horn, and that voice alone.
    sample_rate_hz : float
    semitones : float, or ndarray of the take's shape
        The interval that is wanted, or the one at each sample of the take.
    latency_samples : float
        How much later than the take the voice comes.
    range_hz : (low, high)
        Where the take's pitch lies.

    Raises
    ------
    AudioError
        If a sound is not one channel of finite samples, or `semitones` has another length than the take.
    """
    return HarmonyJudge(take, sample_rate_hz, range_hz).of_interval(voice, semitones, latency_samples)


class HarmonyJudge:
    """Judges any number of voices by one take, whose notes are found once.

    Parameters
    ----------
    take : ndarray, shape (frames,)
    sample_rate_hz : float
    range_hz : (low, high)
        Where its pitch lies.

    Attributes
    ----------
    found : SteadyNotes
    """

    def __init__(
        self, take: npt.ArrayLike, sample_rate_hz: float, range_hz: tuple[float, float] = TAKE_RANGE_HZ
    ) -> None:
        self._x = one_channel(take, "harmony")
        self._rate_hz = float(sample_rate_hz)
        self._cell = max(1, round(CELL_S * self._rate_hz))
        self._cell_s = self._cell / self._rate_hz
        self._take_peaks = cell_peaks(self._x, self._cell)
        self.found: SteadyNotes = find_steady_notes(self._x, sample_rate_hz, range_hz)

    def of_interval(self, voice: npt.ArrayLike, semitones: npt.ArrayLike, latency_samples: float = 0.0) -> HarmonyError:
        """Judge a voice at an interval to the take; parameters and errors as of `harmony_error`."""
        wanted = np.asarray(semitones, dtype=np.float64)
        if wanted.shape not in ((), self._x.shape):
            raise AudioError(f"harmony: semitones of shape {wanted.shape}, wanted one value or {self._x.shape}")
        at = np.minimum(np.rint(self.found.time_s * self._rate_hz).astype(np.int64), self._x.size - 1)
        there = np.broadcast_to(wanted, self._x.shape)[at]
        return self._judge(voice, there, latency_samples, None)

    def of_pitch(self, voice: npt.ArrayLike, pitch_hz: float, latency_samples: float = 0.0) -> HarmonyError:
        """Judge a drone, a voice that stays at its own pitch whatever the take plays."""
        return self._judge(voice, 12.0 * np.log2(pitch_hz / self.found.f0_hz), latency_samples, pitch_hz)

    def _judge(
        self, voice: npt.ArrayLike, semitones: Array, latency_samples: float, fixed_hz: float | None
    ) -> HarmonyError:
        y = one_channel(voice, "harmony")
        behind = round(latency_samples)
        aligned = np.zeros(self._x.size)
        heard = y[max(behind, 0) : max(behind, 0) + self._x.size - max(-behind, 0)]
        aligned[max(-behind, 0) : max(-behind, 0) + heard.size] = heard
        sure, cents = self._cents(y, semitones, latency_samples, fixed_hz)
        peaks = cell_peaks(aligned, self._cell)
        return HarmonyError(
            tuple(self._note(i, aligned, peaks, semitones, sure, cents) for i in range(len(self.found.notes)))
        )

    def _cents(
        self, y: Array, semitones: Array, latency_samples: float, fixed_hz: float | None
    ) -> tuple[npt.NDArray[np.bool_], Array]:
        """Which moments are steady and sure, and error (1) at these; `fixed_hz` is what a drone is compared with."""
        steady = np.zeros(self.found.time_s.size, np.bool_)
        for note in self.found.notes:
            steady[note.steady_first : note.steady_last] = True
        sure, cents = steady.copy(), np.full(steady.shape, np.nan)
        if not steady.any():
            return sure, cents
        time_s, take_hz = self.found.time_s[steady], self.found.f0_hz[steady]
        wanted_hz = take_hz * 2.0 ** (semitones[steady] / 12.0)
        window_s = np.maximum(WINDOW_S, LEAST_PERIODS / np.minimum(take_hz, wanted_hz))
        if fixed_hz is None:
            # Measured anew: where the voice is lower, the window of both is longer.
            anew_hz = fundamental_hz(self._x, self._rate_hz, time_s, take_hz, window_s)
            sure[steady] = np.abs(1200.0 * np.log2(anew_hz / take_hz)) <= OFF_CENTS
            wanted_hz = anew_hz * 2.0 ** (semitones[steady] / 12.0)
        voice_hz = fundamental_hz(y, self._rate_hz, time_s + latency_samples / self._rate_hz, wanted_hz, window_s)
        cents[steady] = 1200.0 * np.log2(voice_hz / wanted_hz)  # (1)
        return sure, cents

    def _note(
        self,
        number: int,
        aligned: Array,
        peaks: Array,
        semitones: Array,
        sure: npt.NDArray[np.bool_],
        cents: Array,
    ) -> NoteError:
        note = self.found.notes[number]
        own = slice(note.steady_first, note.steady_last) if note.steady else slice(note.first, note.last)
        pitch_hz, interval = self.found.f0_hz[own], semitones[own]
        known = np.isfinite(pitch_hz) & np.isfinite(interval)
        take_hz = float(np.median(pitch_hz[known])) if known.any() else math.nan
        semitone = float(np.mean(interval[known])) if known.any() else math.nan
        span = slice(round(note.begin_s * self._rate_hz), round(note.end_s * self._rate_hz))
        take_power, voice_power = power(self._x[span]), power(aligned[span])
        lower_hz = take_hz * min(1.0, 2.0 ** (semitone / 12.0))
        judged = note.steady_first + np.flatnonzero(sure[note.steady_first : note.steady_last])
        return NoteError(
            note.begin_s,
            note.end_s,
            take_hz,
            semitone,
            self.found.time_s[judged],
            cents[judged],
            self._loud_s(self.found.time_s[judged], take_hz),
            power_db(voice_power / take_power) if take_power > 0.0 else math.nan,
            self._gap_ms(note, peaks, lower_hz),
            self._pre_echo_db(number, aligned),
        )

    def _loud_s(self, time_s: Array, take_hz: float) -> tuple[float, float]:
        """First and last moment at which the take is within 12 dB of the loudest moment."""
        if not time_s.size:
            return math.nan, math.nan
        half_s = 0.5 * max(WINDOW_S, LEAST_PERIODS / take_hz)
        bounds = np.rint(np.stack([time_s - half_s, time_s + half_s]) * self._rate_hz).astype(np.int64)
        levels = np.array([power(self._x[max(first, 0) : last]) for first, last in bounds.T.tolist()])
        loud_s = time_s[levels >= 10.0 ** (FADED_DB / 10.0) * levels.max()]
        return float(loud_s[0]), float(loud_s[-1])

    def _gap_ms(self, note: SteadyNote, peaks: Array, lower_hz: float) -> float:
        """Longest gap after the attack and before the release."""
        if note.first >= note.last:
            return 0.0
        held = math.ceil(max(LEAST_HELD_S, 1.0 / lower_hz if lower_hz > 0.0 else GAP_S) / self._cell_s)
        first, last = (round(self.found.time_s[i] / self._cell_s) for i in (note.first, note.last - 1))
        return 1000.0 * self._cell_s * longest_gap(self._take_peaks[first:last], peaks[first:last], held)

    def _pre_echo_db(self, number: int, aligned: Array) -> float:
        note = self.found.notes[number]
        earliest_s = self.found.notes[number - 1].begin_s if number else 0.0
        begins = take_begins(note, earliest_s, self._take_peaks, self._cell_s)
        if begins is None:
            return math.nan
        rises, speaks = (cell * self._cell for cell in begins)
        return pre_echo_db(self._x, aligned, rises, speaks, round(note.end_s * self._rate_hz), self._rate_hz)


def _mean(cents: Array) -> float:
    known = cents[np.isfinite(cents)]
    return float(np.mean(known)) if known.size else math.nan


def _spread(cents: Array) -> float:
    known = cents[np.isfinite(cents)]
    return float(np.std(known)) if known.size else math.nan
