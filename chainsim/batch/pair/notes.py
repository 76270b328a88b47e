"""What to know of a pair of recordings beside figures: swapped files, a dry sound that is off, no linear box."""

from __future__ import annotations

import numpy as np

from chainsim.batch.pair.report import is_an_echo
from chainsim.measure.pair.echoes import Echoes
from chainsim.measure.pair.figure import Figure
from chainsim.measure.pair.gating import PairGating
from chainsim.units import Array

EARLY_MS = 0.5
FRAME_S = 0.02
LOUD_PERCENTILE, QUIET_PERCENTILE = 90.0, 15.0
LEAST_ROOM_DB = 15.0
"""Quiet frames less far under loud ones are no rests."""
LEAST_SWAPPED_DB = 6.0


def latency_notes(latency_ms: Figure, echoes: Echoes) -> list[str]:
    """What an early wet recording or an absent dry sound may mean."""
    notes = []
    if latency_ms.high < -EARLY_MS:
        notes.append(
            f"the wet recording is {-latency_ms.value:.2f} ms earlier than the dry one: are the two swapped, or not "
            "cut at one moment?"
        )
    if is_an_echo(latency_ms, echoes):
        notes.append("the latency is one delay time: the dry sound is off, and what comes first is an echo")
    return notes


def swap_notes(names: tuple[str, str], louder_db: float, inverted: bool, gating: PairGating) -> list[str]:
    """Whether the files may be swapped: the inverse of a box with echoes takes these away again.

    Parameters
    ----------
    names : (str, str)
        Of the dry and the wet recording.
    louder_db : float
        As `rings_on_db` finds it.
    inverted : bool
        Whether the first echo is turned over against the direct sound.
    gating : PairGating
    """
    if not gating.threshold_db.found and louder_db >= LEAST_SWAPPED_DB:
        return [
            f"where {names[1]} rests, {names[0]} rings on {louder_db:.0f} dB louder: these may be swapped (or the box "
            "gates or reduces noise)"
        ]
    if inverted:
        return [
            "the first echo is turned over against the direct sound: the box does that, or the echo is in "
            f"{names[0]}, and these may be swapped"
        ]
    return []


def rings_on_db(dry: Array, wet: Array, sample_rate_hz: float) -> float:
    """How much louder the dry recording is where the wet one rests; 0 if the wet one rings on rather than it.

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
        Aligned; what both of them hold is compared, each relative to its own loud notes.
    sample_rate_hz : float
    """
    frames = min(dry.size, wet.size)
    a, b = (_levels_db(sound[:frames], sample_rate_hz) for sound in (dry, wet))
    louder_db = _louder_db(b, a)
    return louder_db if louder_db > _louder_db(a, b) + LEAST_SWAPPED_DB else 0.0


def linearity_notes(certain: bool, beside_db: float, nonlinear: bool) -> list[str]:
    """Whether the box is one that a response can describe."""
    if not certain:
        return [
            "no latency stands the same in all parts of the recordings: the box moves or distorts too much for it, so "
            "its response, echoes and tail mean little"
        ]
    if nonlinear:
        return [
            f"a fixed response leaves {beside_db:.0f} dB of the wet sound unexplained: the box moves or distorts (or "
            "there is much noise), and no linear response describes it"
        ]
    return []


def _levels_db(sound: Array, sample_rate_hz: float) -> Array:
    """Level of each frame, relative to the loud ones."""
    size = round(FRAME_S * sample_rate_hz)
    frames = sound[: sound.size // size * size].reshape(-1, size)
    levels_db: Array = 10.0 * np.log10(np.mean(np.square(frames), axis=1) + 1e-15)
    return levels_db - np.percentile(levels_db, LOUD_PERCENTILE)


def _louder_db(quiet: Array, other: Array) -> float:
    """How much louder one recording is where the other one is quiet."""
    rests = quiet <= np.percentile(quiet, QUIET_PERCENTILE)
    if np.median(quiet[rests]) > -LEAST_ROOM_DB:
        return 0.0
    return float(np.median(other[rests] - quiet[rests]))
