"""What a sketch says without effect: no fault, but worth a warning."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from chainsim.sketch.chain import BlenderStep, Chain, Lane, LanesStep, block_names
from chainsim.sketch.model import BlockEntry, ControllerEntry, Room, Sketch, State


def written_in_vain(sketch: Sketch) -> tuple[str, ...]:
    """One line for each thing that does nothing."""
    base, patches = sketch.base, {name: patch.state for name, patch in sketch.patches.items()}
    return (
        *_unused(base, patches),
        *_unheard(base, patches),
        *_doubled(base, patches),
        *_idle(base, patches, sketch.controllers),
        *_overruled(base, patches),
        *_levelled(sketch.rooms, patches),
        *_driven_in_rooms(sketch.rooms, base, patches),
        *_deaf(base, patches, sketch.controllers),
        *_beyond(sketch),
        *_not_planned(sketch),
        *_raised_again(base, patches),
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


def _doubled(base: State, patches: Mapping[str, State]) -> list[str]:
    """Lanes in which nothing is engaged, so that beside a dry lane the same sound comes twice."""
    found: list[str] = []

    def is_straight(lane: Lane, state: State) -> bool:
        blocks = [state.blocks[n] for n in block_names(lane.chain) if n in state.blocks]
        return lane.level_db != -math.inf and not any(b.common.engaged or not b.passes for b in blocks)

    def walk(chain: Chain, state: State, place: str) -> None:
        for step in chain:
            if isinstance(step, BlenderStep):
                walk(step.wet, state, place)
            elif isinstance(step, LanesStep):
                straight = [lane for lane in step.lanes if is_straight(lane, state)]
                names = [n for lane in straight for n in block_names(lane.chain)]
                if len(straight) > 1 and names:
                    found.append(
                        f"{place}{len(straight)} lanes pass one sound on, for nothing is engaged where"
                        f' {", ".join(names)} could be; when_off = "silent" closes such a lane'
                    )
                for lane in step.lanes:
                    walk(lane.chain, state, place)

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


def _overruled(base: State, patches: Mapping[str, State]) -> list[str]:
    """Settings that a controller drives, so that what else is written about them does nothing."""
    found = []
    for (block, setting), (controller, _) in base.drives.items():
        settings = base.blocks[block].settings
        for group in settings.alternatives:
            others = [n for n in group if n != setting and n in settings.model_fields_set]
            if setting in group and others:
                found.append(f"controllers.{controller}: {block}.{setting} does nothing beside {others[0]}")
    for patch, state in patches.items():
        for (block, setting), (controller, _) in state.drives.items():
            if getattr(state.blocks[block].settings, setting) != getattr(base.blocks[block].settings, setting):
                place = f"patches.{patch}.blocks.{block}.{setting}"
                found.append(f'{place}: does nothing, since the controller "{controller}" drives it')
    return found


def _levelled(rooms: Mapping[str, Room], patches: Mapping[str, State]) -> list[str]:
    """What patches set each their own way, and a room all alike."""
    found = []
    for room, changed in rooms.items():
        for block, changes in changed.changes.items():
            for setting in (s for s in changes if s != "engaged"):  # a block is left out on purpose
                values = {str(_value(state, block, setting)) for state in patches.values() if block in state.blocks}
                if len(values) > 1:
                    found.append(
                        f"rooms.{room}.blocks.{block}.{setting}: the same in every patch there, though they differ"
                    )
    return found


def _driven_in_rooms(rooms: Mapping[str, Room], base: State, patches: Mapping[str, State]) -> list[str]:
    """What a room sets though a controller moves it."""
    found = []
    states = patches or {"": base}
    for room, changed in rooms.items():
        for key in ((block, setting) for block, changes in changed.changes.items() for setting in changes):
            by = {patch: state.drives[key][0] for patch, state in states.items() if key in state.drives}
            if by:
                where = "" if len(by) == len(states) else f" in {', '.join(by)}"
                drivers = " and ".join(f'"{name}"' for name in dict.fromkeys(by.values()))
                place = f"rooms.{room}.blocks.{'.'.join(key)}"
                found.append(f"{place}: does nothing{where}, since the controller {drivers} drives it")
    return found


def _deaf(base: State, patches: Mapping[str, State], controllers: Mapping[str, ControllerEntry]) -> list[str]:
    """Controllers that drive something and listen to a block that is not there."""
    found = []
    for place, state in [("", base), *((f"patches.{n}: ", s) for n, s in patches.items())]:
        there = {"input", *block_names(state.chain)}
        for name in dict.fromkeys(controller for controller, _ in state.drives.values()):
            heard = controllers[name].listens_to
            if heard is not None and heard not in there:
                found.append(f'{place}the controller "{name}" hears nothing, since "{heard}" is not in the chain')
    return found


def _beyond(sketch: Sketch) -> list[str]:
    """Places that some bank does not have."""
    return [
        f'switches "{switch.name}": {action.text} does nothing in the bank "{bank.name}", which has {len(bank.patches)}'
        for switch in sketch.switches
        for action in switch.actions
        for bank in sketch.banks
        if action.kind == "place" and action.place > len(bank.patches)
    ]


def _not_planned(sketch: Sketch) -> list[str]:
    """What is said of devices for a level plan that is not made."""
    if sketch.levels is not None:
        return []
    return [
        f"blocks.{name}.{setting}: does nothing without [levels], which says what 0 dBFS stands for"
        for name, entry in sketch.base.blocks.items()
        for setting in ("clip_dbu", "noise_dbu")
        if getattr(entry.common, setting) is not None
    ]


def _raised_again(base: State, patches: Mapping[str, State]) -> list[str]:
    """Trims that raise what a limiter has held: they come after the chain."""
    found = []
    for place, state in [("", base), *((f"patches.{n}.", s) for n, s in patches.items())]:
        limiters = [n for n in block_names(state.chain) if n in state.blocks and _limits(state.blocks[n])]
        if state.trim_db > 0.0 and limiters and (place == "" or state.trim_db != base.trim_db):
            found.append(
                f'{place}trim_db: raises by {state.trim_db:g} dB what "{limiters[-1]}" has held to its ceiling'
            )
    return found


def _limits(entry: BlockEntry) -> bool:
    return entry.type_name == "limiter" and entry.common.engaged


def _value(state: State, block: str, setting: str) -> Any:
    entry = state.blocks[block]
    return getattr(entry.settings, setting, getattr(entry.common, setting, None))
