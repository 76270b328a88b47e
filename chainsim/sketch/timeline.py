"""Which state of a sketch holds when: its cues and taps, walked through the board, become states with their times."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

from chainsim.errors import SettingError
from chainsim.sketch.chain import INPUT, Chain, block_names, pruned
from chainsim.sketch.course import Course, Moment, Tempi
from chainsim.sketch.cues import WrittenCue
from chainsim.sketch.model import BlockEntry, Patch, Sketch, State
from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue
from chainsim.stage.foot import Foot


def timeline(sketch: Sketch) -> list[tuple[float, State]]:
    """States by the time in seconds at which they begin, the first at 0; of two at one time the last."""
    begun: dict[float, State] = {}
    newest: State | None = None
    for moment in moments(sketch):
        state = state_at(sketch, moment)
        if state != newest or moment.at_s in begun:
            begun[moment.at_s] = newest = state
    return list(begun.items())


def muted_spans(sketch: Sketch) -> list[tuple[float, float]]:
    """When the feed is muted, as (from, to) in seconds; the last may never end."""
    states = timeline(sketch)
    ends = [at_s for at_s, _ in states[1:]] + [math.inf]
    return [(at_s, end_s) for (at_s, state), end_s in zip(states, ends, strict=True) if state.muted]


def moments(sketch: Sketch) -> Iterator[Moment]:
    """Every change of board and tempo, the first at 0."""
    cues = [WrittenCue(cue) for cue in sketch.cues]
    return _course(sketch.base, sketch.patches, sketch.board, sketch.foot, cues, sketch.taps).moments()


def place_cues(
    base: State,
    patches: Mapping[str, Patch],
    board: Board,
    foot: Foot,
    cues: Sequence[WrittenCue],
    taps: Sequence[Sequence[float]],
    first_beat_s: float,
    faults: list[str],
    warnings: list[str],
) -> tuple[Cue, ...]:
    """Give every cue its time in seconds, in order; of two that contradict each other at one time the last counts."""
    counting = list(cues)
    while True:
        course = _course(base, patches, board, foot, counting, taps, first_beat_s)
        try:
            moments = list(course.moments())
        except SettingError as error:
            faults.append(f"cues: {error}")
            return ()
        overruled = _overruled(course.numbered, warnings)
        if not overruled:
            for moment in moments:
                patch = moment.position.patch
                warnings += _in_vain(moment, base if patch is None else patches[patch].state)
            placed = [cue for _, cue in course.numbered]
            warnings += _crowded(placed)
            return tuple(placed)
        # Where a bar falls may have hung on one of them.
        counting = [cue for number, cue in enumerate(counting) if number not in overruled]


def _overruled(numbered: Sequence[tuple[int, Cue]], warnings: list[str]) -> set[int]:
    """Numbers of the cues that another of their kind overrules at the same time, which is told."""
    newest: dict[tuple[float, str, str], tuple[int, Cue]] = {}
    found = set()
    for number, cue in numbered:
        about = (round(cue.at_s, 6), cue.kind, "" if cue.kind == "patch" else cue.name)
        if about in newest:
            before, other = newest[about]
            found.add(before)
            warnings.append(f"cues: {other.text} and {cue.text}, both at {cue.when}: the last one counts")
        newest[about] = number, cue
    return found


def _crowded(cues: Sequence[Cue]) -> Iterator[str]:
    """Cues at one time of which the later may undo the earlier: a patch or a press after a patch, press or block."""
    for before, after in pairwise(cues):
        undoes = after.kind in ("patch", "press", "hold") and before.kind in ("patch", "press", "hold", "block")
        if undoes and round(before.at_s, 6) == round(after.at_s, 6):
            yield f"cues: {before.text} and {after.text}, both at {after.when}: done in this order, the last one counts"


def _in_vain(moment: Moment, state: State) -> list[str]:
    """What to say of a cue that switches a block where it does not stand; one that stands free keeps it for later."""
    cue = moment.cue
    if cue is None or cue.kind != "block" or cue.name in block_names(state.chain):
        return []
    if cue.name in state.blocks and state.blocks[cue.name].common.switching == "free_standing":
        return []
    where = "the chain" if moment.position.patch is None else f"the chain of {moment.position.patch}"
    return [f'cues: {cue.text} at {cue.when} does nothing, since "{cue.name}" is not in {where}']


def state_at(sketch: Sketch, moment: Moment) -> State:
    """What is heard at a moment."""
    position = moment.position
    patch = sketch.base if position.patch is None else sketch.patches[position.patch].state
    room = None if sketch.room is None else sketch.rooms.get(sketch.room)
    blocks = _switched(patch.blocks, position, frozenset() if room is None else room.left_out)
    chain, trim_db = patch.chain, patch.trim_db
    if position.dry:
        trim_db = 0.0
        always_on = {n for n, b in blocks.items() if b.common.switching == "always_on"}
        chain = pruned(chain, always_on, {n for n, b in blocks.items() if not b.passes})
        blocks = _hearing_the_horn(chain, blocks)
    return replace(patch, chain=chain, blocks=blocks, tempo_bpm=moment.tempo_bpm, muted=position.muted, trim_db=trim_db)


def _switched(blocks: Mapping[str, BlockEntry], position: Position, left_out: frozenset[str]) -> dict[str, BlockEntry]:
    found = dict(blocks)
    for name, on in position.switched:
        if name in found:
            found[name] = _with(found[name], engaged=on and name not in left_out)
    return found


def _hearing_the_horn(chain: Chain, blocks: Mapping[str, BlockEntry]) -> dict[str, BlockEntry]:
    """Let detectors hear the take where the block they listen to has gone from the chain: a gate would stay shut."""
    found, there = dict(blocks), set(block_names(chain))
    for name in there:
        if found[name].common.listens_to not in (None, INPUT, *there):
            found[name] = _with(found[name], listens_to=INPUT)
    return found


def _with(entry: BlockEntry, **changes: Any) -> BlockEntry:
    return replace(entry, common=entry.common.model_copy(update=changes))


def _course(
    base: State,
    patches: Mapping[str, Patch],
    board: Board,
    foot: Foot,
    cues: Sequence[WrittenCue],
    taps: Sequence[Sequence[float]],
    first_beat_s: float = 0.0,
) -> Course:
    tempi = Tempi(base.tempo_bpm, {n: p.state.tempo_bpm for n, p in patches.items() if p.sets_tempo})
    return Course(board, foot, tempi, cues, taps, first_beat_s)
