"""Every wire of a drawing heard in one render."""

from __future__ import annotations

import math
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from chainsim.audio.reading import TakeArray
from chainsim.errors import AudioError, GraphError, SettingError
from chainsim.graph.rendering import render
from chainsim.listen.drawing.wires import WireMeasured, hear_wires, measure_wires
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
INNER = ["input", "late", "lane 1.2", "lane 1.1 aligned", "lane 1.2 aligned", "sum 1.2", "sum 1"]


@pytest.fixture(scope="module")
def take() -> np.ndarray:
    t = np.arange(RATE_HZ) / RATE_HZ
    return 0.25 * np.sin(2.0 * np.pi * 440.0 * t)


def test_each_wire_is_what_a_probe_gives(take: np.ndarray) -> None:
    sketch = parse_sketch(TEXT)
    heard = hear_wires(sketch, take, RATE_HZ)
    assert list(heard) == [*INNER, "out"]
    rendering = render(sketch, take, RATE_HZ, probes=INNER)
    for name, wire in heard.items():
        sound = rendering.audio if name == "out" else rendering.probes[name]
        assert wire.audio.tobytes() == sound.astype(np.float32).tobytes()
        # One channel, which two loudspeakers play alike: BS.1770-5 sums their powers.
        assert wire.loudness_lufs == measure_loudness(sound, RATE_HZ, [2.0]).integrated_lufs


def test_of_the_wires_that_are_asked_for_an_excerpt_is_kept(take: np.ndarray) -> None:
    sketch = parse_sketch(TEXT)
    whole = hear_wires(sketch, take, RATE_HZ)
    heard = hear_wires(sketch, take, RATE_HZ, wires=("out", "input"), excerpt_s=(0.25, 0.5), threads=2)
    assert list(heard) == ["input", "out"]
    # Declared latencies: none, and 2 ms, which are 16 frames; 0.25 s are 2000.
    for name, late in (("input", 0), ("out", 16)):
        assert heard[name].audio.tobytes() == whole[name].audio[late + 2000 : late + 4000].tobytes()
        assert heard[name].figures == whole[name].figures
    beyond = hear_wires(sketch, take, RATE_HZ, wires=["out"], excerpt_s=(0.75, 9.0))["out"].audio
    assert beyond.tobytes() == whole["out"].audio[16 + 6000 :].tobytes()


def test_the_whole_chain_is_heard_without_a_trim_too(take: np.ndarray) -> None:
    heard = hear_wires(parse_sketch('chain = ["gain"]'), take, RATE_HZ, wires=["gain", "out"])
    assert heard["gain"].audio.tobytes() == heard["out"].audio.tobytes()


def test_wires_and_excerpts_that_are_not_there_are_refused(take: np.ndarray) -> None:
    sketch = parse_sketch(TEXT)
    with pytest.raises(GraphError, match=r'wire "lane 1.3": no .*; there are input, .*lane 1.2 aligned, .*sum 1, out$'):
        hear_wires(sketch, take, RATE_HZ, wires=["input", "lane 1.3"])
    # The take has 1 s: what begins there or later is none of it.
    for excerpt_s in ((0.5, 0.5), (-0.1, 0.5), (0.0, math.inf), (0.0, math.nan), (1.0, 2.0), (5.0, 6.0)):
        with pytest.raises(SettingError, match="excerpt"):
            hear_wires(sketch, take, RATE_HZ, excerpt_s=excerpt_s)


def test_measuring_takes_no_more_memory_for_a_longer_take(take: np.ndarray) -> None:
    sketch = parse_sketch(TEXT)
    heard = hear_wires(sketch, take, RATE_HZ)
    fields = WireMeasured.__dataclass_fields__
    measured = measure_wires(sketch, TakeArray(take, RATE_HZ))
    assert measured == {name: WireMeasured(*(getattr(w, f) for f in fields)) for name, w in heard.items()}
    highest = []
    for seconds in (4, 40):
        tracemalloc.start()
        measure_wires(sketch, EndlessTone(seconds * RATE_HZ))
        highest.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # 36 s of five wires are 11 MB.
    assert highest[1] - highest[0] < 2**18


class EndlessTone:
    """A take that is made as it is read."""

    sample_rate_hz, channels = float(RATE_HZ), 1
    path: Path | None = None

    def __init__(self, frames: int) -> None:
        self.frames, self.warnings = frames, list[str]()

    def read(self, first_frame: int, frames: int) -> np.ndarray:
        return 0.1 * np.sin(np.arange(first_frame, first_frame + frames))[np.newaxis]


def test_latency_and_level(take: np.ndarray) -> None:
    heard = hear_wires(parse_sketch(TEXT), take, RATE_HZ)
    # Declared: 2 ms in one lane, for which the other waits.
    assert [(w.latency_ms, w.longest_ms) for w in heard.values()] == [(0, 0)] + 7 * [(2, 2)]
    assert heard["input"].peak_dbfs == pytest.approx(20 * math.log10(0.25), abs=0.01)
    assert heard["lane 1.2"].peak_dbfs - heard["late"].peak_dbfs == pytest.approx(-6.0, abs=1e-9)
    assert heard["out"].loudness_lufs - heard["sum 1"].loudness_lufs == pytest.approx(6.0, abs=0.01)


def test_a_mono_wire_counts_as_heard_from_both_sides(take: np.ndarray) -> None:
    text = 'chain = [{ lanes = ["dry", { chain = "dry", level_db = -96, pan = 1 }] }]'
    heard = hear_wires(parse_sketch(text), take, RATE_HZ)
    channels = {name: wire.audio.shape[1] for name, wire in heard.items()}
    assert channels == {"input": 1, "lane 1.2 before pan": 1, "lane 1.2": 2, "sum 1": 2}
    # BS.1770-5 sums the powers of the channels: the same on both sides is 3.01 LU over one channel alone.
    alone = measure_loudness(take, RATE_HZ).integrated_lufs
    assert heard["input"].loudness_lufs - alone == pytest.approx(10 * math.log10(2), abs=1e-6)
    assert heard["sum 1"].loudness_lufs == pytest.approx(heard["input"].loudness_lufs, abs=0.01)
    # Whether anything in the chain is stereo makes no difference to it.
    alike = hear_wires(parse_sketch('chain = ["gain"]'), take, RATE_HZ)
    assert alike["input"].loudness_lufs == heard["input"].loudness_lufs


def test_a_wire_behind_what_is_out_or_off_is_silent(take: np.ndarray) -> None:
    off = '{ chain = "dry", level_db = "off" }'
    text = f'chain = [{{ lanes = [{off}, ["following_synth"]] }}, "gain"]\n[blocks.following_synth]\nengaged = false'
    heard = hear_wires(parse_sketch(text), take, RATE_HZ)
    assert list(heard) == ["input", "following_synth", "sum 1", "gain"]
    assert [wire.peak_dbfs for wire in heard.values()][1:] == [-math.inf] * 3


def test_silence_has_no_loudness() -> None:
    heard = hear_wires(parse_sketch('chain = ["gain"]'), np.zeros((800, 1)), RATE_HZ)
    assert list(heard) == ["input", "gain"]
    assert {(wire.loudness_lufs, wire.peak_dbfs) for wire in heard.values()} == {(-math.inf, -math.inf)}


def test_no_take_is_refused() -> None:
    with pytest.raises(AudioError, match="holds no sound"):
        hear_wires(parse_sketch('chain = ["gain"]'), np.zeros((0, 1)), RATE_HZ)
