"""A phrase played on a horn: sound, and the truth about it."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chainsim.errors import SettingError
from chainsim.horn.bore import STEP_HZ, bore_tables
from chainsim.horn.breath import breath_noise, coloured_noise
from chainsim.horn.course import CONTROL_RATE_HZ, Course, course_of
from chainsim.horn.model import HornModel, horn_model
from chainsim.horn.phrase import Phrase
from chainsim.horn.tone import harmonic_sum
from chainsim.horn.wander import wander
from chainsim.units import Array, db_to_gain

LOUDEST_DBFS = -18.0
"""RMS level of the loudest tone."""

_TOP_SHARE = 0.45
_WOBBLE_RATE_HZ = 9.0
_FLUTTER_HZ = 25.0


@dataclass(frozen=True)
class PlayedNote:
    """One note as it was played: the truth.

    Attributes
    ----------
    onset_s, end_s : float
        Where the tone begins (under a slur: half-way between the two pitches) and where its release is 20 dB down.
    pitch : float
        MIDI number asked for, transposition included.
    f0_hz : float
        Median of the true course over the middle half of the note.
    dynamic : float
    articulation : str
    slurred : bool
    """

    onset_s: float
    end_s: float
    pitch: float
    f0_hz: float
    dynamic: float
    articulation: str
    slurred: bool


@dataclass(frozen=True)
class HornTake:
    """A dry take, mono, and what is true of it.

    Attributes
    ----------
    audio : ndarray, shape (frames,)
        Full scale is 1.
    f0_hz : ndarray, shape (frames,)
        The tone's frequency at every sample, from whose sum its phase was made; 0 where no tone sounds.
    onsets_s : ndarray, shape (notes,)
    notes : tuple of PlayedNote
    """

    title: str
    horn: str
    audio: Array
    sample_rate_hz: float
    f0_hz: Array
    onsets_s: Array
    notes: tuple[PlayedNote, ...]

    def f0_at(self, times_s: Array) -> Array:
        """Frequency at given times, in Hz; 0 where no tone sounds."""
        at = np.clip(np.rint(times_s * self.sample_rate_hz).astype(np.int64), 0, self.f0_hz.size - 1)
        f0_hz: Array = self.f0_hz[at]
        return f0_hz


def play(
    phrase: Phrase,
    horn: str | None = None,
    sample_rate_hz: float = 48_000.0,
    seed: int = 1,
    *,
    transpose_semitones: float = 0.0,
    unsteadiness: float = 1.0,
    breath: float = 1.0,
    floor_dbfs: float = -70.0,
    lead_s: float = 0.6,
    tail_s: float = 0.6,
) -> HornTake:
    """Play a phrase: the same arguments give the same samples.

    Parameters
    ----------
    phrase : Phrase
    horn : str, optional
        A key of `HORNS`; by default the horn of the phrase.
    sample_rate_hz : float, at least 16000
    seed : int >= 0
        Another seed is another take by the same player on the same horn.
    transpose_semitones : float, -24 to 24
        Moves the tone and leaves bore, fingering, breath and player where they are: an ideal pitch shift. The sum of
        the harmonics keeps its power.
    unsteadiness : float, 0 to 2
        Share of all that wanders: intonation, pitch, level, tone colour.
    breath : float, 0 to 4
        Share of all player's noise: air, tongue, keys, breathing in.
    floor_dbfs : float
        RMS of the microphone's noise floor; minus infinity for none.
    lead_s, tail_s : float >= 0
        Rest before and after.

    Raises
    ------
    SettingError
        For a value outside its range or an unknown horn.
    """
    _check(sample_rate_hz, transpose_semitones, unsteadiness, breath, lead_s, tail_s)
    model = horn_model(phrase.horn if horn is None else horn)
    player, colour, air = (np.random.default_rng([seed, zlib.crc32(model.name.encode()), i]) for i in range(3))
    course = course_of(phrase, model, lead_s, tail_s, unsteadiness, player)

    frames = course.pitch.size
    samples_per_frame = sample_rate_hz / CONTROL_RATE_HZ
    bounds = np.ceil(np.arange(frames) * samples_per_frame - 1e-9).astype(np.int64)
    samples = int(bounds[-1])
    when = np.arange(samples) / samples_per_frame

    def row(values: Array) -> Array:
        sampled: Array = np.interp(when, np.arange(frames), values)
        return sampled

    played_hz = 440.0 * 2.0 ** ((row(course.pitch) - 69.0) / 12.0)
    f0_hz = played_hz * 2.0 ** (transpose_semitones / 12.0)
    phase = np.cumsum(f0_hz / sample_rate_hz) % 1.0
    tone = _tone(
        course, model, phase, f0_hz[np.minimum(bounds, samples - 1)], bounds, sample_rate_hz, unsteadiness, colour
    )
    tone *= _throat(course, row, samples, sample_rate_hz, player)

    audio = db_to_gain(LOUDEST_DBFS) * tone
    white = air.standard_normal((4, samples))
    if breath > 0.0:
        risen = np.clip(row(course.gain) / (row(course.breath) / db_to_gain(model.breath_db) + 1e-9), 0.0, 1.0)
        noise = breath_noise(white[0], row(course.breath), played_hz, phase, risen, model, sample_rate_hz)
        noise += row(course.tongue) * coloured_noise(white[1], 900.0, 5000.0, sample_rate_hz)
        noise += row(course.keys) * coloured_noise(white[2], 500.0, 1500.0, sample_rate_hz)
        audio += breath * db_to_gain(LOUDEST_DBFS) * noise
    audio += db_to_gain(floor_dbfs) * coloured_noise(white[3], 60.0, 1800.0, sample_rate_hz)

    at = np.minimum(np.floor(when + 1e-9).astype(np.int64), frames - 1)
    truth_hz = np.where(course.voiced[at], f0_hz, 0.0)
    notes = _notes(course, truth_hz, sample_rate_hz, transpose_semitones)
    onsets_s = np.array([note.onset_s for note in notes])
    return HornTake(phrase.title, model.name, audio, sample_rate_hz, truth_hz, onsets_s, notes)


def _check(
    sample_rate_hz: float, transpose_semitones: float, unsteadiness: float, breath: float, lead_s: float, tail_s: float
) -> None:
    for name, value, low, high in (
        ("sample_rate_hz", sample_rate_hz, 16_000.0, 400_000.0),
        ("transpose_semitones", transpose_semitones, -24.0, 24.0),
        ("unsteadiness", unsteadiness, 0.0, 2.0),
        ("breath", breath, 0.0, 4.0),
        ("lead_s", lead_s, 0.0, 60.0),
        ("tail_s", tail_s, 0.0, 60.0),
    ):
        if not low <= value <= high:
            raise SettingError(f"play: {name} = {value:g}, allowed {low:g} ... {high:g}")


def _tone(
    course: Course,
    model: HornModel,
    phase: Array,
    f0_hz: Array,
    bounds: np.typing.NDArray[np.int64],
    sample_rate_hz: float,
    unsteadiness: float,
    random: np.random.Generator,
) -> Array:
    """Sum of harmonics, shape (samples,); the loudest tone has RMS 1."""
    frames = course.pitch.size
    samples_per_frame = sample_rate_hz / CONTROL_RATE_HZ
    top_hz = _TOP_SHARE * sample_rate_hz
    harmonics = int(min(top_hz, 24_000.0) / f0_hz.min()) + 1
    tables = bore_tables(model, course.fingerings)
    k = np.arange(1, harmonics + 1)
    knots_per_frame = _WOBBLE_RATE_HZ / CONTROL_RATE_HZ
    wobble = random.standard_normal((int(frames * knots_per_frame) + 3, 400))
    spread = np.random.default_rng(zlib.crc32(f"{model.name} phases".encode())).uniform(-1.7, 1.7, 4000)
    # more than 400 harmonics share the wobble of lower ones
    depth_db = unsteadiness * np.minimum(0.25 + 0.11 * (k - 1), 1.8)
    wobble_db = np.ascontiguousarray(wobble[:, (k - 1) % 400] * depth_db)
    theta = np.where(k == 1, 0.0, spread[(k - 1) % spread.size])
    y = np.zeros((1, phase.size))
    harmonic_sum(
        phase, bounds, np.ascontiguousarray(f0_hz), course.gain, course.pressure, course.bore_share,
        course.bore_from, course.bore_to, tables.fixed_db, tables.tilt_db, tables.source_db, np.log2(k), theta,
        wobble_db, course.roughness, knots_per_frame, samples_per_frame, STEP_HZ, min(top_hz, 29_000.0),
        np.zeros((2, harmonics)), np.zeros((5, int(samples_per_frame) + 2)), y,
    )  # fmt: skip
    tone: Array = y[0]
    return tone


def _throat(
    course: Course, row: Callable[[Array], Array], samples: int, sample_rate_hz: float, random: np.random.Generator
) -> Array:
    """Gain of shape (samples,) by which a humming voice or a rolling tongue moves the tone; mean square about 1."""
    frames = course.pitch.size
    if not (np.any(course.growl) or np.any(course.flutter)):
        return np.ones(samples)
    rough = wander(random, frames, 30.0 / CONTROL_RATE_HZ)
    fingered = np.array(course.fingerings, np.float64)[course.bore_to]
    voice_hz = growl_hz(fingered) * (1.0 + 0.01 * rough)
    voice = 2.0 * np.pi * np.cumsum(row(voice_hz)) / sample_rate_hz
    roll = 2.0 * np.pi * np.cumsum(row(_FLUTTER_HZ * (1.0 + 0.06 * rough))) / sample_rate_hz
    hum = (np.cos(voice) + 0.35 * np.cos(2.0 * voice + 1.0) + 0.15 * np.cos(3.0 * voice)) / 1.5
    growl, flutter = row(course.growl), row(course.flutter)
    gain: Array = (1.0 + growl * hum) * (1.0 - flutter * (0.5 + 0.5 * np.cos(roll)) ** 1.5)
    return gain


def growl_hz(pitch: Array) -> Array:
    """Frequency that the player hums under a growled note: no simple ratio to it, 70 to 140 Hz."""
    hum_hz = 0.381 * 440.0 * 2.0 ** ((pitch - 69.0) / 12.0)
    folded: Array = hum_hz * 2.0 ** -np.floor(np.log2(hum_hz / 70.0))
    return folded


def _notes(course: Course, f0_hz: Array, sample_rate_hz: float, transpose_semitones: float) -> tuple[PlayedNote, ...]:
    notes = []
    for onset_s, end_s, note in course.notes:
        quarter_s = 0.25 * (end_s - onset_s)
        middle = f0_hz[round((onset_s + quarter_s) * sample_rate_hz) : round((end_s - quarter_s) * sample_rate_hz)]
        pitch = (note.pitch or 0.0) + transpose_semitones
        notes.append(
            PlayedNote(onset_s, end_s, pitch, float(np.median(middle)), note.dynamic, note.articulation, note.slurred)
        )
    return tuple(notes)
