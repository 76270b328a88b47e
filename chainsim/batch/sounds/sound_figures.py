"""What is measured of every sound of a batch, and its meter, which takes the sound span by span."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from chainsim.measure.frame_powers import SpectrumMeter
from chainsim.measure.gaps import Gaps
from chainsim.measure.gating import OpeningCounter
from chainsim.measure.loudness import LoudnessMeter, from_two_loudspeakers
from chainsim.measure.peaks import PeakMeter
from chainsim.measure.rest_level import RestMeter
from chainsim.measure.ringing import RingingMeter
from chainsim.units import Array, Audio


@dataclass(frozen=True)
class SoundFigures:
    """Figures of one sound.

    Attributes
    ----------
    sample_rate_hz : float
    channels, frames : int
    latency_ms : float
        From the take to the sound, by the shortest way.
    integrated_lufs, true_peak_dbtp : float
        ITU-R BS.1770-5; minus infinity for silence.
    rests_dbfs : float
        Middle rms level in the take's rests, as `RestMeter` reads it: noise, and what still rings there; minus infinity
        for digital silence, NaN if the take has no rest.
    gate_openings : int or None
        Of all gates together; None without one.
    tail_s : float
        How long it goes on after the take until it stays 60 dB under its loudest; NaN for silence.
    centroid_hz : float
        NaN for silence.
    warnings : tuple of str
    """

    sample_rate_hz: float
    channels: int
    frames: int
    latency_ms: float
    integrated_lufs: float
    true_peak_dbtp: float
    rests_dbfs: float
    gate_openings: int | None
    tail_s: float
    centroid_hz: float
    warnings: tuple[str, ...] = ()

    @property
    def two_loudspeakers_lufs(self) -> float:
        """Integrated loudness as from two loudspeakers, from which one channel comes alike: what comparisons go by."""
        return from_two_loudspeakers(self.integrated_lufs, self.channels)

    def to_dict(self) -> dict[str, Any]:
        """Plain values; the keys are always the same."""
        return {**asdict(self), "warnings": list(self.warnings)}

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> SoundFigures:
        """What `to_dict` gave.

        Raises
        ------
        ValueError, TypeError, KeyError
            If these are no such values.
        """
        openings = values["gate_openings"]
        numbers = {name: _figure(values[name]) for name in FIGURES}
        return cls(
            channels=_count(values["channels"]),
            frames=_count(values["frames"]),
            gate_openings=None if openings is None else _count(openings),
            warnings=tuple(str(line) for line in values["warnings"]),
            **numbers,
        )


FIGURES = (
    "sample_rate_hz", "latency_ms", "integrated_lufs", "true_peak_dbtp", "rests_dbfs", "tail_s", "centroid_hz",
)  # fmt: skip


class SoundFiguresMeter:
    """Meters one sound.

    Parameters
    ----------
    sample_rate_hz : float
    channels : int
    take_frames : int
    latency_samples : (float, float)
        By the shortest and the longest way.
    gates : int
        How many gates it went through.
    """

    def __init__(
        self, sample_rate_hz: float, channels: int, take_frames: int, latency_samples: tuple[float, float], gates: int
    ) -> None:
        self._rate_hz, self._channels = sample_rate_hz, channels
        self._latency_ms = 1000.0 * latency_samples[0] / sample_rate_hz
        self._loudness, self._peaks = LoudnessMeter(sample_rate_hz, channels), PeakMeter(sample_rate_hz, channels)
        self._rests = RestMeter(sample_rate_hz, channels, round(latency_samples[0]))
        self._spectrum = SpectrumMeter(sample_rate_hz, channels)
        playing_frames = take_frames + math.ceil(latency_samples[1])
        self._ringing = RingingMeter(sample_rate_hz, channels, playing_frames)
        self._openings = [OpeningCounter() for _ in range(gates)]
        self._frames = 0

    def add(self, y: Audio, gains: Sequence[Array]) -> None:
        """Take the next span, shape (channels, frames), and the gain of every gate, shape (frames,)."""
        for meter in (self._loudness, self._peaks, self._rests, self._spectrum, self._ringing):
            meter.add(y)
        for counter, gain in zip(self._openings, gains, strict=True):
            counter.add(gain)
        self._frames += y.shape[1]

    @property
    def integrated_lufs(self) -> float:
        """Loudness of all of it."""
        return self._loudness.result().integrated_lufs

    def result(self, take_gaps: Gaps, warnings: tuple[str, ...] = ()) -> SoundFigures:
        """Figures of all that was metered.

        Parameters
        ----------
        take_gaps : Gaps
            Of the take: they tell where it rests.
        warnings : tuple of str
        """
        return SoundFigures(
            sample_rate_hz=self._rate_hz,
            channels=self._channels,
            frames=self._frames,
            latency_ms=self._latency_ms,
            integrated_lufs=self.integrated_lufs,
            true_peak_dbtp=self._peaks.result().true_peak_dbtp,
            rests_dbfs=self._rests.result(take_gaps.noise_s),
            gate_openings=sum(c.openings for c in self._openings) if self._openings else None,
            tail_s=self._ringing.result(),
            centroid_hz=self._spectrum.result(),
            warnings=warnings,
        )


def _figure(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"found {value!r:.60}, allowed a number")
    return float(value)


def _count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise TypeError(f"found {value!r:.60}, allowed a count")
    return value
