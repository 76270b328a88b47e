"""Buffers that are used again from node to node, so that memory does not grow with the graph."""

from __future__ import annotations

import threading

import numpy as np

from chainsim.units import Array, Audio


class Held:
    """A buffer and how many readers it still has."""

    __slots__ = ("array", "base", "left", "owned")

    def __init__(self, array: Audio, left: int, owned: bool, base: Held | None = None) -> None:
        self.array, self.left, self.owned, self.base = array, left, owned, base


class Pool:
    """Flat arrays to be used again; which one a node gets is never heard, since every frame is filled."""

    def __init__(self, chunk: int) -> None:
        self._chunk = chunk
        self._free: dict[int, list[Array]] = {}
        self._lock = threading.Lock()

    def take(self, rows: int, frames: int) -> Audio:
        """An array to fill."""
        with self._lock:
            free = self._free.setdefault(rows, [])
            flat = free.pop() if free else np.empty(rows * self._chunk)
        return flat[: rows * frames].reshape(rows, frames)

    def give(self, array: Audio) -> None:
        """Return an array that was taken."""
        flat = array.base
        assert flat is not None
        with self._lock:
            self._free[array.shape[0]].append(flat)
