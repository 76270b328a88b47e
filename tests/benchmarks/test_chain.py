"""How fast, how large: whole chains, the command, and memory. Figures are printed; only memory and sameness decide."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from tests.benchmarks.bench import best_speed

CHAIN = """
tempo_bpm = 120
chain = ["tone", { blender = "mix", wet = ["sweep"] }, "gate", "echo", "hall"]
[blocks.tone]
type = "equalizer"
bands = [{ shape = "high_pass", freq_hz = 80 }, { shape = "bell", freq_hz = 400, gain_db = -3 },
         { shape = "bell", freq_hz = 2500, gain_db = 2 }, { shape = "high_shelf", freq_hz = 6000, gain_db = -2 }]
[blocks.sweep]
type = "envelope_filter"
[blocks.mix]
type = "blender"
[blocks.gate]
type = "noise_gate"
[blocks.echo]
type = "delay"
note = "1/8 dotted"
stereo = "crossed"
[blocks.hall]
type = "reverb"
"""


def horn_like(seconds: float, rate_hz: float = 48_000.0) -> np.ndarray:
    """Notes of four a second with rests, some breath noise."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    tone = sum(np.sin(2 * np.pi * 220 * k * t) / k for k in range(1, 9))
    envelope = np.clip(np.sin(2 * np.pi * 4 * t), 0.0, 1.0)
    return np.ascontiguousarray(
        (0.15 * envelope * tone + 1e-3 * np.random.default_rng(1).standard_normal(t.size))[None]
    )


@pytest.mark.bench
def test_speed_of_the_whole_chain(capsys: pytest.CaptureFixture[str]) -> None:
    """Target on one core: 120 x real time, kernels and engine."""
    best = best_speed(CHAIN, horn_like(20.0), 48_000.0, 3)
    with capsys.disabled():
        print(f"\nequalizer, filter under blender, gate, delay, reverb: {best:.0f} x real time on one core")


MEMORY = """
import re, resource, sys
from pathlib import Path
import numpy as np
from chainsim.graph.engine import Engine
from chainsim.graph.rendering import build_graph
from chainsim.sketch.loading import parse_sketch
text, seconds = sys.stdin.read(), float(sys.argv[1])
tone = 0.1 * np.sin(np.arange(48_000) * 0.05)[None]
def read(n0, frames):
    return np.ascontiguousarray(np.take(tone, np.arange(n0, n0 + frames) % 48_000, axis=1))
engine = Engine(build_graph(parse_sketch(text), 48_000.0), read, round(seconds * 48_000))
for _ in engine.stream():
    pass
status = Path("/proc/self/status")  # getrusage counts what the parent held when it started this process, too
kilobytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
if status.exists():
    kilobytes = int(re.search(r"VmHWM:\\s+(\\d+)", status.read_text())[1])
print(kilobytes / 1024)
"""


@pytest.mark.bench
@pytest.mark.skipif(sys.platform == "win32", reason="no resource module on Windows")
def test_memory_does_not_grow_with_length(capsys: pytest.CaptureFixture[str]) -> None:
    """Target: under 400 MB for an hour; the engine holds one span, whatever the length."""

    def peak_mb(seconds: int) -> float:
        code = [sys.executable, "-c", MEMORY, str(seconds)]
        return float(subprocess.run(code, input=CHAIN, capture_output=True, text=True, check=True).stdout)

    peak_mb(1)  # what has to be compiled is compiled here: a compiler needs more memory than an engine
    short, long = peak_mb(20), peak_mb(300)
    with capsys.disabled():
        print(f"\npeak memory: {short:.0f} MB for 20 s, {long:.0f} MB for 300 s")
    assert long < short + 20.0
    assert long < 400.0
