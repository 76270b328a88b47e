"""Names of files that hold sounds, on any disk."""

from __future__ import annotations

from pathlib import Path

import pytest

from chainsim.batch.sounds.audio_names import audio_name


@pytest.mark.parametrize(
    ("said", "name"),
    [
        (["waltz", "chorale", "wah.q 0.7", "solo"], "waltz, chorale, wah.q 0.7, solo, 0123abcd.wav"),
        (["../../etc/passwd", "", 'a<b>:"|?*\\'], "_.._etc_passwd, a_b_______, 0123abcd.wav"),
        (["CON", " . "], "CON, 0123abcd.wav"),
        (["", ""], "0123abcd.wav"),
        (["\x1b[2J\n", "\ud800"], "__2J_, _, 0123abcd.wav"),
        (["Ku\u0308ste"], "K\u00fcste, 0123abcd.wav"),
    ],
)
def test_file_names_are_safe(said: list[str], name: str) -> None:
    assert audio_name(said, "0123abcdef") == name


@pytest.mark.parametrize("letter", ["x", "\u00fc", "\u266a", "\U0001d11e"])
def test_file_names_are_bounded_in_bytes(letter: str, tmp_path: Path) -> None:
    name = audio_name([letter * 300, "take"], "0123abcdef")
    assert len(name.encode()) < 180
    (tmp_path / name).write_bytes(b"")
