"""The sounds of a page: in time with each other, at one loudness, each as an audio file and as what is seen of it.

Each is trimmed by one gain as a whole, nothing is compressed; the trims are those of `chainsim.measure.one_loudness`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError, SettingError
from chainsim.listen.page.encoded import MP3_RATES_HZ, flac_bytes, mp3_bytes
from chainsim.listen.page.model import PageSound, Role
from chainsim.listen.page.pictures import SPECTROGRAM_HZ, peaks, spectrogram
from chainsim.listen.page.pitch_line import pitch_line
from chainsim.measure.loudness import BOTH_SIDES, LoudnessMeter
from chainsim.measure.one_loudness import CEILING_DBTP, Aim, Level, Trims, one_loudness
from chainsim.measure.peaks import PeakMeter
from chainsim.measure.signals import pieces
from chainsim.units import db_to_gain

LOUDNESS_LUFS = -23.0
"""Of programmes, EBU R 128: no horn peaks over the ceiling there."""

GATING_BLOCK_S = 0.4
"""ITU-R BS.1770-5; what is silent for longer counts no more."""


@dataclass(frozen=True)
class RawSound:
    """A sound as it came out.

    Attributes
    ----------
    key, name : str
    role : {"take", "version", "wire", "part"}
    scene : str
    audio : ndarray of floats, shape (frames, channels)
        Full scale is 1.0.
    latency_s : float
        Cut from its beginning, to the nearest sample, so that all of a scene are in time.
    pictures : bool
        Whether a spectrogram and a pitch line are wanted of it, where any are drawn.
    lossy : bool
        Whether MP3 will do for it, at a sample rate that MP3 knows, where others are FLAC.
    """

    key: str
    name: str
    role: Role
    scene: str
    audio: npt.NDArray[np.floating[Any]]
    latency_s: float = 0.0
    pictures: bool = True
    lossy: bool = False

    def in_time(self, sample_rate_hz: float) -> npt.NDArray[np.floating[Any]]:
        """What is left once its latency is cut."""
        return self.audio[round(self.latency_s * sample_rate_hz) :]


def page_sounds(
    raw: Sequence[RawSound],
    sample_rate_hz: int,
    *,
    loudness_lufs: float = LOUDNESS_LUFS,
    ceiling_dbtp: float = CEILING_DBTP,
    lossy: bool = False,
    pictures: bool = True,
    pitch_range_hz: tuple[float, float] | None = None,
    trims: Trims | None = None,
) -> tuple[PageSound, ...]:
    """Bring sounds to one loudness and make of them what a page plays and shows.

    All of one scene get the length of the longest, with silence after their end. Silence stays as it is. One channel is
    as loud as two that hold the same: a page plays it on both sides.

    Parameters
    ----------
    raw : sequence of RawSound
    sample_rate_hz : int
    loudness_lufs, ceiling_dbtp : float
        As for `Aim`.
    lossy : bool
        MP3 instead of FLAC of 24 bit: a fifth of the size.
    pictures : bool
        Draw spectrograms and find pitch lines.
    pitch_range_hz : (low, high), optional
        Where to look for the pitch; by default where any horn plays.
    trims : Trims, optional
        What `find_trims` has found for the same sounds, if it has been asked before.

    Raises
    ------
    SettingError
        If two sounds have one key.
    AudioError
        If a sample is not finite, a sound has no frame, or the format does not know the sample rate.
    """
    _check(raw, sample_rate_hz, lossy)
    if trims is None:
        trims = find_trims(raw, sample_rate_hz, loudness_lufs=loudness_lufs, ceiling_dbtp=ceiling_dbtp)
    made = each_page_sound(raw, sample_rate_hz, trims, lossy=lossy, pictures=pictures, pitch_range_hz=pitch_range_hz)
    return tuple(made)


def each_page_sound(
    raw: Sequence[RawSound],
    sample_rate_hz: int,
    trims: Trims,
    *,
    lossy: bool = False,
    pictures: bool = True,
    pitch_range_hz: tuple[float, float] | None = None,
) -> Iterator[PageSound]:
    """Make one sound after the other, for who may want to stop; arguments and errors are those of `page_sounds`."""
    _check(raw, sample_rate_hz, lossy)
    lengths = _lengths(raw, sample_rate_hz)
    silent = [not sound.audio.any() for sound in raw]
    least_db = _least_trim_db(raw, trims.trims_db, silent)
    for sound, trim_db, words, none in zip(raw, trims.trims_db, trims.warnings, silent, strict=True):
        x = np.zeros((lengths[sound.scene], sound.audio.shape[1]))
        own = sound.in_time(sample_rate_hz)
        np.multiply(own, db_to_gain(trim_db), out=x[: len(own)], dtype=np.float64)
        seen = pictures and sound.pictures
        as_mp3 = lossy or (sound.lossy and sample_rate_hz in MP3_RATES_HZ)
        yield PageSound(
            key=sound.key,
            name=sound.name,
            role=sound.role,
            scene=sound.scene,
            audio=mp3_bytes(x, sample_rate_hz) if as_mp3 else flac_bytes(x, sample_rate_hz),
            mime="audio/mpeg" if as_mp3 else "audio/flac",
            frames=len(x),
            channels=x.shape[1],
            as_it_comes_db=0.0 if none else min(least_db - trim_db, 0.0),
            peaks=peaks(x),
            spectrogram=spectrogram(x, sample_rate_hz, trims.reached_lufs) if seen else None,
            spectrogram_hz=SPECTROGRAM_HZ if seen else (0.0, 0.0),
            pitch=pitch_line(x, sample_rate_hz, pitch_range_hz) if seen else (),
            equally_loud=none or not words,
        )


def find_trims(
    raw: Sequence[RawSound],
    sample_rate_hz: int,
    *,
    loudness_lufs: float = LOUDNESS_LUFS,
    ceiling_dbtp: float = CEILING_DBTP,
) -> Trims:
    """Find the gains that bring sounds to one loudness, and what is to be said of them.

    Raises
    ------
    AudioError
        If a sample is not finite.
    """
    lengths = _lengths(raw, sample_rate_hz)
    levels = [_level(sound, lengths[sound.scene], sample_rate_hz) for sound in raw]
    return one_loudness(levels, Aim(loudness_lufs, ceiling_dbtp))


def _least_trim_db(raw: Sequence[RawSound], trims_db: Sequence[float], silent: Sequence[bool]) -> float:
    """Trim of what comes loudest; a wire, inside a chain, may come far louder than all that leaves one."""
    trims = [(one.role, trim) for one, trim, none in zip(raw, trims_db, silent, strict=True) if not none]
    outside = [trim for role, trim in trims if role != "wire"]
    return min(outside or [trim for _, trim in trims], default=0.0)


def _lengths(raw: Sequence[RawSound], sample_rate_hz: int) -> dict[str, int]:
    """Frames of the longest sound of each scene."""
    lengths: dict[str, int] = {}
    for sound in raw:
        lengths[sound.scene] = max(lengths.get(sound.scene, 0), len(sound.in_time(sample_rate_hz)))
    return lengths


def _check(raw: Sequence[RawSound], sample_rate_hz: int, lossy: bool) -> None:
    keys = [sound.key for sound in raw]
    for sound in raw:
        if keys.count(sound.key) > 1:
            raise SettingError(f'sounds of a page: "{sound.key}" stands there twice, allowed is one sound a key')
        if not len(sound.in_time(sample_rate_hz)):
            raise AudioError(f'"{sound.name}": no sound is left after its latency of {sound.latency_s:g} s')
    if lossy and sample_rate_hz not in MP3_RATES_HZ:
        rates = ", ".join(map(str, MP3_RATES_HZ))
        raise AudioError(f"sample rate {sample_rate_hz} Hz, MP3 allows {rates} Hz; FLAC keeps any")


def _level(sound: RawSound, frames: int, sample_rate_hz: int) -> Level:
    """Loudness with the silence up to its scene's length, in which a last gating block may reach."""
    channels = sound.audio.shape[1]
    loudness = LoudnessMeter(sample_rate_hz, channels, BOTH_SIDES if channels == 1 else None)
    peak = PeakMeter(sample_rate_hz, channels)
    own = sound.in_time(sample_rate_hz)
    for piece in pieces(own):
        loudness.add(piece)
        peak.add(piece)
    loudness.add(np.zeros((channels, min(frames - len(own), round(GATING_BLOCK_S * sample_rate_hz)))))
    integrated = loudness.result().integrated_lufs
    return Level(sound.name, integrated, peak.result().true_peak_dbtp, loudness.raised_lufs)
