"""A chain with the noise of its devices sounding in it: behind every block whose noise is stated, and at the input."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from chainsim.block import block_type
from chainsim.errors import SketchError
from chainsim.measure.electrical import SINE_CREST_DB
from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, LanesStep, Step
from chainsim.sketch.model import BlockEntry, State

INPUT_NOISE = "noise of the take"
INAUDIBLE_DBFS = -160.0


def before(name: str) -> str:
    """Name of the point at a block's input."""
    return f"before {name}"


def behind(name: str) -> str:
    """Name of the point at a block's output, its noise included."""
    return f"behind {name}"


def noise_levels(state: State, take_noise_dbfs: float, full_scale_dbu: float) -> dict[str, float]:
    """Noise, rms in dBFS, by the point where it comes in.

    Raises
    ------
    SketchError
        If a device's noise is stated as more than full scale.
    """
    found = {INPUT_NOISE: take_noise_dbfs} if math.isfinite(take_noise_dbfs) else {}
    for name in state.engaged:
        noise_dbu = state.blocks[name].common.noise_dbu
        if noise_dbu is not None:
            found[behind(name)] = noise_dbu - full_scale_dbu - SINE_CREST_DB
            if found[behind(name)] > 0.0:
                raise SketchError(
                    f"blocks.{name}.noise_dbu = {noise_dbu:g} dBu is more than full scale holds: {full_scale_dbu:g} dBu"
                )
    return {point: level_dbfs for point, level_dbfs in found.items() if level_dbfs >= INAUDIBLE_DBFS}


def with_noise(state: State, levels_dbfs: Mapping[str, float], sounding: bool) -> State:
    """The state with a point before and behind every block that has noise, which sounds or is off."""
    points: dict[str, BlockEntry] = {}

    def noise(name: str, level_dbfs: float) -> BlockStep:
        settings = block_type("noise").settings_type.model_validate({"level_db": level_dbfs if sounding else "off"})
        points[name] = BlockEntry(name, "noise", settings)
        return BlockStep(name)

    def series(chain: Chain) -> Iterator[Step]:
        for step in chain:
            if isinstance(step, LanesStep):
                yield replace(step, lanes=tuple(replace(v, chain=tuple(series(v.chain))) for v in step.lanes))
                continue
            level_dbfs = levels_dbfs.get(behind(step.name))
            if isinstance(step, BlenderStep):
                yield replace(step, wet=tuple(series(step.wet)))
            elif level_dbfs is None:
                yield step
            else:
                points[before(step.name)] = BlockEntry(before(step.name), "gain", block_type("gain").settings_type())
                yield from (BlockStep(before(step.name)), step)
            if level_dbfs is not None:
                yield noise(behind(step.name), level_dbfs)

    chain = tuple(series(state.chain))
    if INPUT_NOISE in levels_dbfs:
        chain = (noise(INPUT_NOISE, levels_dbfs[INPUT_NOISE]), *chain)
    return replace(state, chain=chain, blocks={**state.blocks, **points})
