"""What sharing saves: orders of some blocks in one graph against single renders, and the blocks' own costs."""

from __future__ import annotations

import itertools
import json
import math
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim.batch.execution.executing import run_tasks
from chainsim.batch.sounds.together import Sound, Task, render_together
from chainsim.batch.sounds.union import Union
from chainsim.graph.build import Graph
from chainsim.graph.engine import Engine
from chainsim.graph.rendering import array_reader, build_graph
from chainsim.sketch.chain import BlockStep
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch
from chainsim.units import Audio
from tests.benchmarks import bench

RATE_HZ = 48_000.0
QUICK_TAKE_S = 0.2


def like_blocks(count: int) -> Sketch:
    """Equalizers of four bands each, so that all blocks cost alike."""
    names = [f"tone_{i}" for i in range(count)]
    text = f"chain = {names}\n"
    for i, name in enumerate(names):
        bands = ", ".join(f'{{ shape = "bell", freq_hz = {300 * 2**k}, gain_db = {i + 1} }}' for k in range(4))
        text += f'[blocks.{name}]\ntype = "equalizer"\nbands = [{bands}]\n'
    return parse_sketch(text)


def in_order(sketch: Sketch, names: tuple[str, ...]) -> Sketch:
    return replace(sketch, base=replace(sketch.base, chain=tuple(BlockStep(name) for name in names)))


def run_s(graph: Graph, x: Audio) -> float:
    engine = Engine(graph, array_reader(x), x.shape[1])
    engine.warm_up()
    begun = time.perf_counter()
    for _ in engine.stream():
        pass
    return time.perf_counter() - begun


@pytest.mark.bench
@pytest.mark.parametrize(("count", "target"), [(5, 0.68), (6, 0.58)])
def test_what_sharing_saves(count: int, target: float, capsys: pytest.CaptureFixture[str]) -> None:
    """Targets: at most 68 % and 58 % of single renders, and 1.10 x what the blocks' own costs predict."""
    count = count if bench.THOROUGH else count - 2
    x = 0.1 * np.random.default_rng(3).standard_normal((1, round(RATE_HZ * (10.0 if bench.THOROUGH else QUICK_TAKE_S))))
    sketch = like_blocks(count)
    orders = list(itertools.permutations(sketch.block_order))
    alone_s = {
        name: min(run_s(build_graph(in_order(sketch, (name,)), RATE_HZ), x) for _ in range(3))
        for name in sketch.block_order
    }
    single_s, union_s, predicted_s, runs = 0.0, 0.0, 0.0, 0
    for first in sketch.block_order:  # a beginning at a time: memory stays bounded, and nothing runs twice for it
        part = {" ".join(order): in_order(sketch, order) for order in orders if order[0] == first}
        union = Union(RATE_HZ, 1, part)
        assert union.graph is not None
        union_s += run_s(union.graph, x)
        predicted_s += sum(alone_s[node.name] for node in union.graph.nodes if node.kind == "block")
        runs += union.block_runs
        single_s += sum(run_s(build_graph(each, RATE_HZ), x) for each in part.values())
    assert runs == sum(math.perm(count, k) for k in range(1, count + 1))
    ideal = runs / (count * len(orders))
    with capsys.disabled():
        print(
            f"\n{len(orders)} orders of {count} blocks: {runs} block runs, {100 * union_s / single_s:.0f} % of the"
            f" time of single renders (ideal {100 * ideal:.0f} %, target {100 * target:.0f} %),"
            f" {union_s / predicted_s:.2f} x what the blocks' own costs predict (target 1.10)"
        )


FIVE = """
chain = ["torn", "sweep", "tone", "thick", "echo"]
blocks.torn.type = "drive"
blocks.sweep.type = "envelope_filter"
blocks.tone = { type = "equalizer", bands = [{ shape = "bell", freq_hz = 800, gain_db = 6 }] }
blocks.thick.type = "chorus"
blocks.echo.type = "delay"
"""


def noise_take(path: Path, seconds: float) -> Path:
    x = 0.1 * np.random.default_rng(3).standard_normal(round(RATE_HZ * seconds))
    soundfile.write(path, x, round(RATE_HZ), subtype="FLOAT")
    return path


@pytest.mark.bench
def test_two_cores(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Target: two threads are at least 1.7 x as fast as one, rendering, metering and comparing included."""
    sketch = parse_sketch(FIVE)
    take = noise_take(tmp_path / "take.wav", 10.0 if bench.THOROUGH else QUICK_TAKE_S)
    orders = list(itertools.permutations(sketch.block_order))[:: 1 if bench.THOROUGH else 12]
    spent_s: dict[int, float] = {}
    for threads in (2, 1, 2, 1):
        folder = tmp_path / f"{threads}-{len(spent_s)}-{time.monotonic_ns()}"
        parts = [[o for o in orders if o[0] == first] for first in sketch.block_order]
        tasks = [
            Task(take, tuple(Sound("-".join(o), in_order(sketch, o)) for o in part), folder, compare=True)
            for part in parts
        ]
        begun = time.perf_counter()
        results = list(run_tasks(tasks, render_together, threads=threads))
        spent_s[threads] = min(spent_s.get(threads, math.inf), time.perf_counter() - begun)
        assert all(done.error is None for result in results for done in result.done)
    with capsys.disabled():
        print(f"\n{len(orders)} orders on two threads: {spent_s[1] / spent_s[2]:.2f} x one thread (target 1.7)")


MEMORY = """
import re, resource, sys
from pathlib import Path
import chainsim
found = chainsim.compare_orders(chainsim.parse_sketch(sys.stdin.read()), [sys.argv[1]], most_groups=5)
status = Path("/proc/self/status")  # getrusage counts what the parent held when it started this process, too
kilobytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
if status.exists():
    kilobytes = int(re.search(r"VmHWM:\\s+(\\d+)", status.read_text())[1])
print(f"[{len(found.orders)}, {found.block_runs}, {kilobytes / 1024}]")
"""


@pytest.mark.bench
@pytest.mark.skipif(sys.platform == "win32", reason="no resource module on Windows")
def test_memory_is_bounded(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Target: 720 orders of six blocks over 10 s, compared and grouped, under 2 GB."""
    text = FIVE.replace('"echo"]', '"echo", "hall"]') + 'blocks.hall.type = "reverb"\norders.last = []\n'
    moved = '["torn", "sweep", "tone", "thick", "echo", "hall"]' if bench.THOROUGH else '["torn", "tone", "hall"]'
    text += f"orders.move = {moved}\n"
    take = noise_take(tmp_path / "take.wav", 10.0 if bench.THOROUGH else QUICK_TAKE_S)
    begun = time.perf_counter()
    code = [sys.executable, "-c", MEMORY, str(take)]
    said = subprocess.run(code, input=text, capture_output=True, text=True, check=True).stdout
    orders, runs, peak_mb = json.loads(said)
    assert (orders, runs) == ((720, 1956) if bench.THOROUGH else (6, 3 + 3 + 6 + 6 + 6 + 6))
    with capsys.disabled():
        print(f"\n{orders} orders: peak memory {peak_mb:.0f} MB (target 2048), {time.perf_counter() - begun:.0f} s")
    assert peak_mb < 2048.0
