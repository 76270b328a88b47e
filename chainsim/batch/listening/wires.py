"""The wires of a version's drawing as sounds of a page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chainsim.batch.listening.excerpt import Excerpt, in_excerpt
from chainsim.listen.drawing.svg import draw_svg
from chainsim.listen.drawing.wires import hear_wires
from chainsim.listen.page.sounds import RawSound
from chainsim.sketch.model import Sketch
from chainsim.sketch.timeline import timeline
from chainsim.units import Array

INPUT = "input"


@dataclass(frozen=True)
class WireSounds:
    """A drawing as SVG, and those of its wires' sounds that the page has not yet."""

    drawing: str | None
    raw: tuple[RawSound, ...] = ()


def silent_drawing(sketch: Sketch, heading: str) -> WireSounds:
    """The drawing alone."""
    return WireSounds(draw_svg(timeline(sketch)[0][1], title=heading))


def wire_sounds(
    sketch: Sketch,
    take: Array,
    sample_rate_hz: int,
    version: RawSound,
    excerpt: Excerpt | None = None,
    *,
    threads: int = 1,
) -> WireSounds:
    """Hear the wires of one version, and draw them.

    Parameters
    ----------
    sketch : Sketch
    take : ndarray, shape (frames, channels)
        All of it.
    sample_rate_hz : int
    version : RawSound
        The version's own sound, which most often is that of the last wire; wires get its scene.
    excerpt : Excerpt, optional
    threads : int
    """
    part_s = None if excerpt is None else (excerpt.from_s, excerpt.to_s)
    heard = hear_wires(sketch, take, sample_rate_hz, excerpt_s=part_s, threads=threads)
    keys: dict[str, str] = {}
    known = {version.key: version.audio}
    raw: list[RawSound] = []
    for name, wire in heard.items():
        if excerpt is None:
            audio = in_excerpt(wire.audio, sample_rate_hz, None, wire.latency_ms / 1000.0)
        else:
            audio = in_excerpt(wire.audio, sample_rate_hz, Excerpt(0.0, len(wire.audio) / sample_rate_hz))
        alike = next((key for key, other in known.items() if np.array_equal(other, audio)), None)
        found = "take" if name == INPUT else alike
        keys[name] = found or f"{version.key}-wire-{len(raw) + 1}"
        known.setdefault(keys[name], audio)
        if found is None:
            label = f"{version.name}: {name}"
            raw.append(RawSound(keys[name], label, "wire", version.scene, audio, pictures=False))
    drawing = draw_svg(
        timeline(sketch)[0][1],
        title=version.name,
        figures={name: wire.figures for name, wire in heard.items()},
        sounds={name: keys[name] for name in heard},
    )
    return WireSounds(drawing, tuple(raw))
