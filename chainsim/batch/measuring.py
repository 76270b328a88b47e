"""Figures of audio files: level, peaks, noise, spectrum, and of an impulse response its decay.

>>> figures = measure_file("solo.wav")  # doctest: +SKIP
>>> figures.loudness.integrated_lufs, figures.peaks.true_peak_dbtp  # doctest: +SKIP
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.audio.reading import TakeReader, open_take
from chainsim.audio.whole import PartFile, writing
from chainsim.errors import AudioError
from chainsim.measure.course import CourseMeter
from chainsim.measure.decay import NOISE_DISTANCE_DB, T20_RANGE_DB, Decay, measure_band_decays, measure_decay
from chainsim.measure.frame_powers import SpectrumMeter
from chainsim.measure.gaps import GapMeter
from chainsim.measure.loudness import Loudness, LoudnessMeter
from chainsim.measure.peaks import PeakMeter, Peaks

SPAN_FRAMES = 1 << 16
LONGEST_IMPULSE_S = 120.0
BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}

Progress = Callable[[int, int], None]
"""Told (frames done, frames in all)."""


@dataclass(frozen=True)
class ImpulseFigures:
    """Decay of an impulse response, the mean of its channels; NaN where one of them does not decay far enough.

    Attributes
    ----------
    whole : Decay
    bands : mapping from octave (its middle in Hz) to Decay
    """

    whole: Decay
    bands: Mapping[float, Decay]


@dataclass(frozen=True)
class FileFigures:
    """What `measure_file` found.

    Attributes
    ----------
    file : str
    duration_s, sample_rate_hz : float
    channels : int
    loudness : Loudness
        One channel counts as one loudspeaker: 3 LU less than the same sound in left and right.
    peaks : Peaks
    clip_level : float
        From which on a sample counts as clipped: the highest that the file's format holds, 1 for floats and lossy ones.
    noise_floor_dbfs : float
        Middle rms level of the quietest rests, from 0 Hz to half the sample rate, not weighted; of a sound that rings
        on, of its end. Minus infinity for digital silence, NaN if there is no rest.
    centroid_hz : float
        NaN for silence.
    impulse : ImpulseFigures or None
        If the file was to be taken for an impulse response.
    warnings : tuple of str
    """

    file: str
    duration_s: float
    sample_rate_hz: float
    channels: int
    loudness: Loudness
    peaks: Peaks
    clip_level: float
    noise_floor_dbfs: float
    centroid_hz: float
    impulse: ImpulseFigures | None
    warnings: tuple[str, ...]

    @property
    def noise_bandwidth_hz(self) -> float:
        """Up to where the noise floor counts: half the sample rate."""
        return self.sample_rate_hz / 2.0

    def to_dict(self) -> dict[str, Any]:
        """Plain values; the keys are always the same."""
        return {
            "file": self.file,
            "duration_s": self.duration_s,
            "sample_rate_hz": self.sample_rate_hz,
            "channels": self.channels,
            "integrated_lufs": self.loudness.integrated_lufs,
            "short_term_max_lufs": self.loudness.short_term_max_lufs,
            "momentary_max_lufs": self.loudness.momentary_max_lufs,
            "loudness_range_lu": self.loudness.loudness_range_lu,
            "true_peak_dbtp": self.peaks.true_peak_dbtp,
            "sample_peak_dbfs": self.peaks.sample_peak_dbfs,
            "rms_dbfs": self.peaks.rms_dbfs,
            "crest_db": self.peaks.crest_db,
            "dc": list(self.peaks.dc),
            "clip_level": self.clip_level,
            "clipped_runs": self.peaks.clipped_runs,
            "clipped_samples": self.peaks.clipped_samples,
            "longest_clip_samples": self.peaks.longest_clip_samples,
            "noise_floor_dbfs": self.noise_floor_dbfs,
            "noise_bandwidth_hz": self.noise_bandwidth_hz,
            "centroid_hz": self.centroid_hz,
            **decay_dict(self.impulse.whole if self.impulse is not None else None),
            "octaves": [
                {"octave_hz": octave_hz, **decay_dict(decay)}
                for octave_hz, decay in (self.impulse.bands.items() if self.impulse is not None else ())
            ],
            "warnings": list(self.warnings),
        }


def measure_file(path: str | Path, *, impulse: bool = False, progress: Progress | None = None) -> FileFigures:
    """Measure an audio file, in spans: memory grows by some bytes a second only.

    Parameters
    ----------
    path : str or Path
    impulse : bool
        Take the file for an impulse response, of at most 120 s, and measure its decay, too.
    progress : callable, optional

    Raises
    ------
    AudioError
        If the file cannot be read, or is to be an impulse response and is silent or too long.
    """
    with open_take(path) as take:
        return _measure(take, impulse, None, progress)


def plot_file(
    path: str | Path, target: str | Path, *, impulse: bool = False, progress: Progress | None = None
) -> FileFigures:
    """As `measure_file`, and draw loudness, waveform and spectrum into `target`: PNG, SVG or PDF by its suffix.

    Raises
    ------
    AudioError
        As `measure_file`, for another suffix, and if the picture cannot be written.
    """
    from chainsim.listen.plots.measure_plot import FORMATS, draw_course

    target = Path(target)
    suffix = target.suffix.lower()
    if suffix not in FORMATS:
        raise AudioError(f'{target}: suffix "{target.suffix}", allowed for plots: {", ".join(FORMATS)}')
    with PartFile(target) as part:
        with open_take(path) as take:
            course = CourseMeter(take.sample_rate_hz, take.channels, take.frames)
            figures = _measure(take, impulse, course, progress)
        with writing(target):
            draw_course(
                course.result(), part, suffix[1:], title=_title(figures), duration_s=figures.duration_s,
                integrated_lufs=figures.loudness.integrated_lufs,
            )  # fmt: skip
    return figures


def decay_dict(decay: Decay | None) -> dict[str, float]:
    """Figures of a decay as plain values; NaN without one."""
    return {
        "edt_s": decay.edt_s if decay is not None else math.nan,
        "t20_s": decay.t20_s if decay is not None else math.nan,
        "t30_s": decay.t30_s if decay is not None else math.nan,
        "c80_db": decay.c80_db if decay is not None else math.nan,
        "d50": decay.d50 if decay is not None else math.nan,
        "centre_time_ms": decay.centre_time_ms if decay is not None else math.nan,
        "onset_s": decay.onset_s if decay is not None else math.nan,
        "decay_range_db": decay.range_db if decay is not None else math.nan,
    }


def _measure(take: TakeReader, impulse: bool, course: CourseMeter | None, progress: Progress | None) -> FileFigures:
    rate_hz, channels = take.sample_rate_hz, take.channels
    clip_level = _clip_level(take.path)
    loudness, peaks = LoudnessMeter(rate_hz, channels), PeakMeter(rate_hz, channels, clip_level)
    gaps, spectrum = GapMeter(rate_hz, channels), SpectrumMeter(rate_hz, channels)
    for first in range(0, take.frames, SPAN_FRAMES):
        span = take.read(first, min(SPAN_FRAMES, take.frames - first))
        loudness.add(span)
        peaks.add(span)
        gaps.add(span)
        spectrum.add(span)
        if course is not None:
            course.add(span)
        if progress is not None:
            progress(first + span.shape[1], take.frames)
    decay = _impulse(take) if impulse else None
    return FileFigures(
        file=str(take.path),
        duration_s=take.frames / rate_hz,
        sample_rate_hz=rate_hz,
        channels=channels,
        loudness=loudness.result(),
        peaks=peaks.result(),
        clip_level=clip_level,
        noise_floor_dbfs=gaps.result().noise_rms_dbfs,
        centroid_hz=spectrum.result(),
        impulse=decay,
        warnings=(*take.warnings, *_doubts(decay)),
    )


def _clip_level(path: Path | None) -> float:
    """The highest value of the file's sample format; 1 for floats and what was coded with losses."""
    import soundfile

    try:
        subtype = soundfile.info(str(path)).subtype
    except soundfile.LibsndfileError:  # a format that was unpacked by another program
        return 1.0
    return 1.0 - 2.0 ** (1 - BITS[subtype]) if subtype in BITS else 1.0


