"""Compiling ahead: every block type can be asked for, also one that cannot be built without a file."""

from __future__ import annotations

from chainsim.batch.compiling import compile_ahead
from chainsim.resources import preset_paths
from chainsim.sketch.loading import load_sketch


def test_presets_with_files_are_compiled_ahead_too() -> None:
    compile_ahead([load_sketch(preset_paths()["boathouse"])])
