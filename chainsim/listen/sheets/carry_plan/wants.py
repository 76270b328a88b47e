"""What a sketch asks of gear: in each patch the blocks, each at one setting; the forks; the pedals; the order."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations

from chainsim.block import block_type
from chainsim.errors import SettingError, nearest
from chainsim.listen.sheets.carry_plan.forks import Fork, block_pairs, forks_of
from chainsim.listen.sheets.stage_sheet.value_text import NOTE_VALUES
from chainsim.sketch.chain import Chain, block_names, pruned
from chainsim.sketch.model import BlockEntry, Sketch, State

PEDALS = ("breakpoints", "control_change")
"""Controllers that stand for a pedal or a wheel; an LFO or an envelope is inside the box."""


@dataclass(frozen=True)
class Job:
    """A block at one setting, in one patch.

    Attributes
    ----------
    block, type_name : str
    setting : str
        Canonical text of what a controller does not move, and of the key where the block goes by it.
    tempo_bpm : float or None
        The tempo, where a note value goes by it.
    """

    block: str
    type_name: str
    setting: str
    tempo_bpm: float | None = None


@dataclass(frozen=True)
class PatchWants:
    """What one patch asks for.

    Attributes
    ----------
    name : str
    jobs : dict of int
        By block, which of the jobs it is: no two patches share one, for a box may be free in one and not in another.
    chain : Chain
        What is left of it with these blocks alone.
    forks : tuple of Fork
    pedals : tuple of (controller, block)
        Which pedal moves a setting of which block.
    before, beside : tuple of (block, block)
        Every two blocks of which the first one's sound goes to the second; and those in lanes side by side.
    """

    name: str
    jobs: Mapping[str, int]
    chain: Chain
    forks: tuple[Fork, ...]
    pedals: tuple[tuple[str, str], ...]
    before: tuple[tuple[str, str], ...]
    beside: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Wants:
    """What a sketch asks for.

    Attributes
    ----------
    jobs : tuple of Job
    patches : tuple of PatchWants
    elsewhere : tuple of str
        Blocks that no box has to make.
    """

    jobs: tuple[Job, ...]
    patches: tuple[PatchWants, ...]
    elsewhere: tuple[str, ...]

    def only(self, patches: Collection[str]) -> Wants:
        """Of some patches alone."""
        kept = tuple(p for p in self.patches if p.name in patches)
        return Wants(self.jobs, kept, self.elsewhere)


def wants_of(sketch: Sketch, patches: Iterable[str] = (), elsewhere: Collection[str] = ()) -> Wants:
    """Gather what a sketch asks of gear.

    Parameters
    ----------
    sketch : Sketch
        Its patches count; one without patches is one patch of its title.
    patches : iterable of str
        Those alone; all of them if there is none.
    elsewhere : collection of str
        Names or types of blocks that no box has to make.

    Raises
    ------
    SettingError
        If the sketch has no such patch.
    """
    states = {name: patch.state for name, patch in sketch.patches.items()} or {sketch.title: sketch.base}
    chosen = list(dict.fromkeys(patches))
    for name in chosen:
        if name not in states:
            known = f"; there are {', '.join(states)}" if sketch.patches else "; the sketch has none"
            raise SettingError(f'no patch "{name}"{nearest(name, states) or known}')
    by_hand = sketch.engaged_by_hand
    pedals = {name for name, entry in sketch.controllers.items() if entry.type_name in PEDALS}
    jobs: list[Job] = []
    left_out: dict[str, None] = {}
    found = []
    for name in chosen or states:
        state = states[name]
        wanted = _wanted(state, by_hand)
        left_out.update((e.name, None) for e in wanted if {e.name, e.type_name} & set(elsewhere))
        made = [e for e in wanted if e.name not in left_out and not _is_a_wire(e, state)]
        to_make = [e for e in made if e.type_name != "blender"]
        own = {e.name: len(jobs) + k for k, e in enumerate(to_make)}
        jobs += [_job(e, state) for e in to_make]
        keep = {e.name for e in made}
        blends = {e.name: _job(e, state).setting for e in made if e.type_name == "blender"}
        closing = {n for n in block_names(state.chain) if not state.blocks[n].passes}
        before = block_pairs(state.chain, own)
        beside = (pair for pair in combinations(own, 2) if pair not in before and pair[::-1] not in before)
        moved = ((controller, block) for (block, _), (controller, _) in state.drives.items())
        found.append(
            PatchWants(
                name,
                own,
                pruned(state.chain, keep, closing),
                forks_of(state.chain, keep, closing, blends),
                tuple(sorted({(c, b) for c, b in moved if c in pedals and b in own})),
                tuple(sorted(before)),
                tuple(beside),
            )
        )
    return Wants(tuple(jobs), tuple(found), tuple(left_out))


def _wanted(state: State, by_hand: Collection[str]) -> list[BlockEntry]:
    """What is on in a state, or can be put on in it by a press of its own."""
    entries = [state.blocks[name] for name in block_names(state.chain)]
    return [e for e in entries if e.common.engaged or e.common.switching == "free_standing" or e.name in by_hand]


def _is_a_wire(entry: BlockEntry, state: State) -> bool:
    """A gain that changes nothing."""
    if entry.type_name != "gain" or any(block == entry.name for block, _ in state.drives):
        return False
    return all(value == 0.0 for value in entry.settings.model_dump().values())


def _job(entry: BlockEntry, state: State) -> Job:
    settings = {k: v for k, v in entry.settings.model_dump().items() if (entry.name, k) not in state.drives}
    if block_type(entry.type_name).follows_key(entry.settings):
        settings["key"] = state.key
    timed = any(settings.get(name) is not None for name in NOTE_VALUES)
    text = json.dumps(settings, sort_keys=True, default=str)
    return Job(entry.name, entry.type_name, text, state.tempo_bpm if timed else None)
