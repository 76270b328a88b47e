"""The part of a take that is on a page, and what is heard of each sound in it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.errors import SettingError

Samples = npt.NDArray[np.floating[Any]]

FADE_S = 0.01
"""At both ends of a part, so that it does not click; the shortest that does not."""
RUNG_OUT_DB = 80.0
"""How far under its peak a tail is not heard any more, at a loudness at which the peak does not hurt."""
AFTER_S = 0.1
MOST_S = 1e6
"""Of a part: more than any take has."""


@dataclass(frozen=True)
class Excerpt:
    """From when to when in the take, in seconds."""

    from_s: float
    to_s: float


def check_excerpt(excerpt: Excerpt, take_s: float) -> None:
    """Refuse a part that the take does not have.

    Raises
    ------
    SettingError
        If it does not begin in the take, is shorter than 0.1 s or has no end.
    """
    begins, lasts_s = 0.0 <= excerpt.from_s < take_s, excerpt.to_s - excerpt.from_s
    if not (begins and 0.1 <= lasts_s < MOST_S):
        raise SettingError(
            f"excerpt {excerpt.from_s:g},{excerpt.to_s:g}: the take has 0 ... {take_s:.1f} s, and a part at least 0.1 s"
        )


def in_excerpt(audio: Samples, sample_rate_hz: float, excerpt: Excerpt | None, latency_s: float = 0.0) -> Samples:
    """What is heard of a sound in a part of the take; all of it, but for the silence after it, without one.

    Parameters
    ----------
    audio : ndarray, shape (frames, channels)
    sample_rate_hz : float
    excerpt : Excerpt or None
    latency_s : float
        How late the sound is; cut away in either case.
    """
    late = round(latency_s * sample_rate_hz)
    if excerpt is None:
        return rung_out(audio[late:], sample_rate_hz)
    first, end = (late + round(at_s * sample_rate_hz) for at_s in (excerpt.from_s, excerpt.to_s))
    return _faded(audio[first:end], sample_rate_hz, both=True)


def rung_out(audio: Samples, sample_rate_hz: float) -> Samples:
    """A sound without what cannot be heard at its end: 80 dB under its peak, and a tenth of a second more."""
    envelope = np.max(np.abs(audio), axis=1, initial=0.0)
    loud = np.flatnonzero(envelope > envelope.max(initial=0.0) * 10.0 ** (-RUNG_OUT_DB / 20.0))
    end = (int(loud[-1]) if loud.size else 0) + 1 + math.ceil(AFTER_S * sample_rate_hz)
    return audio if end >= len(audio) else _faded(audio[:end], sample_rate_hz, both=False)


def _faded(audio: Samples, sample_rate_hz: float, *, both: bool) -> Samples:
    faded = np.array(audio)
    frames = min(round(FADE_S * sample_rate_hz), len(faded) // 2)
    ramp = (0.5 - 0.5 * np.cos(np.pi * (np.arange(frames) + 0.5) / max(frames, 1)))[:, np.newaxis]
    if both:
        faded[:frames] *= ramp
    faded[len(faded) - frames :] *= ramp[::-1]
    return faded
