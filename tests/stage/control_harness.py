"""Runs one control block by hand: prepared for a rate, in spans that end at given cuts."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.block import Assets, Block, Context, Io, Moving
from chainsim.units import Array

RATE_HZ = 48_000.0


def prepared(
    cls: type[Block[Any]],
    *,
    rate_hz: float = RATE_HZ,
    a4_hz: float = 440.0,
    folder: Path | None = None,
    **settings: Any,
) -> Block[Any]:
    """Make and prepare a block."""
    block = cls(cls.settings_type(**settings))
    block.prepare(
        Context(sample_rate_hz=rate_hz, channels={}, out_channels=len(cls.rows), a4_hz=a4_hz, assets=Assets(folder))
    )
    return block


def run(
    block: Block[Any], frames: int, control: Mapping[str, Array] | None = None, cuts: Sequence[int] = (), n0: int = 0
) -> Array:
    """Rows from sample n0 on."""
    parts = []
    for a, b in itertools.pairwise([0, *cuts, frames]):
        io = Io(
            n0=n0 + a,
            frames=b - a,
            inputs={},
            control={k: np.ascontiguousarray(v[:, a:b]) for k, v in (control or {}).items()},
            moving=Moving({}),
            y=np.full((len(block.rows), b - a), np.nan),
            readings=np.zeros((0, b - a)),
        )
        block.process(io)
        parts.append(io.y)
    return np.concatenate(parts, axis=1)
