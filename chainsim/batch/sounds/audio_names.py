"""Names of the files of a batch: what is in them, safe for every system, and never the same for two sounds."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

MOST_BYTES = 160
"""Of what a name says; file systems allow 255, some of them less in sum with the folders."""
KEY_DIGITS = 8


def audio_name(said: Iterable[str], key: str) -> str:
    """What is in it, then the beginning of its key: "waltz, chorale, wah.q 0.7, solo, 1f00d5ea.wav".

    Letters, digits, spaces, dots, commas, hyphens and underscores stay; others become an underscore.
    """
    safe = (re.sub(r"[^\w .-]", "_", unicodedata.normalize("NFC", part)).strip(" .") for part in said)
    text = ", ".join(part for part in safe if part)
    short = text.encode()[:MOST_BYTES].decode(errors="ignore").rstrip(" .,")
    return f"{short}, {key[:KEY_DIGITS]}.wav" if short else f"{key[:KEY_DIGITS]}.wav"
