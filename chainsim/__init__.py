"""chainsim: a dry horn through a declared chain of effects, rendered and measured offline.

>>> import chainsim
>>> sketch = chainsim.load_sketch("waltz.toml")  # doctest: +SKIP
>>> rendering = chainsim.render(sketch, take, sample_rate_hz=48_000)  # doctest: +SKIP
>>> notes = chainsim.track("solo.wav", instrument="alto sax").played.notes  # doctest: +SKIP
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from chainsim.batch.chain.chain_measuring import ChainReport, measure_chain
    from chainsim.batch.checking import CheckReport, check_sketch
    from chainsim.batch.files.file_report import FileReport
    from chainsim.batch.files.render_file import render_file
    from chainsim.batch.listening.comparing import compare_sounds, write_page
    from chainsim.batch.matrix.batch_report import Batch
    from chainsim.batch.matrix.batching import run_batch
    from chainsim.batch.measuring import FileFigures, measure_file
    from chainsim.batch.orders.comparing import compare_orders
    from chainsim.batch.orders.report import Orders
    from chainsim.batch.pair.measuring import measure_pair
    from chainsim.batch.pair.report import PairReport
    from chainsim.batch.tracking import track
    from chainsim.errors import AudioError, ChainsimError, GraphError, SettingError, SketchError, StoreError
    from chainsim.graph.rendering import Rendering, render
    from chainsim.listen.page.model import ListeningPage
    from chainsim.listen.sheets.stage_sheet.sheet import StageSheet, stage_sheet
    from chainsim.measure.harmony import HarmonyError, harmony_error
    from chainsim.measure.sound_distance.measuring import measure_distance
    from chainsim.measure.sound_distance.steps import SoundDistance
    from chainsim.notes.track import Track
    from chainsim.sketch.loading import load_sketch, parse_sketch
    from chainsim.sketch.model import Sketch
    from chainsim.sketch.ordering import OrderRules

_PUBLIC = {
    "load_sketch": "chainsim.sketch.loading",
    "parse_sketch": "chainsim.sketch.loading",
    "Sketch": "chainsim.sketch.model",
    "render": "chainsim.graph.rendering",
    "Rendering": "chainsim.graph.rendering",
    "render_file": "chainsim.batch.files.render_file",
    "FileReport": "chainsim.batch.files.file_report",
    "measure_file": "chainsim.batch.measuring",
    "FileFigures": "chainsim.batch.measuring",
    "measure_chain": "chainsim.batch.chain.chain_measuring",
    "ChainReport": "chainsim.batch.chain.chain_measuring",
    "measure_pair": "chainsim.batch.pair.measuring",
    "PairReport": "chainsim.batch.pair.report",
    "compare_orders": "chainsim.batch.orders.comparing",
    "Orders": "chainsim.batch.orders.report",
    "OrderRules": "chainsim.sketch.ordering",
    "run_batch": "chainsim.batch.matrix.batching",
    "Batch": "chainsim.batch.matrix.batch_report",
    "compare_sounds": "chainsim.batch.listening.comparing",
    "write_page": "chainsim.batch.listening.comparing",
    "ListeningPage": "chainsim.listen.page.model",
    "measure_distance": "chainsim.measure.sound_distance.measuring",
    "SoundDistance": "chainsim.measure.sound_distance.steps",
    "check_sketch": "chainsim.batch.checking",
    "CheckReport": "chainsim.batch.checking",
    "stage_sheet": "chainsim.listen.sheets.stage_sheet.sheet",
    "StageSheet": "chainsim.listen.sheets.stage_sheet.sheet",
    "track": "chainsim.batch.tracking",
    "Track": "chainsim.notes.track",
    "harmony_error": "chainsim.measure.harmony",
    "HarmonyError": "chainsim.measure.harmony",
    "ChainsimError": "chainsim.errors",
    "SettingError": "chainsim.errors",
    "SketchError": "chainsim.errors",
    "GraphError": "chainsim.errors",
    "AudioError": "chainsim.errors",
    "StoreError": "chainsim.errors",
}

__all__ = [
    "AudioError",
    "Batch",
    "ChainReport",
    "ChainsimError",
    "CheckReport",
    "FileFigures",
    "FileReport",
    "GraphError",
    "HarmonyError",
    "ListeningPage",
    "OrderRules",
    "Orders",
    "PairReport",
    "Rendering",
    "SettingError",
    "Sketch",
    "SketchError",
    "SoundDistance",
    "StageSheet",
    "StoreError",
    "Track",
    "check_sketch",
    "compare_orders",
    "compare_sounds",
    "harmony_error",
    "load_sketch",
    "measure_chain",
    "measure_distance",
    "measure_file",
    "measure_pair",
    "parse_sketch",
    "render",
    "render_file",
    "run_batch",
    "stage_sheet",
    "track",
    "write_page",
]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(importlib.import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'chainsim' has no attribute {name!r}")
