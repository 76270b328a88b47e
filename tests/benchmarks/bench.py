"""Compiles the plain C references and times a call: printed for the reader, never a reason to fail."""

from __future__ import annotations

import ctypes
import functools
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from chainsim.graph.engine import Engine
from chainsim.graph.rendering import array_reader, build_graph
from chainsim.sketch.loading import parse_sketch
from chainsim.units import Audio

THOROUGH = False
"""Whether figures are to be read, with `pytest -m bench`: without it a benchmark only shows that it runs and agrees."""
QUICK_REPEATS, QUICK_S = 2, 3.0

needs_cc = pytest.mark.skipif(shutil.which("cc") is None, reason="no C compiler")


@functools.cache
def compile_c(path: Path) -> ctypes.CDLL:
    """Shared library made of one C file."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / f"{path.stem}.so"
        subprocess.run(["cc", "-O3", "-march=native", "-shared", "-fPIC", str(path), "-o", str(out), "-lm"], check=True)
        return ctypes.CDLL(str(out))


def call_c(function: Callable[..., object], *arguments: np.ndarray | float | int) -> None:
    """Call a C function: arrays as pointers, whole numbers as int64_t, others as double."""
    passed: list[object] = []
    for value in arguments:
        if isinstance(value, np.ndarray):
            passed.append(ctypes.c_void_p(value.ctypes.data))
        elif isinstance(value, int):
            passed.append(ctypes.c_int64(value))
        else:
            passed.append(ctypes.c_double(value))
    function(*passed)


def best_ns(fn: Callable[[], object], samples: int, repeats: int = 20) -> float:
    """Shortest time of `repeats` calls, in nanoseconds a sample; the first call, which may compile, is not counted."""
    fn()
    best = float("inf")
    for _ in range(repeats if THOROUGH else QUICK_REPEATS):
        start = time.perf_counter()
        fn()
        best = min(best, time.perf_counter() - start)
    return best * 1e9 / samples


def best_speed(sketch: str, x: Audio, sample_rate_hz: float, repeats: int) -> float:
    """How many times faster than real time a sketch runs on one core at best; what comes out is no silence."""
    best = 0.0
    x = x if THOROUGH else np.ascontiguousarray(x[:, : round(QUICK_S * sample_rate_hz)])
    for _ in range(repeats if THOROUGH else 1):
        engine = Engine(build_graph(parse_sketch(sketch), sample_rate_hz), array_reader(x), x.shape[1])
        engine.warm_up()
        begun, peak, frames = time.perf_counter(), 0.0, 0
        for _, outputs in engine.stream():
            peak, frames = max(peak, float(np.abs(outputs["out"]).max(initial=0.0))), frames + outputs["out"].shape[1]
        best = max(best, frames / sample_rate_hz / (time.perf_counter() - begun))
        assert peak > 0.05
        assert frames == engine.frames
    return best
