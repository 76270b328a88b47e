"""A sketch with a file of cues beside it, and what such files are made of."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import mido
import pytest

from chainsim.errors import SketchError
from chainsim.sketch.loading import load_sketch
from chainsim.sketch.model import Sketch

SET = """
chain = ["tone", "echo"]
[blocks.tone]
type = "gain"
[blocks.echo]
type = "delay"
[patches.plain]
engage = []
midi_program = 0
[patches.answered]
engage = ["echo"]
midi_program = 7
[patches."second act"]
midi_program = 7
midi_bank = 133
[[switches]]
name = "A"
press = "patch plain"
midi_cc = 80
[[switches]]
name = "B"
press = "block echo"
hold = "mute"
midi_cc = 81
"""


def with_file(folder: Path, name: str, content: bytes | str, head: str = "") -> Sketch:
    (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    (folder / "evening.toml").write_text(f'cue_file = "{name}"\n{head}{SET}', encoding="utf-8")
    return load_sketch(folder / "evening.toml")


def faults_of(folder: Path, name: str, content: bytes | str) -> list[str]:
    with pytest.raises(SketchError) as caught:
        with_file(folder, name, content)
    assert all(f.startswith("evening.toml: ") and f.isprintable() for f in caught.value.faults), caught.value.faults
    return [f.removeprefix("evening.toml: ") for f in caught.value.faults]


Sent = mido.Message | mido.MetaMessage


def smf(*tracks: Sequence[Sent], ticks: int = 500, says_tempo: bool = True) -> bytes:
    """A file of format 1, its tempo in a track of its own; at 120 and 500 ticks a quarter a tick is a millisecond."""
    file = mido.MidiFile(type=1, ticks_per_beat=ticks)
    conductor = [[tempo(500_000)]] if says_tempo else []
    file.tracks.extend(mido.MidiTrack(t) for t in (*conductor, *tracks))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def tempo(microseconds: int, time: int = 0) -> mido.MetaMessage:
    return mido.MetaMessage("set_tempo", tempo=microseconds, time=time)


def control(number: int, value: int, time: int = 0, channel: int = 0) -> mido.Message:
    return mido.Message("control_change", control=number, value=value, time=time, channel=channel)


def program(number: int, time: int = 0, channel: int = 0) -> mido.Message:
    return mido.Message("program_change", program=number, time=time, channel=channel)
