"""A voice behind a converter is late as a whole: it ends as much later as it begins, and rings out before the cut."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import parse_sketch

RATE_HZ = 16_000.0


def horn(seconds: float) -> np.ndarray:
    """A note of 220 Hz between a rest of 0.3 s and its sudden end: shape (1, frames)."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    note = 0.2 * np.minimum(t / 0.01, 1.0) * sum(np.sin(2.0 * np.pi * 220.0 * k * t) / k for k in range(1, 9))
    return np.concatenate([np.zeros(round(0.3 * RATE_HZ)), note])[None]


def voice(latency_ms: float, more: str = "", kind: str = "following_synth") -> np.ndarray:
    """What the voice alone plays to a horn that stops with the take."""
    text = f"""
key = "A minor"
tempo_bpm = 200
chain = ["lead"]
[blocks.lead]
type = "{kind}"
source = "tracked_midi"
converter_latency_ms = {latency_ms}
{more}
"""
    return render_graph(build_graph(parse_sketch(text), RATE_HZ), horn(1.0))["out"][0]


def span_s(y: np.ndarray) -> np.ndarray:
    """From when to when it is within 60 dB of its loudest."""
    loud = np.flatnonzero(np.abs(y) > 1e-3 * np.abs(y).max())
    return loud[[0, -1]] / RATE_HZ


@pytest.mark.parametrize("more", ["", 'amplitude = "envelope"\nrelease_ms = 5.0', 'when_unsure = "mute"'])
@pytest.mark.parametrize("latency_ms", [120.0, 300.0])
def test_a_voice_behind_a_converter_begins_and_ends_later_by_its_latency(latency_ms: float, more: str) -> None:
    at_once, late = voice(0.0, more), voice(latency_ms, more)
    assert span_s(late) - span_s(at_once) == pytest.approx([latency_ms / 1000.0] * 2, abs=0.006)  # a period and a half
    assert np.abs(late).max() == pytest.approx(np.abs(at_once).max(), rel=0.02)


@pytest.mark.parametrize(
    ("kind", "more"),
    [
        ("following_synth", ""),
        ("following_synth", 'amplitude = "envelope"\nrelease_ms = 5.0'),
        ("wandering_bass", 'goes_on_s = 0.0\nevery = "1/16"\nrelease_ms = 5.0'),
    ],
)
def test_nothing_is_cut_off_when_the_take_ends(kind: str, more: str) -> None:
    y = voice(400.0, more, kind)
    assert np.abs(y).max() > 0.01
    assert np.abs(y[-8:]).max() < 10.0 ** (-60.0 / 20.0) * np.abs(y).max()
