"""What a listener hears of a render, span by span: at a seat of the house, or at the feed with the band under it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Protocol

import numpy as np

from chainsim.errors import SettingError, SketchError
from chainsim.house.band import Band
from chainsim.house.late_field import EARS
from chainsim.house.path import SoundPath
from chainsim.house.sound_field import Source
from chainsim.house.surroundings import surroundings
from chainsim.measure.loudness import LoudnessMeter
from chainsim.sketch.house import House
from chainsim.sketch.model import Sketch
from chainsim.units import Audio, db_to_gain

CHUNK = 16_384


class Feed(Protocol):
    """What renders the chain."""

    frames: int

    def stream(self) -> Iterator[tuple[int, dict[str, Audio]]]:
        """Yield, span by span, (first frame, outputs by name)."""


class Reads(Protocol):
    """What gives the take: (first frame, frames) -> (channels, frames), zeros outside it."""

    def __call__(self, n0: int, frames: int, /) -> Audio: ...


class KeptTake:
    """Reads a take for the chain, and keeps the span that the horn itself is heard with."""

    def __init__(self, read: Reads) -> None:
        self._read = read
        self._n0, self._x = -1, np.zeros((1, 0))

    def read(self, n0: int, frames: int) -> Audio:
        """The take, as the chain is to get it."""
        self._n0, self._x = n0, self._read(n0, frames)
        return self._x

    def again(self, n0: int, frames: int) -> Audio:
        """The same span; read anew only where the chain had no use for it."""
        if (n0, frames) != (self._n0, self._x.shape[1]):
            return self.read(n0, frames)
        return self._x


class Listener:
    """Turns the feed into what is heard. Close it, for it may hold the band's file.

    Parameters
    ----------
    sketch : Sketch
    seat : str or None
        None: at the feed, where the band is all that is added.
    sample_rate_hz : float
    feed_channels, take_frames : int

    Attributes
    ----------
    channels, feed_channels : int
    delay_frames : int
        By which the loudspeaker is later than the feed.
    warnings : list of str

    Raises
    ------
    SketchError
        If there is no house, no such seat, no band where that is all, or a file cannot be used.
    """

    def __init__(
        self,
        sketch: Sketch,
        seat: str | None,
        *,
        sample_rate_hz: float,
        feed_channels: int,
        take_frames: int,
    ) -> None:
        house = house_of(sketch, seat)
        if house.band is None and seat is None:
            raise SketchError('house.band: there is none to be heard; declare it: [house.band] with file = "band.wav"')
        self._rate_hz = sample_rate_hz
        self._wide = feed_channels
        self._band: Band | None = None
        self._paths: dict[Source, SoundPath] = {}
        with ExitStack() as resources:
            if house.band is not None:
                self._band = resources.enter_context(
                    Band(house.band, sketch.assets, sample_rate_hz, take_frames, feed_channels)
                )
                self._wide = max(feed_channels, self._band.channels)
            if seat is not None:
                self._paths = self._sound_paths(sketch, house, seat)
            self._resources = resources.pop_all()
        self.channels = EARS if self._paths else self._wide
        self.delay_frames = self._paths["loudspeaker"].arrives if self._paths else 0
        self._longer_s = max((path.longest_s for path in self._paths.values()), default=0.0)
        self.feed_channels = feed_channels
        self._feed_meter = LoudnessMeter(sample_rate_hz, feed_channels)
        self.warnings = list(self._band.warnings) if self._band is not None else []
        self.hear(0, np.zeros((1, 0)), np.zeros((feed_channels, 0)))  # what is to be compiled is so before it sounds

    def _sound_paths(self, sketch: Sketch, house: House, seat: str) -> dict[Source, SoundPath]:
        around = surroundings(house, sketch.assets, self._rate_hz)
        place = house.seat(seat)
        horn_gain = db_to_gain(house.settings.acoustic_horn_db)
        ways: list[tuple[Source, float, float, int]] = [
            ("loudspeaker", 1.0, place.loudspeaker_m, self._wide),
            ("horn", horn_gain, place.horn_m, 1),
        ]
        return {
            source: SoundPath(
                gain,
                distance_m,
                around.reflected(source, distance_m),
                around.late_field(source, distance_m, self._rate_hz, channels),
                self._rate_hz,
                channels,
            )
            for source, gain, distance_m, channels in ways
            if gain > 0.0
        }

    def hear(self, n0: int, dry: Audio, feed: Audio) -> Audio:
        """What is heard of a span that begins at frame n0: the take and the feed of it, each (channels, frames)."""
        self._feed_meter.add(feed)
        if self._band is not None:
            # Never added in place: the array may be the graph's own.
            feed = feed + self._band.read(n0, feed.shape[1])
        if not self._paths:
            return feed
        y = np.zeros((EARS, feed.shape[1]))
        self._paths["loudspeaker"].add_to(n0, _as_wide(feed, self._wide), y)
        if "horn" in self._paths:
            self._paths["horn"].add_to(n0, np.ascontiguousarray(np.mean(dry, axis=0, keepdims=True)), y)
        return y

    def frames(self, feed_frames: int) -> int:
        """Length of what is heard, for a feed of so many frames."""
        return feed_frames + math.ceil(self._longer_s * self._rate_hz)

    @property
    def feed_lufs(self) -> float:
        """Loudness of the feed, without the band, as far as it was heard."""
        return self._feed_meter.result().integrated_lufs

    def close(self) -> None:
        """Close the band's file."""
        self._resources.close()

    def __enter__(self) -> Listener:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()


class Heard:
    """A feed with what is heard of it in the place of "out"; other outputs end in silence.

    Parameters
    ----------
    feed : Feed
        Which gets its take from `take`.
    take : KeptTake
    listener : Listener
    """

    def __init__(self, feed: Feed, take: KeptTake, listener: Listener) -> None:
        self._feed, self._take, self._listener = feed, take, listener
        self.frames = listener.frames(feed.frames)

    def stream(self) -> Iterator[tuple[int, dict[str, Audio]]]:
        """Yield, span by span, (first frame, outputs by name), first those of the feed."""
        outputs: dict[str, Audio] = {}
        for n0, outputs in self._feed.stream():
            yield n0, self._replaced(n0, outputs)
        channels = {name: x.shape[0] for name, x in outputs.items()}
        for n0 in range(self._feed.frames, self.frames, CHUNK):
            frames = min(CHUNK, self.frames - n0)
            yield n0, self._replaced(n0, {name: np.zeros((width, frames)) for name, width in channels.items()})

    def _replaced(self, n0: int, outputs: dict[str, Audio]) -> dict[str, Audio]:
        dry = self._take.again(n0, outputs["out"].shape[1])
        return {**outputs, "out": self._listener.hear(n0, dry, outputs["out"])}


def house_of(sketch: Sketch, seat: str | None) -> House:
    """A sketch's house, in which there must be this seat.

    Raises
    ------
    SketchError
        If it has no house, or no such seat.
    """
    if sketch.house is None:
        wanted = f'the seat "{seat}" is' if seat is not None else "the band is"
        raise SketchError(
            f'house: the sketch has none, and {wanted} in it; the least one is [house] with venue = "theatre"'
        )
    if seat is not None:
        try:
            sketch.house.seat(seat)
        except SettingError as error:
            raise SketchError(f"house.seats: {error}") from error
    return sketch.house


def _as_wide(x: Audio, channels: int) -> Audio:
    return x if x.shape[0] == channels else np.repeat(x, channels // x.shape[0], axis=0)
