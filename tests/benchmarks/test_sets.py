"""What a set costs beside its most expensive patch; printed for the reader, never a reason to fail."""

from __future__ import annotations

import time

import numpy as np
import pytest
import soundfile

from chainsim.graph.engine import Engine
from chainsim.graph.rendering import array_reader, build_graph
from chainsim.resources import preset_paths, set_take_paths
from chainsim.sketch.loading import load_sketch, parse_sketch
from chainsim.sketch.model import Sketch
from tests.benchmarks import bench
from tests.benchmarks.test_chain import horn_like

HALLS = """
chain = ["tone", "gate", "echo", "hall"]
[blocks.tone]
type = "equalizer"
bands = [{ shape = "bell", freq_hz = 400, gain_db = -3 }, { shape = "high_shelf", freq_hz = 6000, gain_db = -2 }]
[blocks.gate]
type = "noise_gate"
[blocks.echo]
type = "delay"
[blocks.hall]
type = "reverb"
decay_s = 1.5
"""


def seconds(sketch: Sketch, x: np.ndarray, rate_hz: float, repeats: int = 2) -> float:
    """Shortest time of the engine over a take on one core."""
    best = float("inf")
    for _ in range(repeats):
        engine = Engine(build_graph(sketch, rate_hz), array_reader(x), x.shape[1])
        engine.warm_up()
        begun = time.perf_counter()
        assert sum(y["out"].shape[1] for _, y in engine.stream()) == engine.frames
        best = min(best, time.perf_counter() - begun)
    return best


def twelve_patches(own_halls: bool) -> Sketch:
    """Forty cues through twelve patches that set the same blocks otherwise, or have a hall of their own each."""
    text = HALLS
    for k in range(12):
        text += f"[patches.p{k}.blocks.echo]\nfeedback_percent = {10 + 3 * k}\nwet_db = {-6 - k}\n"
        if own_halls:
            text += f"[patches.p{k}.blocks.hall]\nspace = '{('hall', 'room', 'plate', 'spring')[k % 4]}'\n"
            text += f"pre_delay_ms = {k}\n"
    text += "".join(f'[[cues]]\nat_s = {0.5 * i}\npatch = "p{(5 * i) % 12}"\n' for i in range(40))
    return parse_sketch(text)


@pytest.mark.bench
def test_the_cost_of_a_set(capsys: pytest.CaptureFixture[str]) -> None:
    """Target: less than twice the most expensive patch alone."""
    (take,) = set_take_paths().values()
    length_s = 20.0 if bench.THOROUGH else 2.0
    audio, rate_hz = soundfile.read(take, frames=round(length_s * 44_100))
    day = load_sketch(preset_paths()["harbour_day"])
    playing = horn_like(length_s + 1.0)
    sets = {
        f"harbour_day, the first {length_s:g} s of 16 patches and 32 cues": (day, audio[None], rate_hz),
        "12 patches of the same blocks, 40 cues": (twelve_patches(False), playing, 48_000.0),
        "12 patches with a hall each, left ringing every 0.5 s": (twelve_patches(True), playing, 48_000.0),
    }
    for name, (sketch, x, rate) in sets.items():
        whole = seconds(sketch, x, rate)
        alone = max(seconds(sketch.alone(patch), x, rate, 1) for patch in sketch.patches)
        with capsys.disabled():
            print(f"\n{name}: {whole:.2f} s, {whole / alone:.2f} x its most expensive patch")
