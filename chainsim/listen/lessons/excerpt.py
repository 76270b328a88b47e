"""The stretch of a take that a lesson is heard on, and the sounds that chains make of it."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.graph.rendering import render
from chainsim.measure.gaps import Gaps, measure_gaps
from chainsim.measure.loudness import measure_loudness
from chainsim.measure.sound_distance.places import Rests, rests_of
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch
from chainsim.units import Array

LASTS_S = 6.0
AFTER_S = 1.0
"""How long a lesson goes on listening after the take."""
FADE_S = 0.02
LEAST_S = 1.0
BEFORE_PLAYING_S = 0.5


@dataclass(frozen=True)
class Heard:
    """A sound of a step.

    Attributes
    ----------
    name : str
    audio : ndarray, shape (frames, channels)
        In time with the take: the chain's latency is cut from its beginning.
    sample_rate_hz : float
    latency_s : float
        So much was cut.
    sketch : Sketch or None
        The chain that made it; None for the take.
    readings : dict of ndarray, shape (frames,)
        What was asked for beside it, in time as well.
    """

    name: str
    audio: Array
    sample_rate_hz: float
    latency_s: float = 0.0
    sketch: Sketch | None = None
    readings: Mapping[str, Array] = field(default_factory=dict)

    @functools.cached_property
    def mono(self) -> Array:
        """Mean of the channels, shape (frames,)."""
        return np.ascontiguousarray(np.mean(self.audio, axis=1))

    def called(self, name: str) -> Heard:
        """The same under another name."""
        return Heard(name, self.audio, self.sample_rate_hz, self.latency_s, self.sketch, self.readings)

    @property
    def as_late_as_it_comes(self) -> Heard:
        """The same with its latency before it: as the player hears it."""
        late = round(self.latency_s * self.sample_rate_hz)
        audio = np.concatenate([np.zeros((late, self.audio.shape[1])), self.audio])[: self.audio.shape[0]]
        return Heard(self.name, audio, self.sample_rate_hz, 0.0, self.sketch)

    def raised(self, by_db: float, name: str) -> Heard:
        """The same with a gain."""
        gain = 10.0 ** (by_db / 20.0)
        return Heard(name, self.audio * gain, self.sample_rate_hz, self.latency_s, self.sketch, self.readings)


@dataclass(frozen=True)
class Excerpt:
    """A stretch of a take in one channel.

    Attributes
    ----------
    name : str
    audio : ndarray, shape (frames,)
    sample_rate_hz : float
    """

    name: str
    audio: Array
    sample_rate_hz: float

    @functools.cached_property
    def gaps(self) -> Gaps:
        """Its rests and its noise."""
        return measure_gaps(self.audio, self.sample_rate_hz)

    @functools.cached_property
    def rests(self) -> Rests:
        """Where it is not played."""
        return rests_of(self.audio, self.sample_rate_hz, self.gaps)

    def raised(self, by_db: float) -> Excerpt:
        """The same played in with a gain."""
        return Excerpt(self.name, self.audio * 10.0 ** (by_db / 20.0), self.sample_rate_hz)

    @property
    def frames(self) -> int:
        """How many there are until listening ends: the stretch, and a second after it."""
        return self.audio.size + round(AFTER_S * self.sample_rate_hz)

    @functools.cached_property
    def dry(self) -> Heard:
        """The take itself."""
        return Heard("the horn alone", self._in_time(self.audio[:, np.newaxis], 0), self.sample_rate_hz)

    def through(self, sketch: str | Sketch, name: str, readings: Iterable[str] = ()) -> Heard:
        """What a chain makes of it.

        Parameters
        ----------
        sketch : str or Sketch
            As TOML, or loaded.
        name : str
            What the player reads on the button.
        readings : names of probes, such as "gate:gain", of which the first channel is kept

        Raises
        ------
        SketchError, GraphError
            If the chain cannot be built for this take.
        """
        loaded = parse_sketch(sketch, name=name) if isinstance(sketch, str) else sketch
        rendering = render(loaded, self.audio, self.sample_rate_hz, probes=readings)
        late = round(rendering.latency_samples)
        return Heard(
            name,
            self._in_time(rendering.audio, late),
            self.sample_rate_hz,
            rendering.latency_samples / self.sample_rate_hz,
            loaded,
            {key: self._in_time(rows, late, fade=False)[:, 0] for key, rows in rendering.probes.items()},
        )

    def heard(self, name: str, audio: npt.NDArray[np.floating], latency_s: float = 0.0) -> Heard:
        """A sound of shape (frames, channels) that came out so late."""
        late = round(latency_s * self.sample_rate_hz)
        return Heard(name, self._in_time(audio, late), self.sample_rate_hz, latency_s)

    def _in_time(self, audio: npt.NDArray[np.floating], late: int, *, fade: bool = True) -> Array:
        found = np.zeros((self.frames, audio.shape[1]))
        there = audio[late : late + self.frames]
        found[: there.shape[0]] = there
        if fade:
            faded = round(FADE_S * self.sample_rate_hz)
            found[-faded:] *= np.linspace(1.0, 0.0, faded)[:, np.newaxis]
        return found


def excerpt(
    take: npt.NDArray[np.floating],
    sample_rate_hz: float,
    name: str,
    *,
    starts_s: float | None = None,
    lasts_s: float = LASTS_S,
) -> Excerpt:
    """Cut the stretch of a take that a lesson is heard on.

    Parameters
    ----------
    take : ndarray, shape (frames,) or (frames, channels)
        Two channels become one, their mean.
    sample_rate_hz : float
    name : str
    starts_s : float, optional
        By default a little before playing begins.
    lasts_s : float

    Raises
    ------
    AudioError
        If less than a second is left, or it is silent.
    """
    rows = np.asarray(take, dtype=np.float64)
    mono = rows if rows.ndim == 1 else np.mean(rows, axis=1)
    if starts_s is None:
        starts_s = playing_begins_s(mono, sample_rate_hz)
    first = round(starts_s * sample_rate_hz)
    part = np.array(mono[first : first + math.ceil(lasts_s * sample_rate_hz)])
    if part.size < LEAST_S * sample_rate_hz:
        raise AudioError(
            f"{name}: from {starts_s:g} s on {part.size / sample_rate_hz:.1f} s are left, a lesson needs {LEAST_S:g} s"
        )
    faded = round(FADE_S * sample_rate_hz)
    part[-faded:] *= np.linspace(1.0, 0.0, faded)
    if measure_loudness(part[:, np.newaxis], sample_rate_hz).integrated_lufs == -math.inf:
        begins_s = playing_begins_s(mono, sample_rate_hz)
        other = f" (playing begins after {begins_s:g} s)" if begins_s > starts_s else ""
        raise AudioError(
            f"{name}: {starts_s:g} s to {starts_s + lasts_s:g} s is silent, or quieter than -70 LUFS; "
            f"name another beginning with --from{other}"
        )
    return Excerpt(name, part, float(sample_rate_hz))


def playing_begins_s(mono: Array, sample_rate_hz: float) -> float:
    """Where to begin with a take, to a tenth of a second: half a second before the rest ends with which it begins."""
    rests = measure_gaps(mono, sample_rate_hz).rests_s if mono.size else ()
    if not rests or rests[0][0] > 0.0:
        return 0.0
    begins_s = math.floor(10.0 * max(0.0, rests[0][1] - BEFORE_PLAYING_S)) / 10.0
    return begins_s if mono.size >= (begins_s + LEAST_S) * sample_rate_hz else 0.0
