"""Every kernel once with array bounds checked.

In a process and a cache folder of its own, since a kernel from the cache ignores the switch.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np

RATE_HZ = 8_000.0


def test_no_kernel_reads_or_writes_outside_its_arrays(tmp_path: Path) -> None:
    # Least optimisation: what is checked is the same, and it compiles in half the time.
    switches = {"NUMBA_BOUNDSCHECK": "1", "NUMBA_OPT": "0", "CHAINSIM_CACHE": str(tmp_path)}
    run = subprocess.run(
        [sys.executable, "-m", "tests.test_bounds"],
        env={**os.environ, **switches},
        cwd=Path(__file__).parent.parent,
        capture_output=True,
        text=True,
    )
    assert run.returncode == 0, run.stderr
    assert run.stdout.split()[:1] == ["checked"]


def checks_are_on() -> bool:
    """Whether a kernel that reads past the end of its array is caught."""
    from chainsim.kernel import Kernel

    try:
        Kernel(_beyond)(np.zeros(3))
    except IndexError:
        return True
    return False


def _beyond(x):  # type: ignore[no-untyped-def]
    """Read one past the end."""
    return x[x.shape[0]]


def main() -> None:
    """Render the thin slice, a chain of all blocks, and every block and controller with everything moving."""
    from chainsim.block import block_type, block_type_names
    from chainsim.graph.rendering import build_graph, render_graph
    from chainsim.sketch.loading import parse_sketch
    from tests.contract.subjects import NEEDED, SUBJECTS, Subject, asset_folder
    from tests.graph import test_thin_slice

    assert checks_are_on()
    x = test_thin_slice.take(2_600, 2)
    for text in (test_thin_slice.PLAIN, test_thin_slice.SET):
        render_graph(build_graph(parse_sketch(text), RATE_HZ, 2), x, chunk=509)
    names = [n for n in block_type_names() if len(block_type(n).audio_inputs) == 1]
    tables = "".join(f'[blocks.{n}]\ntype = "{n}"\n{NEEDED.get(n, "")}' for n in names)
    sketch = parse_sketch(f'key = "C major"\nchain = {names}\n{tables}', folder=asset_folder())
    render_graph(build_graph(sketch, RATE_HZ, 2), x, chunk=509)
    for name in SUBJECTS:
        subject = Subject(name, sample_rate_hz=RATE_HZ, channels=2, moves=True)
        subject.run(subject.feed("bounds", frames=4_000), [0, 1, 8, 509])
    bring_to_another_rate()
    print("checked", *SUBJECTS)


def bring_to_another_rate() -> None:
    """Read of a sound exactly what `needed` says, at the first, a middle and the last place between two samples."""
    from chainsim.house.resampling import interpolate, interpolation_table, needed

    for from_hz, to_hz in ((44_100, 48_000), (48_000, 44_100), (8_000, 192_000), (192_000, 8_000)):
        table = interpolation_table(from_hz, to_hz)
        for n0, frames in ((0, 1), (0, 700), (to_hz - 1, 2), (123_457, 509)):
            first, count = needed(n0, frames, from_hz, to_hz, table)
            interpolate(np.ones((2, count)), first, n0, from_hz, to_hz, table, np.empty((2, frames)))


if __name__ == "__main__":
    main()
