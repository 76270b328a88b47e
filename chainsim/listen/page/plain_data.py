"""What the page's script needs to know, as plain values, and as text that can stand inside a page."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from typing import Any

from chainsim.listen.page.model import ListeningPage, PageSound

DIGEST_LENGTH = 16


def sound_data(sound: PageSound) -> dict[str, Any]:
    """What the player is told of a sound; the audio itself stands elsewhere."""
    return {
        "key": sound.key,
        "name": sound.name,
        "role": sound.role,
        "scene": sound.scene,
        "frames": sound.frames,
        "channels": sound.channels,
        "mime": sound.mime,
        "asItComesDb": sound.as_it_comes_db,
        "equallyLoud": sound.equally_loud,
        "peaks": [[round(float(v), 3) for v in row] for row in sound.peaks],
        "spectrogram": None if sound.spectrogram is None else f"data:image/png;base64,{as_base64(sound.spectrogram)}",
        "spectrogramHz": [float(hz) for hz in sound.spectrogram_hz],
        "pitch": [
            {"t": [round(float(t), 4) for t in piece.times_s], "hz": [round(float(hz), 2) for hz in piece.pitches_hz]}
            for piece in sound.pitch
        ],
        "digest": digest(sound),
    }


def digest(sound: PageSound) -> str:
    """What tells one audio from another."""
    return hashlib.sha256(sound.audio).hexdigest()[:DIGEST_LENGTH]


def listening_data(page: ListeningPage) -> dict[str, Any]:
    """What a page of versions has beside its sounds."""
    return {
        "take": page.take_name,
        "sampleRate": page.sample_rate_hz,
        "startsAt": page.starts_s,
        "versions": [card.sound for card in page.cards],
        "foot": page.foot,
        "lesson": None,
    }


def as_base64(data: bytes) -> str:
    """Bytes as text."""
    return base64.b64encode(data).decode("ascii")


def as_json(data: Mapping[str, Any] | str) -> str:
    """JSON in which no name can end a script element or begin another: the three signs for that are written as codes.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text