def _doubts(decay: ImpulseFigures | None) -> Iterator[str]:
    if decay is not None and math.isnan(decay.whole.t20_s):
        found_db, wanted_db = decay.whole.range_db, NOISE_DISTANCE_DB - T20_RANGE_DB[1]
        yield f"no T20: it decays by {found_db:.0f} dB before its noise or its end, {wanted_db:.0f} dB are needed"


def _impulse(take: TakeReader) -> ImpulseFigures:
    seconds = take.frames / take.sample_rate_hz
    if seconds > LONGEST_IMPULSE_S:
        raise AudioError(f"{take.path}: {seconds:.0f} s, allowed for an impulse response: {LONGEST_IMPULSE_S:g} s")
    responses = take.read(0, take.frames)
    if not responses.any(axis=1).all():
        raise AudioError(f"{take.path}: silent, or in one channel: no impulse response")
    rate_hz = take.sample_rate_hz
    bands = [measure_band_decays(h, rate_hz) for h in responses]
    return ImpulseFigures(
        whole=_mean([measure_decay(h, rate_hz) for h in responses]),
        bands={octave_hz: _mean([each[octave_hz] for each in bands]) for octave_hz in bands[0]},
    )


def _mean(decays: list[Decay]) -> Decay:
    return Decay(**{name: float(np.mean([getattr(d, name) for d in decays])) for name in vars(decays[0])})


def _title(figures: FileFigures) -> str:
    loudness, peaks = figures.loudness, figures.peaks
    parts = [
        Path(figures.file).name,
        _figure(loudness.integrated_lufs, "LUFS"),
        _figure(loudness.loudness_range_lu, "LU range"),
        _figure(peaks.true_peak_dbtp, "dBTP"),
    ]
    return "   ".join(parts)


def _figure(value: float, unit: str) -> str:
    return f"{value:.1f} {unit}" if math.isfinite(value) else f"no {unit}"
