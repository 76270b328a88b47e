"""Runs one block by hand: whole or in cuts, with fixed or moving settings, without the graph around it."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.block import Assets, Block, Context, Io, Moving, block_type, seed_of
from chainsim.units import Array, Audio


def prepared(
    type_name: str,
    *,
    channels: Mapping[str, int] | int = 1,
    sample_rate_hz: float = 48_000.0,
    moving: Mapping[str, Array] | None = None,
    tempo_bpm: Iterable[float] = (120.0,),
    folder: Path | None = None,
    **settings: Any,
) -> Block[Any]:
    """Make and prepare a block; `moving` gives rows in the user's units that replace fixed values.

    `folder` holds the files it may read.
    """
    cls = block_type(type_name)
    chosen = cls.settings_type(**settings)
    ports = dict.fromkeys(cls.audio_inputs, channels) if isinstance(channels, int) else dict(channels)
    ports.setdefault("detector", ports[cls.audio_inputs[0]])
    block = cls(chosen)
    values = {n: (getattr(chosen, n),) * 2 for n, s in cls.settings_type.specs().items() if s.movable}
    for name, row in (moving or {}).items():
        values[name] = (float(np.min(row)), float(np.max(row)))
    tempi = list(tempo_bpm)
    block.prepare(
        Context(
            sample_rate_hz=sample_rate_hz,
            channels=ports,
            out_channels=cls.output_channels(chosen, ports),
            extremes=values,
            tempo_bpm=(min(tempi), max(tempi)),
            seed=seed_of(type_name, "test", chosen),
            assets=Assets(folder),
        )
    )
    block.test_ports = ports  # type: ignore[attr-defined]
    block.test_rate_hz = sample_rate_hz  # type: ignore[attr-defined]
    return block


def run(
    block: Block[Any],
    x: Audio | Mapping[str, Audio],
    *,
    detector: Audio | None = None,
    moving: Mapping[str, Array] | None = None,
    tempo_bpm: float | Array = 120.0,
    cuts: Sequence[int] = (),
    readings: bool = False,
) -> Audio | tuple[Audio, Array]:
    """Send x (channels, frames), or one array a port, through the block in spans that end at `cuts`."""
    cls = type(block)
    inputs = dict(x) if isinstance(x, Mapping) else dict.fromkeys(cls.audio_inputs, x)
    first = inputs[cls.audio_inputs[0]]
    inputs["detector"] = first if detector is None else detector
    frames = first.shape[1]
    rows: dict[str, Array] = {}
    for name, spec in cls.settings_type.specs().items():
        if spec.movable:
            values = (moving or {}).get(name, np.full(frames, float(getattr(block.settings, name))))
            rows[name] = np.array([spec.row_value(float(v)) for v in values])
    control = {}
    if "tempo" in cls.control_inputs:
        bpm = np.broadcast_to(np.asarray(tempo_bpm, dtype=np.float64), (frames,))
        rate_hz = block.test_rate_hz  # type: ignore[attr-defined]
        control["tempo"] = np.stack([bpm, np.concatenate([[0.0], np.cumsum(bpm / (60.0 * rate_hz))[:-1]])])
    out_channels = cls.output_channels(block.settings, block.test_ports)  # type: ignore[attr-defined]
    y, told = np.full((out_channels, frames), np.nan), np.full((len(cls.readings), frames), np.nan)
    edges = [0, *cuts, frames]
    for a, b in itertools.pairwise(edges):
        part = Io(
            n0=a,
            frames=b - a,
            inputs={k: np.ascontiguousarray(v[:, a:b]) for k, v in inputs.items()},
            control={k: np.ascontiguousarray(v[:, a:b]) for k, v in control.items()},
            moving=Moving({k: np.ascontiguousarray(v[a:b]) for k, v in rows.items()}),
            y=np.full((out_channels, b - a), np.nan),
            readings=np.full((len(cls.readings), b - a), np.nan),
        )
        block.process(part)
        y[:, a:b], told[:, a:b] = part.y, part.readings
    return (y, told) if readings else y
