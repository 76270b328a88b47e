"""Forks of a chain as gear sees them: how many lanes leave for boxes, and whether one goes past them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, Lane, LanesStep, Step, block_names, pruned


@dataclass(frozen=True)
class Fork:
    """A fork in one patch, with two lanes or more.

    Attributes
    ----------
    place : tuple
        Equal for the same fork of the same chain in two patches.
    dry : bool
        Whether a lane goes straight through.
    heads : frozenset of str
        The first block of each other lane; of a lane that begins with a fork, those of its lanes.
    blocks : frozenset of str
        All blocks between where it parts and where it meets.
    levels : dict of str
        By block, how its lane is mixed.
    straight : str
        How what goes straight through is mixed; empty if nothing does.
    """

    place: tuple[object, ...]
    dry: bool
    heads: frozenset[str]
    blocks: frozenset[str]
    levels: Mapping[str, str]
    straight: str


def forks_of(
    chain: Chain, keep: Collection[str], closing: Collection[str], blends: Mapping[str, str]
) -> tuple[Fork, ...]:
    """The forks that are left of a chain when only some blocks are there, outer ones before inner.

    `blends` has the settings of each blender in a text.
    """
    return tuple(_forks(chain, keep, closing, blends, (chain,)))


def _forks(
    chain: Chain,
    keep: Collection[str],
    closing: Collection[str],
    blends: Mapping[str, str],
    place: tuple[object, ...],
) -> Iterator[Fork]:
    for i, step in enumerate(chain):
        if isinstance(step, BlockStep):
            continue
        lanes = step.lanes if isinstance(step, LanesStep) else (Lane(()), Lane(step.wet))
        left = pruned((step,), keep, closing)
        if not left:
            continue
        still_open = open_lanes(left[0])
        if len(still_open) > 1:
            heads = frozenset(head for lane in still_open for head in heads_of(lane))
            inside = frozenset(name for lane in still_open for name in block_names(lane))
            blocks = inside - _blenders(still_open)
            mixed = list(zip(still_open, _levels(left[0], blends), strict=True))
            levels = {name: level for lane, level in mixed for name in block_names(lane) if name in blocks}
            straight = "; ".join(level for lane, level in mixed if not lane)
            yield Fork((*place, i), not all(still_open), heads, blocks, levels, straight)
        for k, lane in enumerate(lanes):
            if pruned((LanesStep((Lane(()), lane)),), keep, closing):  # it is open
                yield from _forks(lane.chain, keep, closing, blends, (*place, i, k))


def _levels(step: Step, blends: Mapping[str, str]) -> list[str]:
    """How each open lane of a fork is mixed, in a text."""
    if isinstance(step, LanesStep):
        return [f"{lane.level_db:g} dB, pan {lane.pan}" for lane in step.lanes]
    return [blends[step.name]] * 2 if isinstance(step, BlenderStep) else []


def _blenders(chains: Iterable[Chain]) -> set[str]:
    """They are forks themselves, and no blocks to be made."""
    found = set()
    for chain in chains:
        for step in chain:
            found |= {step.name} if isinstance(step, BlenderStep) else set()
            found |= _blenders(open_lanes(step))
    return found


def open_lanes(step: Step) -> list[Chain]:
    """The lanes of a fork, the straight one empty; of a block none."""
    if isinstance(step, LanesStep):
        return [lane.chain for lane in step.lanes]
    return [(), step.wet] if isinstance(step, BlenderStep) else []


def heads_of(chain: Chain) -> set[str]:
    """The blocks that hear what comes into a chain."""
    for step in chain:
        if isinstance(step, BlockStep):
            return {step.name}
        lanes = open_lanes(step)
        heads = {head for lane in lanes for head in heads_of(lane)}
        return heads | (set() if all(lanes) else heads_of(chain[chain.index(step) + 1 :]))
    return set()


def block_pairs(chain: Chain, names: Collection[str]) -> frozenset[tuple[str, str]]:
    """Every two of these blocks of which the first one's sound goes to the second."""
    return frozenset(_pairs(chain, names))


def _pairs(chain: Chain, names: Collection[str]) -> Iterator[tuple[str, str]]:
    before: list[str] = []
    for step in chain:
        here = [step.name] if isinstance(step, BlockStep) else []
        for lane in open_lanes(step):
            yield from _pairs(lane, names)
            here += block_names(lane)
        here = [name for name in here if name in names]
        yield from ((a, b) for a in before for b in here)
        before += here
