"""Pages whose sounds are known sample by sample."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import soundfile

from chainsim.listen.page.model import Figure, ListeningPage, PageSound, PitchPiece, Role, VersionCard
from chainsim.units import Array

RATE_HZ = 48000
COLUMNS = 600


def noise(seconds: float, channels: int = 1, seed: int = 8) -> Array:
    """White noise, shape (frames, channels), within -0.5 ... 0.5: no two places in it are alike."""
    generator = np.random.default_rng(seed)
    return generator.uniform(-0.5, 0.5, (round(seconds * RATE_HZ), channels))


def page_sound(
    key: str,
    audio: Array,
    *,
    name: str | None = None,
    role: Role = "version",
    scene: str = "take",
    loss_db: float = 0.0,
) -> PageSound:
    """A sound as a page has it; `loss_db` is by how much it comes quieter than the loudest."""
    file = io.BytesIO()
    soundfile.write(file, audio, RATE_HZ, format="FLAC", subtype="PCM_24")
    bounds = np.linspace(0, len(audio), COLUMNS + 1).astype(int)[:-1]
    mono = audio.mean(axis=1)
    times = np.arange(0.0, len(audio) / RATE_HZ, 0.02)
    half = len(times) // 2
    pitch = 220.0 * 2 ** (np.round(3 * np.sin(times * 2)) / 12)
    return PageSound(
        key=key,
        name=name or key,
        role=role,
        scene=scene,
        audio=file.getvalue(),
        mime="audio/flac",
        frames=len(audio),
        channels=audio.shape[1],
        as_it_comes_db=-loss_db,
        peaks=np.stack([np.minimum.reduceat(mono, bounds), np.maximum.reduceat(mono, bounds)]),
        pitch=(PitchPiece(times[:half], pitch[:half]), PitchPiece(times[half + 5 :], pitch[half + 5 :])),
    )


def synthetic_page(
    gains: Sequence[float] = (1.0, 0.5, 0.25), *, seconds: float = 2.0, title: str = "Quay lamps", channels: int = 1
) -> ListeningPage:
    """A take of noise, and versions of it that differ by their gains only: "version-1", "version-2" ..."""
    dry = noise(seconds, channels)
    sounds = [page_sound("take", dry, name="lantern_waltz.flac", role="take")]
    cards = []
    for number, gain in enumerate(gains, 1):
        key = f"version-{number}"
        sounds.append(page_sound(key, gain * dry, name=f"Version {number}", loss_db=6.0 * (number - 1)))
        cards.append(
            VersionCard(
                sound=key,
                heading=f"Version {number}",
                differs="" if number == 1 else f"{number} times quieter",
                figures=(Figure("loudness", f"{-20 - number}.0 LUFS"), Figure("latency", f"{number}.0 ms")),
                settings=f"[blocks.gain]\ngain_db = {-6 * (number - 1)}\n",
            )
        )
    return ListeningPage(
        title=title, take_name="lantern_waltz.flac", sample_rate_hz=RATE_HZ, sounds=tuple(sounds), cards=tuple(cards)
    )


def with_drawing(page: ListeningPage, drawing: str, wires: Sequence[PageSound]) -> ListeningPage:
    """The same page, its first card with a drawing, and the sounds of its wires."""
    first, *others = page.cards
    return replace(page, sounds=(*page.sounds, *wires), cards=(replace(first, drawing=drawing), *others))
