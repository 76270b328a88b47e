"""Wandering bass: at every point of a musical grid the next note of a random walk in the key, under what is played.

The walk (`chainsim.dsp.random_walk`) counts notes of the scale from a middle that lies an interval away from the note
the horn plays. It belongs to the grid and to the block's seed, not to what is played: so a passage played again over
the same bars gets the same line. Each note lasts a share of its grid value and takes the horn's level where it begins;
after the horn has stopped, the level it had before it died away.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

import numpy as np

from chainsim.block import Block, Context, Io, register
from chainsim.blocks._synth_settings import PitchSource
from chainsim.dsp.adsr import adsr, adsr_coefficients
from chainsim.dsp.envelope import FLUSH
from chainsim.dsp.pitch_following import pitch_to_hz
from chainsim.dsp.pitch_rows import F0_HZ, LEVEL_DB, VOICED
from chainsim.dsp.random_walk import grid_point, walk_on
from chainsim.dsp.svf import TOP, svf_coefficients, svf_sweep
from chainsim.dsp.synth_oscillators import VoiceOscillators, unison_gains
from chainsim.dsp.synth_voice import cutoff_octaves, voice_amplifier
from chainsim.errors import SettingError
from chainsim.kernel import kernel
from chainsim.music.interval import parse_interval
from chainsim.music.note_value import NoteValue, parse_note_value
from chainsim.music.scale import Key, parse_key
from chainsim.settings import choice, fixed, level, movable, readable_by, whole, words
from chainsim.units import Array, Counts, db_to_gain, one_pole_coefficient

FLOOR_DB = 90.0
LEVEL_MS = 3.0

LATE_S = 0.06
"""How long after its grid point a note may begin, where the horn began on the beat and its pitch was found later."""


LEVEL_SLICE_S, LEVEL_SLICES = 0.1, 4
"""The level before a horn died away is the highest of its last slices: 0.3 to 0.4 s."""


class WanderingBassSettings(PitchSource):
    interval: Annotated[str, readable_by(parse_interval)] = words(
        "P8 below", "where the middle of the walk lies from the played note"
    )
    range_steps: int = whole(4, 1, 14, "how many notes of the scale it goes from the middle at the most")
    largest_step: int = whole(2, 1, 7, "how many notes of the scale it goes from note to note at the most")
    every: Annotated[str, readable_by(parse_note_value)] = words(
        "1/4", 'note value of its grid, such as "1/8", "1/4 dotted" or "1/8 swung"'
    )
    swing_percent: float = fixed(66.7, 50.0, 75.0, "%", "share of the long note in a swung pair; 50 is straight")
    gate: float = fixed(0.8, 0.05, 1.0, "1", "share of its grid value that each note is held")
    goes_on_s: float = fixed(1.0, 0.0, 30.0, "s", "how long it goes on after the horn has stopped")
    waveform: Literal["saw", "pulse", "triangle", "sine"] = choice("saw", "its tone before the filter")
    width: float = fixed(0.5, 0.05, 0.95, "1", "share of the period that a pulse is up; 0.5 is hollow")
    attack_ms: float = fixed(4.0, 1.0, 1000.0, "ms", "time from the beginning of a note to its top")
    decay_ms: float = fixed(400.0, 1.0, 10_000.0, "ms", "time to 1 - 1/e of the way from the top to the sustain")
    sustain_db: float = fixed(-8.0, -60.0, 0.0, "dB", "level a held note comes to, relative to its top")
    release_ms: float = fixed(40.0, 1.0, 5000.0, "ms", "time to 1 - 1/e of the way to silence after a note")
    cutoff_hz: float = movable(500.0, 20.0, 20_000.0, "Hz", "where its low pass begins")
    q: float = movable(1.2, 0.5, 30.0, "1", "sharpness of the resonance", law="log")
    envelope_octaves: float = movable(1.5, -8.0, 8.0, "1", "octaves that a note's envelope moves the cutoff")
    level_db: float = level(0.0, -96.0, 24.0, "level of what comes out")

    def idle(self) -> Mapping[str, str]:
        swings, has_width = parse_note_value(self.every).swung, self.waveform == "pulse"
        return {
            **super().idle(),
            **({} if swings else {"swing_percent": f'beside every = "{self.every}"'}),
            **({} if has_width else {"width": f'beside waveform = "{self.waveform}"'}),
        }


@kernel
def walking_notes(
    track: Array,
    tempo: Array,
    line: Array,
    every_beats: float,
    long_share: float,
    gate: float,
    goes_on_s: float,
    largest: int,
    seed: int,
    a4_hz: float,
    sample_rate_hz: float,
    smooth: float,
    number: Counts,
    z: Array,
    highest: Array,
    start: Array,
    sounding: Array,
    pitch: Array,
    amplitude: Array,
) -> None:
    """Fill the rows of the line's notes.

    Parameters
    ----------
    track : ndarray, shape (5, frames)
        Rows of `chainsim.dsp.pitch_rows`.
    tempo : ndarray, shape (2, frames)
        Beats per minute, and the beat.
    line : ndarray, shape (128, 2 reach + 1)
        Note for each played note and each place of the walk, from -reach to reach.
    every_beats, long_share : float
        The grid, as in `grid_point`.
    gate : float
        Share of its value that a note is held.
    goes_on_s : float
    largest, seed : int
        Of the walk.
    a4_hz, sample_rate_hz : float
    smooth : float
        Coefficient of the one-pole that keeps a change of level from clicking.
    number : ndarray of int64, shape (3,)
        State: the last grid point, the walk's place there, and whether its note is still due; (-1, 0, 0) at the start.
    z : ndarray, shape (8,)
        State: seconds since a pitch was known (infinite at the start), that pitch in Hz, its level in dB; beat at which
        the sounding note ends, its pitch, its amplitude on the way and in the end; seconds in the newest slice. All
        others 0 at the start.
    highest : ndarray, shape (slices,)
        State: highest level in dB of each slice of time, the newest first, until the pitch was last known; -inf at the
        start.
    start, sounding, pitch, amplitude : ndarray, shape (frames,)
        1 where a note begins; 1 while it is held; semitones; rms.
    """
    since_s, played_hz, level_db, end, semitones, size, aim, slice_s = z[0], z[1], z[2], z[3], z[4], z[5], z[6], z[7]
    last, place, due = number[0], number[1], number[2]
    reach, step_s = (line.shape[1] - 1) // 2, 1.0 / sample_rate_hz
    for i in range(track.shape[1]):
        since_s += step_s
        if track[VOICED, i] > 0.0 and track[F0_HZ, i] > 0.0:
            if since_s > LEVEL_SLICE_S * LEVEL_SLICES:
                highest[:] = -math.inf
            since_s, played_hz, level_db = 0.0, track[F0_HZ, i], track[LEVEL_DB, i]
            slice_s += step_s
            if slice_s >= LEVEL_SLICE_S:
                slice_s = 0.0
                for j in range(highest.shape[0] - 1, 0, -1):
                    highest[j] = highest[j - 1]
                highest[0] = -math.inf
            highest[0] = max(highest[0], level_db)
        beat, beats_per_sample = tempo[1, i], tempo[0, i] / (60.0 * sample_rate_hz)
        k, begin, after = grid_point(beat, every_beats, long_share)
        start[i] = 0.0
        if k != last:
            place = walk_on(place, last, k, largest, reach, seed)
            # Who wakes between two points waits for the next.
            due = 1 if last >= 0 or beat - begin < beats_per_sample else 0
            last = k
        if due == 1 and (beat - begin) / beats_per_sample > LATE_S * sample_rate_hz:
            due = 0
        if due == 1 and since_s <= goes_on_s:
            note = 69.0 + 12.0 * math.log2(min(max(played_hz, 8.2), 12_500.0) / a4_hz)
            semitones = line[int(min(max(math.floor(note + 0.5), 0.0), 127.0)), reach + place]
            if since_s > 0.0:
                for j in range(highest.shape[0]):
                    level_db = max(level_db, highest[j])
            aim = math.exp(min(level_db, 40.0) * (math.log(10.0) / 20.0))
            end = begin + gate * (after - begin)
            start[i], due = 1.0, 0
        size = aim + smooth * (size - aim)
        if size < FLUSH:
            size = 0.0
        sounding[i] = 1.0 if beat < end else 0.0
        pitch[i] = semitones
        amplitude[i] = size
    z[0], z[1], z[2], z[3], z[4], z[5], z[6], z[7] = since_s, played_hz, level_db, end, semitones, size, aim, slice_s
    number[0], number[1], number[2] = last, place, due


@register("wandering_bass")
class WanderingBass(Block[WanderingBassSettings]):
    """Walks in the key under what is played, in time, each note drawn by chance."""

    has_detector = True
    control_inputs = ("pitch", "tempo")
    generates = True
    reads_files = True
    source = "random walk with reflection, textbook; splitmix64 (Steele, Lea, Flood, OOPSLA 2014)"

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return channels["in"]

    @classmethod
    def is_seeded(cls, settings: Any) -> bool:
        return True

    @classmethod
    def follows_key(cls, settings: Any) -> bool:
        return True

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        if context.key is None:
            raise SettingError('the walk needs a key, and the sketch has none; allowed such as key = "E minor"')
        self._rate_hz, self._a4_hz, self._seed = rate_hz, float(context.a4_hz), context.seed
        self._line = walking_line(parse_key(context.key), chosen.interval, chosen.range_steps)
        self._every_beats, self._long_share = grid_of(parse_note_value(chosen.every), chosen.swing_percent)
        gains = unison_gains(chosen.waveform, 1.0, 0.0, 0.0, 1, 1)
        self._oscillator = VoiceOscillators(chosen.waveform, chosen.width, np.zeros(128), [0.0], gains, 0, rate_hz)
        sustain = db_to_gain(chosen.sustain_db)
        self._shape = adsr_coefficients(chosen.attack_ms, chosen.decay_ms, sustain, chosen.release_ms, rate_hz)
        self._smooth = one_pole_coefficient(LEVEL_MS / 1000.0, rate_hz)
        slowest_s = 2.0 * self._long_share * self._every_beats * 60.0 / context.tempo_bpm[0]
        self.tail_s = chosen.goes_on_s + chosen.gate * slowest_s + release_seconds(chosen.release_ms)
        self.tail_s += chosen.late_s
        self._number = np.zeros(3, np.int64)
        self._z_notes, self._z_shape, self._z_filter = np.zeros(8), np.zeros(2), np.zeros((1, 2))
        self._highest_db = np.zeros(LEVEL_SLICES)
        self.reset()

    def reset(self) -> None:
        for state in (self._z_notes, self._z_shape, self._z_filter, self._number):
            state.fill(0)
        self._number[0], self._z_notes[0] = -1, math.inf
        self._highest_db.fill(-math.inf)
        self._oscillator.reset()

    def process(self, io: Io) -> None:
        moving, frames = io.moving, io.frames
        start, sounding, pitch, size, hz, shape, cutoff_hz = np.empty((7, frames))
        none = np.zeros(frames)
        walking_notes(
            io.control["pitch"],
            io.control["tempo"],
            self._line,
            self._every_beats,
            self._long_share,
            self.settings.gate,
            self.settings.goes_on_s,
            self.settings.largest_step,
            self._seed,
            self._a4_hz,
            self._rate_hz,
            self._smooth,
            self._number,
            self._z_notes,
            self._highest_db,
            start,
            sounding,
            pitch,
            size,
        )
        adsr(start, sounding, self._shape, self._z_shape, shape)
        pitch_to_hz(pitch, none, self._a4_hz, hz)
        sound, y = np.zeros((1, frames)), np.empty((1, frames))
        self._oscillator.add_to(io.n0, hz, none, none, none, none, sound)
        cutoff_octaves(
            moving.cutoff_hz,
            moving.envelope_octaves,
            shape,
            none,
            none,
            none,
            pitch,
            none,
            TOP * self._rate_hz,
            cutoff_hz,
        )
        a = np.empty((3, frames))
        svf_coefficients(cutoff_hz, moving.q, self._rate_hz, a)
        svf_sweep(sound, a, moving.q, 0, 1, self._z_filter, y)
        voice_amplifier(size, shape, moving.level_db, none, 1.0, y)
        np.copyto(io.y, y)


def walking_line(key: Key, interval: str, reach: int) -> Array:
    """Note for each played note, 0 ... 127, and each place of the walk, -reach ... reach; all in the key.

    From a middle outside the key, the walk's own middle is the note of the key below it.
    """
    away = parse_interval(interval)
    line = np.empty((128, 2 * reach + 1))
    for played in range(128):
        middle = key.move(played, away)
        while not key.contains(middle):
            middle -= 1
        line[played] = [key.walk(middle, steps) for steps in range(-reach, reach + 1)]
    return line


def grid_of(value: NoteValue, swing_percent: float) -> tuple[float, float]:
    """Straight length in beats, and the share of a pair that its first note takes."""
    return value.beats, swing_percent / 100.0 if value.swung else 0.5


def release_seconds(release_ms: float) -> float:
    """Time in which a release falls to the floor of tails."""
    return release_ms / 1000.0 * math.log(10.0) * FLOOR_DB / 20.0
