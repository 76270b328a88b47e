"""What a page says of itself: how loud its sounds are, and whether a phone has room for it."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.batch.listening import page_notes
from chainsim.batch.listening.page_notes import loudness_notes, memory_notes
from chainsim.listen.page.model import PageSound, Role
from chainsim.listen.page.sounds import RawSound, find_trims

RATE_HZ = 8_000


def raw(name: str, gain: float) -> RawSound:
    t = np.arange(RATE_HZ) / RATE_HZ
    return RawSound(name, name, "version", "page", gain * np.sin(2.0 * np.pi * 500.0 * t)[:, np.newaxis])


def test_equally_loud_is_said_of_those_that_are() -> None:
    """A sine of -60 dBFS peak on both sides has -60 LUFS, BS.1770-5: 37 dB to go. Silence has no loudness."""
    both = [raw("near", 0.1), raw("quiet", 0.05), raw("none", 0.0)]
    first, *more = loudness_notes(both, find_trims(both, RATE_HZ))
    assert first.startswith("All sounds are equally loud, -23.0 LUFS, by one gain each")
    assert not more
    three = [*both, *(raw(f"far-{i}", 1e-3) for i in range(4))]
    first, apart = loudness_notes(three, find_trims(three, RATE_HZ))
    assert first.startswith("All sounds but those named below are equally loud, -23.0 LUFS")
    assert apart.startswith(
        "Not as loud as the others: far-0, far-1, far-2 and 1 more. That would take more than 30 dB"
    )


def test_a_page_that_is_too_much_for_a_phone_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four bytes a sample: 10 s of two channels at 8 kHz are 0.64 MB; wires are decoded one at a time."""
    roles: list[Role] = ["take", "version", "wire"]
    sounds = [PageSound(r, r, r, "page", b"", "audio/flac", 80_000, 2, 0.0, np.zeros((2, 1))) for r in roles]
    assert not list(memory_notes(sounds))
    monkeypatch.setattr(page_notes, "MANY_MB", 1.2)
    assert [note.split(".")[0] for note in memory_notes(sounds)] == [
        "To be switched in time, 2 sounds take 1 MB of memory"
    ]
