"""Figures of the sounds of a lesson, each of one sound as it came out of its chain."""

from __future__ import annotations

import itertools
import math

import numpy as np

from chainsim.listen.lessons.claims import Reading
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.measure.attacks import find_notes
from chainsim.measure.frame_powers import SpectrumMeter
from chainsim.measure.loudness import LoudnessMeter, from_two_loudspeakers
from chainsim.units import Array

REST_END_S = 0.1
"""The last part of a rest: by then a gate is shut and a note's own end is over."""
BEFORE_NOTE_S = 0.02
SHORTEST_NOTE_S = 0.3
NOTE_S = 0.25
"""How much of a note counts beside its beginning."""
SPEAKS_HOP_S, SPEAKS_WITHIN_S, SPEAKS_UNDER_DB = 0.0025, 0.1, 10.0
LEVEL_HOP_S = 0.02
RING_DB = -40.0


def loudness_lufs(heard: Heard) -> float:
    """Integrated loudness as on two loudspeakers, ITU-R BS.1770-5; one channel plays on both."""
    channels = heard.audio.shape[1]
    meter = LoudnessMeter(heard.sample_rate_hz, channels)
    meter.add(np.ascontiguousarray(heard.audio.T))
    return from_two_loudspeakers(meter.result().integrated_lufs, channels)


def peak_dbfs(heard: Heard) -> float:
    """Largest sample."""
    return decibels(float(np.max(np.abs(heard.audio))))


def brightness_hz(heard: Heard) -> float:
    """Middle of the spectrum: its centroid by amplitude."""
    meter = SpectrumMeter(heard.sample_rate_hz, heard.audio.shape[1])
    meter.add(np.ascontiguousarray(heard.audio.T))
    return meter.result()


def level_over_db(heard: Heard, freq_hz: float) -> float:
    """Level of what lies over a frequency, relative to the whole."""
    power = np.sum(np.abs(np.fft.rfft(heard.audio, axis=0)) ** 2, axis=1)
    freq = np.fft.rfftfreq(heard.audio.shape[0], 1.0 / heard.sample_rate_hz)
    whole = float(np.sum(power))
    return power_db(float(np.sum(power[freq > freq_hz])) / whole) if whole > 0.0 else math.nan


def rest_noise(excerpt: Excerpt, heard: Heard) -> Reading:
    """`rest_level_dbfs` as a figure of a lesson."""
    return Reading(f"noise in rests, {heard.name}", rest_level_dbfs(excerpt, heard), "dBFS")


def rest_level_dbfs(excerpt: Excerpt, heard: Heard) -> float:
    """Level at the ends of the rests, where only noise is left; NaN if the take has no rest."""
    return _level_within(heard, rest_ends_s(excerpt))


def ringing_level_dbfs(excerpt: Excerpt, heard: Heard) -> float:
    """Level in the rests between notes, from their beginning on; NaN if there is none."""
    return _level_within(heard, [(a, b) for a, b in excerpt.gaps.rests_s if a > 0.0])


def rest_ends_s(excerpt: Excerpt) -> list[tuple[float, float]]:
    """The last tenth of a second of every rest, short of the next note."""
    ends = [(b - BEFORE_NOTE_S - REST_END_S, b - BEFORE_NOTE_S) for a, b in excerpt.gaps.rests_s]
    return [
        (max(a, start), b)
        for (start, _), (a, b) in zip(excerpt.gaps.rests_s, ends, strict=True)
        if b < excerpt.audio.size / excerpt.sample_rate_hz - 2.0 * BEFORE_NOTE_S
    ]


def note_begins_s(excerpt: Excerpt) -> list[float]:
    """Where notes begin that are not slurred, so long before the end that half of one can be heard."""
    lasts_s = excerpt.audio.size / excerpt.sample_rate_hz
    notes = find_notes(excerpt.audio, excerpt.sample_rate_hz, excerpt.gaps)
    return [note.begin_s for note in notes if note.begin_s < lasts_s - SHORTEST_NOTE_S]


def beginnings_db(excerpt: Excerpt, heard: Heard, first_s: float) -> float:
    """Level of the first moments of tongued notes, relative to what follows in their first quarter second."""
    first, body = [], []
    for begin_s in note_begins_s(excerpt):
        begin, then, end = (round((begin_s + s) * heard.sample_rate_hz) for s in (0.0, first_s, NOTE_S))
        first.append(heard.mono[begin:then])
        body.append(heard.mono[then:end])
    if not first:
        return math.nan
    powers = [float(np.mean(np.square(np.concatenate(parts)))) for parts in (first, body)]
    return power_db(powers[0] / powers[1]) if powers[1] > 0.0 else math.nan


