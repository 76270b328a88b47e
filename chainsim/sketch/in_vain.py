"""What a sketch says without effect: no fault, but worth a warning."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from chainsim.sketch.chain import BlenderStep, Chain, LanesStep, block_names
from chainsim.sketch.model import BlockEntry, ControllerEntry, State


def written_in_vain(
    base: State, patches: Mapping[str, State], controllers: Mapping[str, ControllerEntry]
) -> tuple[str, ...]:
    """One line for each thing that does nothing."""
    return (
        *_unused(base, patches),
        *_unheard(base, patches),
        *_idle(base, patches, controllers),
        *_overruled(base, patches, controllers),
    )


def _unused(base: State, patches: Mapping[str, State]) -> list[str]:
    used = set(block_names(base.chain)).union(*(block_names(p.chain) for p in patches.values()))
    return [f"blocks.{name}: declared but in no chain; it does nothing" for name in base.blocks if name not in used]


def _unheard(base: State, patches: Mapping[str, State]) -> list[str]:
    """Blocks that a state engages in a wet chain whose blender it does not."""
    found: list[str] = []

    def walk(chain: Chain, state: State, place: str) -> None:
        for step in chain:
            if isinstance(step, LanesStep):
                for lane in step.lanes:
                    walk(lane.chain, state, place)
            elif isinstance(step, BlenderStep) and step.name in state.blocks:
                walk(step.wet, state, place)
                if not state.blocks[step.name].common.engaged:
                    wet = [n for n in block_names(step.wet) if n in state.blocks and state.blocks[n].common.engaged]
                    found.extend(
                        f'{place}"{n}" is engaged but not heard: its blender "{step.name}" is not' for n in wet
                    )

    walk(base.chain, base, "")
    for name, state in patches.items():
        walk(state.chain, state, f"patches.{name}: ")
    return found


def _idle(base: State, patches: Mapping[str, State], controllers: Mapping[str, ControllerEntry]) -> list[str]:
    """Settings, written or driven, that do nothing beside the others of their block.

    One of the sketch's own is told if no patch gives it something to do, one of a patch if the patch changes it.
    """
    states = [base, *patches.values()]
    always = {
        name: {
            k: why
            for k, why in entry.settings.idle().items()
            if all(k in s.blocks[name].settings.idle() for s in states)
        }
        for name, entry in base.blocks.items()
    }
    found = []
    for name, entry in base.blocks.items():
        written = _written(entry)
        found += [f"blocks.{name}.{k}: does nothing {why}" for k, why in always[name].items() if k in written]
        for patch, state in patches.items():
            changed = {k: v for k, v in _written(state.blocks[name]).items() if k not in written or v != written[k]}
            idle = state.blocks[name].settings.idle().items()
            found += [f"patches.{patch}.blocks.{name}.{k}: does nothing {why}" for k, why in idle if k in changed]
    for name, controller in controllers.items():
        for drive in controller.drives:
            if why := always[drive.block].get(drive.setting):
                found.append(f"controllers.{name}: {drive.block}.{drive.setting} does nothing {why}")
    return found


def _written(entry: BlockEntry) -> dict[str, Any]:
    """What the sketch says of a block, be it its own or what every block has."""
    return {**entry.settings.model_dump(exclude_unset=True), **entry.common.model_dump(exclude_unset=True)}


def _overruled(base: State, patches: Mapping[str, State], controllers: Mapping[str, ControllerEntry]) -> list[str]:
    """Settings that a controller drives, so that what else is written about them does nothing."""
    found = []
    for name, controller in controllers.items():
        for drive in controller.drives:
            settings = base.blocks[drive.block].settings
            for group in settings.alternatives:
                others = [n for n in group if n != drive.setting and n in settings.model_fields_set]
                if drive.setting in group and others:
                    found.append(f"controllers.{name}: {drive.block}.{drive.setting} does nothing beside {others[0]}")
            for patch, state in patches.items():
                other = state.blocks[drive.block].settings
                if getattr(other, drive.setting) != getattr(settings, drive.setting):
                    place = f"patches.{patch}.blocks.{drive.block}.{drive.setting}"
                    found.append(f'{place}: does nothing, since the controller "{name}" drives it')
    return found
