"""Every wire of a drawing heard in one render."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.errors import AudioError
from chainsim.graph.rendering import render
from chainsim.listen.drawing.wires import hear_wires
from chainsim.measure.loudness import measure_loudness
from chainsim.sketch.loading import parse_sketch

RATE_HZ = 8_000
TEXT = """
trim_db = 6
chain = [{ lanes = ["dry", { chain = ["late"], level_db = -6 }, { chain = "dry", level_db = "off" }], align = true }]
[blocks.late]
type = "gain"
gain_db = -3
latency_ms = 2
"""


@pytest.fixture(scope="module")
def take() -> np.ndarray:
    t = np.arange(RATE_HZ) / RATE_HZ
    return 0.25 * np.sin(2.0 * np.pi * 440.0 * t)


def test_each_wire_is_what_a_probe_gives(take: np.ndarray) -> None:
    sketch = parse_sketch(TEXT)
    heard = hear_wires(sketch, take, RATE_HZ)
    assert list(heard) == ["input", "late", "lane 1.2", "sum 1", "out"]
    rendering = render(sketch, take, RATE_HZ, probes=["input", "late", "lane 1.2", "sum 1"])
    for name, wire in heard.items():
        sound = rendering.audio if name == "out" else rendering.probes[name]
        assert wire.audio.tobytes() == sound.tobytes()
        assert wire.loudness_lufs == measure_loudness(sound, RATE_HZ).integrated_lufs


def test_latency_and_level(take: np.ndarray) -> None:
    heard = hear_wires(parse_sketch(TEXT), take, RATE_HZ)
    # Declared: 2 ms in one lane, for which the other waits.
    assert [(w.latency_ms, w.longest_ms) for w in heard.values()] == [(0, 0), (2, 2), (2, 2), (2, 2), (2, 2)]
    assert heard["input"].peak_dbfs == pytest.approx(20 * math.log10(0.25), abs=0.01)
    assert heard["lane 1.2"].peak_dbfs - heard["late"].peak_dbfs == pytest.approx(-6.0, abs=1e-9)
    assert heard["out"].loudness_lufs - heard["sum 1"].loudness_lufs == pytest.approx(6.0, abs=0.01)


def test_a_mono_wire_beside_stereo_ones_counts_as_heard_from_both_sides(take: np.ndarray) -> None:
    text = 'chain = [{ lanes = ["dry", { chain = "dry", level_db = -96, pan = 1 }] }]'
    heard = hear_wires(parse_sketch(text), take, RATE_HZ)
    assert [wire.audio.shape[1] for wire in heard.values()] == [1, 2, 2]
    # BS.1770-5 sums the powers of the channels: the same on both sides is 3.01 LU over one channel alone.
    alone = measure_loudness(take, RATE_HZ).integrated_lufs
    assert heard["input"].loudness_lufs - alone == pytest.approx(10 * math.log10(2), abs=1e-6)
    assert heard["sum 1"].loudness_lufs == pytest.approx(heard["input"].loudness_lufs, abs=0.01)


def test_silence_has_no_loudness() -> None:
    heard = hear_wires(parse_sketch('chain = ["gain"]'), np.zeros((800, 1)), RATE_HZ)
    assert list(heard) == ["input", "gain"]
    assert {(wire.loudness_lufs, wire.peak_dbfs) for wire in heard.values()} == {(-math.inf, -math.inf)}


def test_no_take_is_refused() -> None:
    with pytest.raises(AudioError, match="holds no sound"):
        hear_wires(parse_sketch('chain = ["gain"]'), np.zeros((0, 1)), RATE_HZ)
