"""A backing track that plays with a take, at a stated loudness."""

from __future__ import annotations

import math

import numpy as np

from chainsim.audio.reading import TakeReader, open_take
from chainsim.block import Assets
from chainsim.errors import AudioError, SettingError, SketchError
from chainsim.house.resampling import interpolate, interpolation_table, needed
from chainsim.measure.loudness import LoudnessMeter
from chainsim.sketch.house import HouseBandSettings
from chainsim.units import Array, Audio, db_to_gain

FADE_S = 0.05
"""How long a band that goes on after the take is faded out before the take's end."""
READ_FRAMES = 1 << 16


class Band:
    """An open backing track; `with` or `close` ends it.

    Parameters
    ----------
    settings : HouseBandSettings
    assets : Assets
    sample_rate_hz : float
        Of the take, to which the band is brought.
    take_frames : int
        Where it ends at the latest.
    feed_channels : int
        Of what it is mixed with: one channel of band on two of feed counts twice.

    Raises
    ------
    SketchError
        If there is no such file, it is no sound, or it is silent.
    """

    def __init__(
        self, settings: HouseBandSettings, assets: Assets, sample_rate_hz: float, take_frames: int, feed_channels: int
    ) -> None:
        self._track = _open(settings, assets)
        self._from_hz, self._to_hz = round(self._track.sample_rate_hz), round(sample_rate_hz)
        self._table = interpolation_table(self._from_hz, self._to_hz)
        self.channels = self._track.channels
        self.frames = -(-self._track.frames * self._to_hz // self._from_hz)
        widening_lu = 10.0 * math.log10(max(1.0, feed_channels / self.channels))
        self._gain = db_to_gain(settings.loudness_lufs - self._loudness_lufs(settings) - widening_lu)
        self._end = take_frames
        self._fade = round(FADE_S * sample_rate_hz)
        missing_s = (take_frames - self.frames) / sample_rate_hz
        self.warnings = list(self._track.warnings)
        if missing_s > 0.0:
            self.warnings.append(
                f"house.band: {settings.file} ends {missing_s:.1f} s before the take; the rest goes without a band"
            )

    def read(self, n0: int, frames: int) -> Audio:
        """The band from frame n0 on, shape (channels, frames)."""
        return np.ascontiguousarray(self._at_rate(n0, frames) * self._level(n0, frames))

    def _at_rate(self, n0: int, frames: int) -> Audio:
        """The file at the take's rate."""
        if self._from_hz == self._to_hz:
            return self._track.read(n0, frames)
        y = np.empty((self.channels, frames))
        first, count = needed(n0, frames, self._from_hz, self._to_hz, self._table)
        x = self._track.read(first, count)
        interpolate(x, first, n0, self._from_hz, self._to_hz, self._table, y)
        return y

    def _level(self, n0: int, frames: int) -> Array:
        """Its gain, and where it goes on after the take's end, the fade before that."""
        if self.frames <= self._end:
            return np.full(frames, self._gain)
        before_end = np.clip((self._end - np.arange(n0, n0 + frames)) / self._fade, 0.0, 1.0)
        level: Array = self._gain * 0.5 * (1.0 - np.cos(np.pi * before_end))
        return level

    def _loudness_lufs(self, settings: HouseBandSettings) -> float:
        meter = LoudnessMeter(self._to_hz, self.channels)
        try:
            for n0 in range(0, self.frames, READ_FRAMES):
                meter.add(self._at_rate(n0, min(READ_FRAMES, self.frames - n0)))
            loudness_lufs = meter.result().integrated_lufs
        except AudioError as error:
            self.close()
            raise SketchError(f"house.band.file: {error}") from error
        if loudness_lufs == -math.inf:
            self.close()
            raise SketchError(
                f"house.band.file: {settings.file} is silent, or shorter than 0.4 s: no loudness to bring"
            )
        return loudness_lufs

    def close(self) -> None:
        """Close its file."""
        self._track.close()

    def __enter__(self) -> Band:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()


def _open(settings: HouseBandSettings, assets: Assets) -> TakeReader:
    try:
        return open_take(assets.path(settings.file or ""))
    except (AudioError, SettingError) as error:
        raise SketchError(f"house.band.file: {error}") from error
