"""Takes of synthetic horns, what a sketch with one pitch shifter makes of them, and how far over the horn that is."""

from __future__ import annotations

import functools
import math

import numpy as np

import chainsim
from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import Phrase
from chainsim.horn.phrases import PHRASES
from chainsim.horn.play import HornTake, play
from chainsim.measure.fundamental import fundamental_hz

FS = 48_000
SETTINGS = "[blocks.shift]\ntype = 'pitch_shifter'\n"
TONE_ONLY = 'unpitched_db = "off"\n'
TWO_VOICES = '{ interval = "P5 above" }, { interval = "P8 below" }'


def shifter(voices: str, settings: str = "", *, head: str = 'instrument = "tenor sax"\n') -> chainsim.Sketch:
    return chainsim.parse_sketch(f'{head}chain = ["shift"]\n{SETTINGS}voices = [{voices}]\n{settings}')


def shifted(sketch: chainsim.Sketch, x: np.ndarray, rate_hz: float = FS) -> np.ndarray:
    """What comes out, without the latency, shape (frames of the take, channels)."""
    out = chainsim.render(sketch, x, rate_hz)
    assert out.latency_samples == round(out.latency_samples)
    return out.audio[round(out.latency_samples) :][: x.size]


def line(notes: str, bpm: float = 60.0, horn: str = "tenor sax", seed: int = 4) -> HornTake:
    """A take of written notes."""
    return play(Phrase("line", bpm, notes_of(notes), horn), seed=seed)


@functools.cache
def ballad() -> HornTake:
    """A tenor saxophone with scoops, slurs, a rest and a note that dies away."""
    return play(PHRASES["low water"], seed=4)


def level_db(x: np.ndarray) -> float:
    return 20.0 * math.log10(float(np.sqrt(np.mean(x**2))) + 1e-15)


def between(x: np.ndarray, begin_s: float, end_s: float) -> np.ndarray:
    return x[round(begin_s * FS) : round(end_s * FS)]


def semitones_over(take: HornTake, y: np.ndarray, at_s: np.ndarray, near: float) -> np.ndarray:
    """Interval of a voice to what was played, from the truth about the take; NaN where none is near."""
    played_hz = take.f0_at(at_s)
    return 12.0 * np.log2(fundamental_hz(y, FS, at_s, played_hz * 2.0 ** (near / 12.0), 0.02) / played_hz)
