"""Distances are computed of what the store keeps, and of nothing else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chainsim.batch.orders.likeness import distances_over, residuals_over
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.together import NULL
from chainsim.errors import StoreError
from chainsim.measure.null import NullMeter
from chainsim.measure.sound_distance.meter import SoundMeter
from tests.batch.results.figures import FIGURES

Arrays = dict[str, np.ndarray[Any, Any]]


def kept(seed: int) -> Arrays:
    """What is kept of a quarter of a second of noise."""
    y = 0.1 * np.random.default_rng(seed).standard_normal((1, 12_000))
    features, null = SoundMeter(48_000.0, 1, 12_000, 0), NullMeter(0)
    features.add(y)
    null.add(y)
    return {**features.result(-23.0).to_arrays(), NULL: null.result()}


def test_what_was_kept_is_compared(tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    for key, seed in (("a", 1), ("b", 2), ("c", 1)):
        store.keep(key, FIGURES, arrays=kept(seed))
    residuals_db = residuals_over(store, ["abc"])
    distances = distances_over(store, ["abc"], residuals_db, 1)
    assert distances[0, 2] == 0.0  # the same samples
    assert distances[0, 1] > 0.0


@pytest.mark.parametrize(
    "change",
    [
        lambda arrays: {NULL: arrays[NULL]},
        lambda arrays: {name: values for name, values in arrays.items() if name != NULL},
        lambda arrays: {**arrays, NULL: arrays[NULL][:-1]},
        lambda arrays: {name: np.full(values.shape, np.nan) for name, values in arrays.items()},
    ],
)
def test_what_is_no_sound_is_told_in_one_line(change: Callable[[Arrays], Arrays], tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    for key, arrays in (("a", kept(1)), ("b", change(kept(2)))):
        store.keep(key, FIGURES, arrays=arrays)
    with pytest.raises(StoreError, match="holds what is no sound to compare") as raised:
        distances_over(store, ["ab"], residuals_over(store, ["ab"]), 1)
    assert "\n" not in str(raised.value)
