"""What sharing saves: orders of some blocks in one graph against single renders, and the blocks' own costs."""

from __future__ import annotations

import itertools
import math
import time
from dataclasses import replace

import numpy as np
import pytest

from chainsim.batch.union import Union
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
