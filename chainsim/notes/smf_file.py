"""A Standard MIDI File, read safely: the messages of all its tracks in order, with their times.

What a damaged or hostile file may hold is told in one line, before it can keep the parser busy.

Source: Standard MIDI Files 1.0 (RP-001).
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chainsim.errors import SettingError
from chainsim.notes.tempo_map import TempoMap

MOST_BYTES = 4_000_000
"""What a tracked horn sends in an hour and a half, at 720 bytes a second; read, it takes about 200 times the memory."""
LONGEST_S = 86_400.0
LONGEST_NUMBER = 4

_LONG_RUN = re.compile(rb"[\x80-\xff]{1024}")
"""In a number it would keep the parser busy for hours; in a text it is allowed."""
_DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}


@dataclass(frozen=True)
class SmfFile:
    """What stands in a file.

    Attributes
    ----------
    messages : tuple of (time in seconds, message)
        All messages of all tracks, as `mido` has them, in order of time and, at one time, of tracks. The last one is at
        the file's end.
    has_tempo : bool
        Whether it says a tempo; one that does not plays at 120 quarters a minute.
    """

    messages: tuple[tuple[float, Any], ...]
    has_tempo: bool

    @property
    def length_s(self) -> float:
        """When the last track ends."""
        return self.messages[-1][0]


def read_smf_file(path: str | Path) -> SmfFile:
    """Read a file of format 0 or 1, timed by its own tempo map.

    Raises
    ------
    SettingError
        If it cannot be read, is no MIDI file, is damaged, too large or longer than a day, or of another format.
    """
    import mido

    path = Path(path)
    file = _parsed(path)
    timed, tick = [(0, mido.MetaMessage("end_of_track"))], 0
    for message in mido.merge_tracks(file.tracks):
        tick += message.time
        timed.append((tick, message))
    changes = [(t, max(m.tempo, 1)) for t, m in timed if m.type == "set_tempo"]
    tempo = TempoMap(changes, file.ticks_per_beat)
    if tick > 1 << 40 or tempo.seconds(tick) > LONGEST_S:
        raise SettingError(f"{path}: is damaged or lasts longer than a day")
    return SmfFile(tuple((tempo.seconds(t), m) for t, m in timed), bool(changes))


def _parsed(path: Path) -> Any:
    """The file as the library has it, which takes 0.1 s to import."""
    import mido

    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise SettingError(f"{path}: cannot be read: {error.strerror or error}") from error
    if len(content) > MOST_BYTES:
        raise SettingError(f"{path}: over {MOST_BYTES / 1e6:g} MB, too large for a MIDI file of a set")
    if not content.startswith(b"MThd"):
        raise SettingError(f"{path}: {'is empty (0 bytes)' if not content else 'not a Standard MIDI File'}")
    if _LONG_RUN.search(content) and _has_endless_number(content):
        raise SettingError(f"{path}: is damaged: a number without end")
    try:
        file = mido.MidiFile(file=io.BytesIO(content))
    except Exception as error:  # whatever the parser stumbles over in a damaged file
        reason = "it ends too early" if isinstance(error, EOFError) else str(error) or type(error).__name__
        raise SettingError(f"{path}: is damaged: {reason}".splitlines()[0]) from error
    if file.type not in (0, 1):
        raise SettingError(f"{path}: format {file.type}, allowed 0 and 1 (tracks that play together)")
    if file.ticks_per_beat <= 0:
        raise SettingError(f"{path}: counts frames of film or nothing, allowed ticks a quarter note")
    return file


def _has_endless_number(content: bytes) -> bool:
    """Whether a time or length is longer than MIDI allows, or may be, because the events do not fit their track."""
    track = 8 + int.from_bytes(content[4:8], "big")
    while track + 8 <= len(content):
        at, end = track + 8, track + 8 + int.from_bytes(content[track + 4 : track + 8], "big")
        running = 0
        while 0 <= at < min(end, len(content)):
            at, running = _after_event(content, at, running)
        if at < 0 or at > end:
            return True
        track = end
    return False


def _after_event(content: bytes, at: int, running: int) -> tuple[int, int]:
    """Where the next event begins, -1 if that cannot be told, and its running status."""
    _, at = _number(content, at)
    if not 0 <= at < len(content):
        return at, running
    status = content[at]
    if status in (0xF0, 0xF7, 0xFF):
        length, at = _number(content, at + 2 if status == 0xFF else at + 1)
        return (at + length if at >= 0 else -1), (running if status == 0xFF else 0)
    if status >= 0x80:
        running, at = status, at + 1
    return (at + _DATA_BYTES[running >> 4] if running >> 4 in _DATA_BYTES else -1), running


def _number(content: bytes, at: int) -> tuple[int, int]:
    """A number of variable length, and where what follows it begins; -1 for a number without end."""
    value = 0
    for k in range(at, at + LONGEST_NUMBER):
        byte = content[k] if k < len(content) else 0
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, k + 1
    return 0, -1
