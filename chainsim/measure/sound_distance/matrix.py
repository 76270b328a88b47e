"""Distances between many sounds: every pair of them, in threads, with bounded memory."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed

import numpy as np

from chainsim.kernel import kernel
from chainsim.measure.sound_distance.features import SoundFeatures
from chainsim.measure.sound_distance.layout import Layout, layout_of
from chainsim.measure.sound_distance.steps import step_of_block
from chainsim.units import Array, Counts

TILE_BYTES = 1 << 26
"""Of rows that are held at a time, twice."""
ROWS_AT_ONCE, NEAR = 16, 64
"""How many are compared with how many: a block of them, a quarter of a second each, takes some 400 kB."""

Progress = Callable[[int, int], None]
"""Told (pairs done, pairs in all)."""


@kernel
def tile_of_distances(
    rows: Array, others: Array, beyond: int, sections: Counts, limens: Array, sums: Array, total: Array
) -> None:
    """Raise total (rows, others) to the largest term for each pair; others[j] only from j > i + beyond for rows[i].

    Block by block, so that one of all rows stays in the cache while it is compared.
    """
    for near in range(0, others.shape[0], NEAR):
        for s in range(sections.shape[0]):
            start, frames, bands, blocks = sections[s, 0], sections[s, 1], sections[s, 2], sections[s, 3]
            last = start
            for k in range(blocks):
                first, last = last, start + (k + 1) * frames // blocks * bands
                for i in range(rows.shape[0]):
                    u = rows[i][first:last]
                    for j in range(max(near, i + beyond + 1), min(near + NEAR, others.shape[0])):
                        step = step_of_block(u, others[j][first:last], bands, sums) / limens[s]
                        total[i, j] = max(total[i, j], step)


def distance_matrix(sounds: Sequence[SoundFeatures], *, threads: int = 1, progress: Progress | None = None) -> Array:
    """Total distances between all sounds of one take, in steps.

    Parameters
    ----------
    sounds : sequence of SoundFeatures
        May load each when it is asked for: they are read in turn, some times each, and not held.
    threads : int
    progress : callable, optional

    Returns
    -------
    ndarray, shape (sounds, sounds)
        Symmetric, with zeros from corner to corner; the same bits for any number of threads.

    Raises
    ------
    AudioError
        If they are not all of one take.
    """
    n = len(sounds)
    distances = np.zeros((n, n))
    if n < 2:
        return distances
    layout = layout_of(sounds[0], max(sounds[k].channels for k in range(n)))
    tile = max(1, TILE_BYTES // (8 * layout.size))
    pairs_done = 0
    with ThreadPoolExecutor(max_workers=threads) as pool:
        for first in range(0, n, tile):
            rows = _rows(sounds, layout, first, min(first + tile, n))
            for other in range(first, n, tile):
                others = rows if other == first else _rows(sounds, layout, other, min(other + tile, n))
                jobs = {
                    pool.submit(_distances, layout, rows[k : k + ROWS_AT_ONCE], others, first + k - other): first + k
                    for k in range(0, len(rows), ROWS_AT_ONCE)
                }
                for job in as_completed(jobs):
                    found, at = job.result(), jobs[job]
                    distances[at : at + len(found), other : other + len(others)] = found
                    pairs_done += sum(min(len(others), other + len(others) - 1 - i) for i in range(at, at + len(found)))
                    if progress is not None:
                        progress(pairs_done, n * (n - 1) // 2)
    return distances + distances.T


def _rows(sounds: Sequence[SoundFeatures], layout: Layout, first: int, last: int) -> Array:
    rows = np.empty((last - first, layout.size))
    for k in range(first, last):
        rows[k - first] = layout.row(sounds[k])
    return rows


def _distances(layout: Layout, rows: Array, others: Array, beyond: int) -> Array:
    total = np.zeros((len(rows), len(others)))
    tile_of_distances(rows, others, beyond, layout.sections, layout.limens, layout.scratch(), total)
    return total
