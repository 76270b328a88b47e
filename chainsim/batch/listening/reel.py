"""The versions of a page one after the other in one audio file, for the car and for what runs no scripts.

Before each version beeps tell its number: a short one counts one, a long one five.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chainsim.audio.writing import TakeWriter, write_text_whole
from chainsim.batch.listening.targets import BEEPS, check_reel_target, running_order_path
from chainsim.listen.page.model import ListeningPage, PageSound
from chainsim.measure.loudness import BOTH_SIDES, measure_loudness
from chainsim.units import Array, db_to_gain

BEEP_HZ = 880.0
"""In the middle of what a horn plays and of what a car lets through."""
SHORT_S, LONG_S = 0.12, 0.5
BETWEEN_S, AFTER_BEEPS_S, AFTER_VERSION_S = 0.14, 0.6, 1.0
RAMP_S = 0.015
UNDER_DB = 9.0
"""Of a beep's peak under the loudness of the versions in LUFS: soft, and 12 dB under it in loudness."""
COUNTS_FIVE = 5
BLOCK_FRAMES = 1 << 16


@dataclass(frozen=True)
class ReelEntry:
    """One version in the running order: when its beeps begin, and when itself."""

    number: int
    name: str
    beeps_s: float
    starts_s: float


@dataclass(frozen=True)
class RunningOrder:
    """What a reel holds.

    Attributes
    ----------
    title, take_name : str
    entries : tuple of ReelEntry
    seconds : float
    """

    title: str
    take_name: str
    entries: tuple[ReelEntry, ...]
    seconds: float

    @property
    def text(self) -> str:
        """To be printed and put into the glove compartment."""
        digits = len(str(len(self.entries)))
        lines = [f"{_clock(e.starts_s)}  {e.number:>{digits}}  {e.name}" for e in self.entries]
        return "\n".join([self.title, f"Take: {self.take_name}", "", *lines, "", BEEPS]) + "\n"


def write_reel(page: ListeningPage, path: str | Path) -> RunningOrder:
    """Write the reel, and the running order into a text beside it.

    Parameters
    ----------
    page : ListeningPage
        Its versions, equally loud as they are there.
    path : path
        The ending says the format: .wav, .flac, .mp3, .ogg.

    Raises
    ------
    AudioError
        If it cannot be written there, the format does not know the sample rate, or the running order would replace
        another text.
    """
    check_reel_target(Path(path))
    versions = [sound for sound in page.sounds if sound.role == "version"]
    rate_hz, path = page.sample_rate_hz, Path(path)
    channels = max(sound.channels for sound in versions)
    entries: list[ReelEntry] = []
    with TakeWriter(path, rate_hz, channels) as writer:
        for number, sound in enumerate(versions, start=1):
            beeps_s = writer.frames / rate_hz
            x = _decoded(sound)
            writer.write(_wide(_beeps(number, rate_hz, _loudness(x, rate_hz)), channels))
            entries.append(ReelEntry(number, sound.name, beeps_s, writer.frames / rate_hz))
            for first in range(0, len(x), BLOCK_FRAMES):
                writer.write(_wide(x[first : first + BLOCK_FRAMES], channels))
            writer.write(np.zeros((channels, round(AFTER_VERSION_S * rate_hz))))
        seconds = writer.frames / rate_hz
    order = RunningOrder(page.title, page.take_name, tuple(entries), seconds)
    write_text_whole(running_order_path(path), order.text)
    return order


def beep_lengths(number: int) -> list[float]:
    """How long each of the beeps of a number is, in seconds: 7 is a long one and two short ones."""
    fives, ones = divmod(number, COUNTS_FIVE)
    return [LONG_S] * fives + [SHORT_S] * ones


def _beeps(number: int, sample_rate_hz: int, loudness_lufs: float) -> Array:
    """Beeps and the silence after them, shape (frames, 1)."""
    gain = db_to_gain(loudness_lufs - UNDER_DB)
    parts = list(_parts(number, sample_rate_hz, gain))
    return np.concatenate([*parts, np.zeros(round(AFTER_BEEPS_S * sample_rate_hz))])[:, np.newaxis]


def _parts(number: int, sample_rate_hz: int, gain: float) -> Iterator[Array]:
    for length_s in beep_lengths(number):
        n = np.arange(round(length_s * sample_rate_hz))
        ramp = np.minimum(1.0, np.minimum(n + 0.5, len(n) - n - 0.5) / (RAMP_S * sample_rate_hz))
        yield gain * np.sin(0.5 * np.pi * ramp) ** 2 * np.sin(2.0 * np.pi * BEEP_HZ * n / sample_rate_hz)
        yield np.zeros(round(BETWEEN_S * sample_rate_hz))


def _decoded(sound: PageSound) -> Array:
    """The sound of a page as samples, shape (frames, channels)."""
    import soundfile

    x: Array = soundfile.read(io.BytesIO(sound.audio), always_2d=True)[0]
    return x[: sound.frames]


def _loudness(x: Array, sample_rate_hz: int) -> float:
    found = measure_loudness(x, sample_rate_hz, BOTH_SIDES if x.shape[1] == 1 else None).integrated_lufs
    return found if math.isfinite(found) else -40.0


def _wide(x: Array, channels: int) -> Array:
    return np.ascontiguousarray(np.broadcast_to(x.T, (channels, len(x))))


def _clock(at_s: float) -> str:
    minutes, seconds = divmod(int(at_s), 60)
    return f"{minutes}:{seconds:02d}"
