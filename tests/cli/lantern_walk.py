"""A small set, a take, and how both are rendered: what tests of sets on the command line have in common."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from tests.cli.running import notes, sketch_file, take_file

FS = 8_000
SET = """
title = "Lantern walk"
tempo_bpm = 120
chain = ["tone", "drive"]
[blocks.tone]
type = "gain"
[blocks.drive]
type = "gain"
gain_db = 3
[patches.soft]
engage = ["tone"]
[patches.soft.blocks.tone]
gain_db = -12
[patches.loud]
engage = ["tone", "drive"]
[patches."last act / quay"]
engage = []
[[banks]]
name = "Quay"
patches = ["soft", "loud"]
[[banks]]
name = "Pier"
patches = ["last act / quay"]
[[switches]]
name = "A"
press = "place 1"
hold = "mute"
[[switches]]
name = "B"
press = "place 2"
[[switches]]
name = "UP"
press = "bank up"
[rooms.chapel]
feed = "mono"
[rooms.chapel.blocks.drive]
engaged = false
[[cues]]
at_s = 0.5
patch = "soft"
[[cues]]
at_bar = "1:3"
patch = "loud"
[[cues]]
at_bar = "1:4"
patch = "last act / quay"
[[cues]]
at_s = 3
mute = true
"""
PATCH_DB = {"soft": -12.0, "loud": 3.0, "last act / quay": 0.0}
FILES = ["last act _ quay.wav", "loud.wav", "soft.wav"]


def set_folder(tmp_path: Path) -> Path:
    """Write sketch and take."""
    sketch_file(tmp_path, SET)
    take_file(tmp_path, notes())
    return tmp_path


def sound(path: Path) -> np.ndarray:
    y, rate_hz = soundfile.read(path)
    assert rate_hz == FS
    return np.asarray(y)


def gain_db(path: Path, folder: Path, part: slice = slice(None)) -> float:
    """What a file's sound is against the take's."""
    x, y = sound(folder / "take.wav")[part], sound(path)[part]
    return float(10.0 * np.log10((y**2).sum() / (x**2).sum()))


def render(folder: Path, *more: object) -> tuple[object, ...]:
    return ("render", folder / "sketch.toml", folder / "take.wav", *more)
