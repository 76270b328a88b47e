"""Writes the example takes: `python -m chainsim.horn.examples FOLDER`."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from chainsim.horn.phrase import Phrase
from chainsim.horn.phrases import HARBOUR_DAY, LANTERN_WALTZ, LOW_WATER, ROPEWALK
from chainsim.horn.play import HornTake, play
from chainsim.units import db_to_gain, gain_to_db

COMMENT = "Invented and synthetic: a tune of the invented harbour town of Saltmere, made by chainsim's synthetic horns"
PEAK_DBFS, FLOOR_DBFS = -4.0, -70.0
SET_BELOW_DB = 8.0
"""How much lower than the short takes the take of a whole set is recorded: room for one loud note in an evening."""

_TAKES: tuple[tuple[Phrase, int], ...] = ((LANTERN_WALTZ, 3), (LOW_WATER, 5), (ROPEWALK, 2))


def write_takes(folder: Path) -> list[Path]:
    """Write every short take as mono FLAC of 16 bit at 48 kHz, its peak at PEAK_DBFS; return the paths."""
    folder.mkdir(parents=True, exist_ok=True)
    return [_write(*_levelled(phrase, seed), folder) for phrase, seed in _TAKES]


def write_set_take(folder: Path) -> Path:
    """Write the take that a whole set is played over, as mono FLAC of 16 bit at 44.1 kHz; return its path."""
    folder.mkdir(parents=True, exist_ok=True)
    return _write(*_levelled(HARBOUR_DAY, 7, 44_100.0, SET_BELOW_DB), folder)


def _levelled(
    phrase: Phrase, seed: int, sample_rate_hz: float = 48_000.0, below_db: float = 0.0
) -> tuple[HornTake, float]:
    """Return a take and the gain that brings its peak to PEAK_DBFS, its floor to FLOOR_DBFS, or both that far below."""
    peak = float(np.abs(play(phrase, sample_rate_hz=sample_rate_hz, seed=seed).audio).max())
    gain_db = PEAK_DBFS - below_db - gain_to_db(peak)
    take = play(phrase, sample_rate_hz=sample_rate_hz, seed=seed, floor_dbfs=FLOOR_DBFS - below_db - gain_db)
    return take, db_to_gain(gain_db)


def _write(take: HornTake, gain: float, folder: Path) -> Path:
    import soundfile

    from chainsim.audio.encoding import Quantizer

    path = folder / f"{take.title} {take.horn}.flac".lower().replace(" ", "_")
    audio = take.audio * gain
    codes = Quantizer("pcm16")(audio[:, None]) << 16
    with soundfile.SoundFile(path, "w", int(take.sample_rate_hz), 1, "PCM_16", format="FLAC") as file:
        file.title, file.comment, file.artist = f"{take.title} ({take.horn})", COMMENT, "chainsim"
        file.write(codes)
    return path


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m chainsim.horn.examples FOLDER")
    for written in [*write_takes(Path(sys.argv[1])), write_set_take(Path(sys.argv[1]) / "sets")]:
        sys.stdout.write(f"{written}\n")
