"""How far the sounds of orders are apart: what the store keeps of them, compared two by two, over all takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import overload

import numpy as np

from chainsim.batch.execution.executing import Progress
from chainsim.batch.orders.grouping import identical_orders
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.together import NULL
from chainsim.errors import StoreError
from chainsim.measure.null import residual_matrix
from chainsim.measure.sound_distance.features import SoundFeatures
from chainsim.measure.sound_distance.matrix import distance_matrix
from chainsim.units import Array


class StoredFeatures(Sequence[SoundFeatures]):
    """Features of sounds, read when they are needed: those of all at once would fill the memory."""

    def __init__(self, store: ResultStore, keys: Sequence[str]) -> None:
        self._store, self._keys = store, keys

    def __len__(self) -> int:
        return len(self._keys)

    @overload
    def __getitem__(self, index: int) -> SoundFeatures: ...
    @overload
    def __getitem__(self, index: slice) -> StoredFeatures: ...
    def __getitem__(self, index: int | slice) -> SoundFeatures | StoredFeatures:
        if isinstance(index, slice):
            return StoredFeatures(self._store, self._keys[index])
        arrays = dict(self._store.arrays(self._keys[index]))
        with _read_from(self._store):
            del arrays[NULL]
            return SoundFeatures.from_arrays(arrays)


def residuals_over(store: ResultStore, keys_by_take: Sequence[Sequence[str]]) -> Array:
    """What is left of each two orders when one is taken from the other, in dB: on the take where it is most.

    Parameters
    ----------
    store : ResultStore
    keys_by_take : sequence of sequences of str
        For each take the keys of all orders.
    """
    with _read_from(store):
        matrices = [residual_matrix(np.stack([store.arrays(key)[NULL] for key in keys])) for keys in keys_by_take]
    worst: Array = np.max(matrices, axis=0)
    return worst


def distances_over(
    store: ResultStore,
    keys_by_take: Sequence[Sequence[str]],
    residuals_db: Array,
    threads: int,
    progress: Progress | None = None,
) -> Array:
    """Distance between each two orders in steps, on the take where they differ most; identical ones are not compared.

    Parameters
    ----------
    store, keys_by_take
        As for `residuals_over`.
    residuals_db : ndarray, shape (orders, orders)
    threads : int
    progress : callable, optional
    """
    identical = identical_orders(residuals_db)
    class_of = {order: k for k, one in enumerate(identical) for order in one.members}
    each = np.array([class_of[order] for order in range(len(residuals_db))])
    largest = np.zeros((len(identical), len(identical)))
    for keys in keys_by_take:
        features = StoredFeatures(store, [keys[one.members[0]] for one in identical])
        np.maximum(largest, distance_matrix(features, threads=threads, progress=progress), out=largest)
    whole: Array = largest[np.ix_(each, each)]
    return whole


@contextmanager
def _read_from(store: ResultStore) -> Iterator[None]:
    """Say of what can be read, and is nothing to compare, where it was kept."""
    try:
        yield
    except (KeyError, ValueError) as error:
        raise StoreError(f"{store.folder / 'store'}: holds what is no sound to compare: {error}") from error
