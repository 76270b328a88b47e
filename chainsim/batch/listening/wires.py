"""The wires of a version's drawing as sounds of a page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chainsim.batch.listening.excerpt import Excerpt, Samples, in_excerpt
from chainsim.listen.drawing.svg import draw_svg
from chainsim.listen.drawing.wires import OUT, WireHeard, hear_wires
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
    version: str,
    heading: str,
    scene: str,
    excerpt: Excerpt | None = None,
) -> WireSounds:
    """Hear the wires of one version, and draw them.

    Parameters
    ----------
    sketch : Sketch
    take : ndarray, shape (frames, channels)
        All of it.
    sample_rate_hz : int
    version, heading : str
        Key of the version's own sound, which the last wire is; its name.
    scene : str
    excerpt : Excerpt, optional
    """
    heard = hear_wires(sketch, take, sample_rate_hz)
    keys = {OUT: version, INPUT: "take"}
    raw: list[RawSound] = []
    known: list[tuple[str, WireHeard]] = []
    for name, wire in heard.items():
        if name in keys:
            continue
        alike = next((key for key, other in known if _same(wire, other)), None)
        keys[name] = alike or f"{version}-wire-{len(raw) + 1}"
        if alike is None:
            known.append((keys[name], wire))
            audio: Samples = in_excerpt(wire.audio, sample_rate_hz, excerpt, wire.latency_ms / 1000.0)
            raw.append(RawSound(keys[name], f"{heading}: {name}", "wire", scene, audio, pictures=False))
    drawing = draw_svg(
        timeline(sketch)[0][1],
        title=heading,
        figures={name: wire.figures for name, wire in heard.items()},
        sounds={name: keys[name] for name in heard},
    )
    return WireSounds(drawing, tuple(raw))


def _same(wire: WireHeard, other: WireHeard) -> bool:
    return wire.latency_ms == other.latency_ms and np.array_equal(wire.audio, other.audio)