def speaks_after_ms(excerpt: Excerpt, heard: Heard) -> float:
    """How long after the take's notes begin a sound comes up, in its middle note; NaN if it does not.

    What sounds of the note before is over at the lowest moment of the tenth of a second after the beginning; from there
    it has come up where it is within 10 dB of the loudest that follows.
    """
    waits = []
    _, level = levels_dbfs(heard, SPEAKS_HOP_S)
    for begin_s in note_begins_s(excerpt):
        first = max(0, round((begin_s - BEFORE_NOTE_S) / SPEAKS_HOP_S))
        cells = level[first : first + round((BEFORE_NOTE_S + SPEAKS_WITHIN_S) / SPEAKS_HOP_S)]
        lowest = int(np.argmin(cells))
        after = level[first + lowest : first + lowest + round(SPEAKS_WITHIN_S / SPEAKS_HOP_S)]
        up = np.flatnonzero(after >= np.max(after) - SPEAKS_UNDER_DB)
        if after[0] < np.max(after) - SPEAKS_UNDER_DB:
            waits.append((first + lowest + int(up[0])) * SPEAKS_HOP_S - begin_s)
    return 1000.0 * float(np.median(waits)) if waits else math.nan


def levels_dbfs(heard: Heard, hop_s: float = LEVEL_HOP_S) -> tuple[Array, Array]:
    """Level of every 20 ms: times in s and levels in dBFS."""
    hop = max(1, round(hop_s * heard.sample_rate_hz))
    count = heard.audio.shape[0] // hop
    cells = heard.audio[: count * hop].reshape(count, hop, -1)
    power = np.mean(np.square(cells), axis=(1, 2))
    times: Array = (np.arange(count) + 0.5) * hop / heard.sample_rate_hz
    level: Array = 10.0 * np.log10(np.maximum(power, 1e-12))
    return times, level


def spectrum_db(
    heard: Heard, per_octave: int = 6, low_hz: float = 60.0, high_hz: float = 12_000.0
) -> tuple[Array, Array]:
    """Power in bands of a sixth of an octave, in dB: middles in Hz and levels, both of shape (bands,)."""
    meter = SpectrumMeter(heard.sample_rate_hz, heard.audio.shape[1])
    meter.add(np.ascontiguousarray(heard.audio.T))
    power = meter.amplitude() ** 2
    top_hz = min(high_hz, 0.45 * heard.sample_rate_hz)
    edges = low_hz * 2.0 ** (np.arange(int(per_octave * math.log2(top_hz / low_hz)) + 1) / per_octave)
    middles = np.sqrt(edges[1:] * edges[:-1])
    at = np.searchsorted(meter.freq_hz, edges)
    sums = np.array([np.sum(power[a : max(b, a + 1)]) for a, b in itertools.pairwise(at)])
    levels: Array = 10.0 * np.log10(np.maximum(sums, 1e-30))
    return middles, levels


def horn_share_percent(dry: Heard, heard: Heard) -> float:
    """How much of a sound's power is the horn as it was played: the square of their correlation, in percent."""
    x, y = dry.mono, heard.mono
    power = float(np.sum(x * x) * np.sum(y * y))
    return 100.0 * float(np.sum(x * y)) ** 2 / power if power > 0.0 else math.nan


def difference_db(first: Heard, second: Heard) -> float:
    """Level of what is left when one is taken from the other, relative to the first."""
    width = max(first.audio.shape[1], second.audio.shape[1])
    x, y = (np.broadcast_to(h.audio, (h.audio.shape[0], width)) for h in (first, second))
    power = float(np.sum(np.square(x)))
    return power_db(float(np.sum(np.square(x - y))) / power) if power > 0.0 else math.nan


def ringing_s(excerpt: Excerpt, heard: Heard) -> float:
    """How long after the take a sound stays within 40 dB of its loudest 20 ms."""
    times, level = levels_dbfs(heard)
    over = times[level > float(np.max(level)) + RING_DB]
    return max(0.0, float(over[-1]) - excerpt.audio.size / excerpt.sample_rate_hz) if over.size else 0.0


def decibels(amplitude: float) -> float:
    """An amplitude in dB; minus infinity of nothing."""
    return 20.0 * math.log10(amplitude) if amplitude > 0.0 else -math.inf


def power_db(power: float) -> float:
    """A power in dB; minus infinity of nothing."""
    return 10.0 * math.log10(power) if power > 0.0 else -math.inf


def _level_within(heard: Heard, spans_s: list[tuple[float, float]]) -> float:
    """Mean power of the channels over spans: one channel plays on both loudspeakers, as for `loudness_lufs`."""
    bounds = [(round(a * heard.sample_rate_hz), round(b * heard.sample_rate_hz)) for a, b in spans_s]
    parts = [heard.audio[a:b] for a, b in bounds if b > a]
    if not parts:
        return math.nan
    return power_db(float(np.mean(np.square(np.concatenate(parts)))))
