"""The first run: the block that takes longest to compile is compiled by a second process, which halves the wait."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterable
from contextlib import suppress

from chainsim.errors import ChainsimError
from chainsim.kernel import begin_cache
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import Sketch

SLOWEST = "reverb"


def compile_ahead(sketches: Iterable[Sketch]) -> None:
    """Load the kernels of these sketches; on a first run compile them, on two cores where there are two."""
    states = [state for s in sketches for state in (s.base, *(p.state for p in s.patches.values()))]
    used = {state.blocks[name].type_name for state in states for name in block_names(state.chain)}
    if begin_cache() and SLOWEST in used and (os.cpu_count() or 1) > 1:
        with subprocess.Popen([sys.executable, "-m", __name__, SLOWEST], stderr=subprocess.DEVNULL):
            compile_blocks(sorted(used - {SLOWEST}))
    compile_blocks(sorted(used))


def compile_blocks(type_names: Iterable[str]) -> None:
    """Compile the kernels of some block types, through a small graph each.

    A block that cannot be built as it comes, such as one that wants a file, is compiled when it is first needed.
    """
    import numpy as np

    from chainsim.graph.engine import Engine
    from chainsim.graph.rendering import array_reader, build_graph
    from chainsim.sketch.loading import parse_sketch

    for name in type_names:
        wet = json.dumps(name) if name != "blender" else ""
        with suppress(ChainsimError):
            sketch = parse_sketch(f'key = "C major"\nchain = [{{ blender = "blender", wet = [{wet}] }}]')
            Engine(build_graph(sketch, 48_000.0), array_reader(np.zeros((1, 0))), 0).warm_up()


if __name__ == "__main__":
    compile_blocks(sys.argv[1:])
