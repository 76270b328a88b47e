"""Whether the delay between two recordings moves: sways, as a vibrato's, or runs away, as two clocks do."""

from __future__ import annotations

import numpy as np

from chainsim.batch.pair.recordings import Pair
from chainsim.measure.pair.correlations import Correlations, Run, even_run
from chainsim.measure.pair.deconvolution import EARLIEST_S, Deconvolution
from chainsim.measure.pair.modulation import Sway, measure_vibrato

LEAST_SWAY = 0.35
LEAST_BETTER = 1.1
LAGS_TRIED = 5
LAGS_SEARCHED = 3
LEAST_ALIKE = 0.4
"""How far the frames must correlate at their best delays; those of other takes do so to 0.3."""
APART_S = 0.004


def find_movement(pair: Pair, found: Deconvolution) -> tuple[Sway | None, Run | None]:
    """A delay that sways, or one that runs away evenly, where that explains the wet sound better than one at rest."""
    about = [Correlations.of(pair.dry, pair.wet, pair.sample_rate_hz, lag) for lag in _lags(found)]
    alike = [c for c in about if c is not None and c.best_share >= LEAST_ALIKE]
    likely = sorted(alike, key=lambda c: -c.best_share)[:LAGS_SEARCHED]
    if not likely:
        return None, None
    sways = [sway for sway in map(measure_vibrato, likely) if sway is not None]
    sway = max(sways, key=lambda sway: sway.explained, default=None)
    seen, run = max(((c, even_run(c)) for c in likely), key=lambda pair: pair[1].total / pair[0].most)
    if sway is not None and sway.explained >= LEAST_SWAY and sway.explained > LEAST_BETTER * run.total / seen.most:
        return sway, None
    at_rest = float(np.max(np.sum(seen.values, axis=0)))
    return None, run if run.total > LEAST_BETTER * at_rest else None


def _lags(found: Deconvolution) -> list[int]:
    """Where the sway may have its middle: about no latency, and about the largest peaks of the response."""
    lags = [0]
    response = np.abs(found.response)
    size = response.size
    apart = round(APART_S * found.sample_rate_hz)
    reach = min(round(EARLIEST_S * found.sample_rate_hz), size // 2 - 1)
    near = response[np.arange(-reach, reach) % size].copy()
    for _ in range(LAGS_TRIED):
        at = int(np.argmax(near))
        near[max(at - apart, 0) : at + apart] = 0.0
        if all(abs(at - reach - lag) > apart for lag in lags):
            lags.append(at - reach)
    return lags
