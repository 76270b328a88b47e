"""The signal flow of a state laid out: series from left to right, lanes below each other, long chains in rows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from chainsim.block import block_type
from chainsim.listen.drawing.canvas import MINUS, Canvas, OpenWire, tail_length
from chainsim.listen.drawing.fork import Fork, OutOfChain, waiting_width
from chainsim.listen.drawing.framing import with_heading, with_legend, with_note
from chainsim.listen.drawing.parts import MARGIN_OF_ROWS, Entry, Exit, Gain, Part, Row, Words
from chainsim.listen.drawing.routing import route_listeners
from chainsim.listen.drawing.shapes import Layout
from chainsim.sketch.chain import INPUT, BlenderStep, BlockStep, Chain, Lane, LanesStep, block_names
from chainsim.sketch.model import State
from chainsim.sketch.wire_names import Leg, aligned_name, before_pan_name, lane_name, leg_name, part_sum_name, sum_name

if TYPE_CHECKING:
    from chainsim.listen.drawing.wires import WireFigures

PAGE_WIDTH = 1100.0
MARGIN = 16.0
OUT = "out"
TURNED = "flip_wet"
"""A blender's setting by which the polarity of its wet path is turned."""
ADDING = frozenset(("noise",))
"""Types that pass what comes in and add sound of their own, even to silence."""
MOST_NOTES = 2
MOST_LED = 16
"""Of so many detectors the wires are drawn; of more, words tell what they listen to."""
LOUDNESS_COUNTS = "LUFS as from two loudspeakers; a mono file by itself reads 3.0 less"
TOP_CHANNEL = 12.0
"""Room over everything for dashed wires."""


def lay_out(state: State, figures: Mapping[str, WireFigures] | None = None, *, heading: str | None = None) -> Layout:
    """Lay out the signal flow of a state.

    Parameters
    ----------
    state : State
    figures : dict of WireFigures, optional
        What is written at wires, by their names; those that are not there stay bare.
    heading : str, optional
        What is written over it.

    Returns
    -------
    Layout
        As wide as a page (1100) at most, unless forks are nested so deep that one block beside them needs more. Where
        boxes that lanes wait in have no room, a word at the sum tells it.
    """
    in_words = _not_led(state)
    while True:
        canvas, width, height = _put(state, figures or {}, in_words)
        stranded = {listener.name for listener in route_listeners(canvas, width, height)}
        if not stranded:
            break
        in_words |= stranded
    layout = with_legend(Layout(
        width, height, tuple(canvas.boxes), tuple(canvas.triangles), tuple(canvas.circles), tuple(canvas.wires),
        tuple(canvas.labels), tuple(canvas.names), canvas.leads_out,
    ))  # fmt: skip
    layout = with_note(layout, LOUDNESS_COUNTS) if figures else layout
    return layout if heading is None else with_heading(layout, heading)


def _put(state: State, figures: Mapping[str, WireFigures], in_words: set[str]) -> tuple[Canvas, float, float]:
    """Everything but dashed wires, and the size of it all."""
    limit = PAGE_WIDTH - 2 * MARGIN
    row = _Drawing(state, figures, in_words).whole(limit)
    if row.width > limit:
        row = _Drawing(state, figures, in_words, waits_in_words=True).whole(limit)
    canvas = Canvas(figures)
    top = MARGIN + TOP_CHANNEL + row.up
    row.put(canvas, MARGIN, top, OpenWire([(MARGIN, top)], ""))
    return canvas, 2 * MARGIN + row.width, top + row.down + MARGIN


def _not_led(state: State) -> set[str]:
    """Blocks of which words tell what they listen to: all, if they are many; and what is not in the chain."""
    there = [INPUT, *block_names(state.chain)]
    hears = {name: heard for name in there[1:] if (heard := state.blocks[name].common.listens_to) is not None}
    return set(hears) if len(hears) > MOST_LED else {name for name, heard in hears.items() if heard not in there}


class _Drawing:
    """A state on its way to parts."""

    def __init__(
        self, state: State, figures: Mapping[str, WireFigures], in_words: set[str], *, waits_in_words: bool = False
    ) -> None:
        self._state, self._figures, self._in_words = state, figures, in_words
        self._waits_in_words = waits_in_words

    def whole(self, limit: float) -> Row:
        parts: list[Part] = [Entry("the horn", INPUT, self._tail(INPUT))]
        parts += self._steps(self._state.chain, limit)
        if self._state.trim_db != 0.0:
            parts.append(Gain(f"trim {level_text(self._state.trim_db)}", OUT, self._tail(OUT)))
        return Row([*parts, Exit("to the house")], limit)

    def _tail(self, name: str) -> float:
        return tail_length(name, self._figures)

    def _steps(self, chain: Chain, limit: float) -> list[Part]:
        return [self._step(step, limit) for step in chain]

    def _step(self, step: BlockStep | LanesStep | BlenderStep, limit: float) -> Part:
        if isinstance(step, BlockStep):
            return self._block(step.name)
        return self._lanes(step, limit) if isinstance(step, LanesStep) else self._blender(step, limit)

    def _block(self, name: str) -> Part:
        entry = self._state.blocks[name]
        hears = None if name in self._in_words else entry.common.listens_to
        return Words(
            name, entry.type_name.replace("_", " "), "block", name, self._tail(name), self._notes(name), hears,
            entry.common.engaged, entry.passes,
            block_type(entry.type_name).generates or entry.type_name in ADDING,
        )  # fmt: skip

    def _notes(self, name: str) -> list[str]:
        """What controllers do to a block, and, if no dashed wire shows it, what it listens to."""
        drives = self._state.drives.items()
        notes = [
            f"{controller} moves {setting_words(key)}" for (block, key), (controller, _) in drives if block == name
        ]
        if not self._state.blocks[name].common.engaged:
            return []
        more = len(notes) - MOST_NOTES
        heard = self._state.blocks[name].common.listens_to
        notes = notes if name not in self._in_words else [f"hears {'the horn' if heard == INPUT else heard}", *notes]
        return notes if more <= 0 else [*notes[:MOST_NOTES], f"and {more} more"]

    def _lanes(self, step: LanesStep, limit: float) -> Part:
        number, gives = step.number, sum_name(step.number)
        aligned = [aligned_name(number, lane.number) for lane in step.lanes] if step.align else []
        waits = [] if self._waits_in_words else aligned
        inner = limit - 110.0 - self._tail(gives) - waiting_width(map(self._tail, waits))
        lanes = [self._lane(lane, number, inner) for lane in step.lanes]
        return Fork(
            lanes, gives, "", gives, self._tail, notes=["aligned"] if aligned and not waits else [], waits=waits,
            part_sums=[part_sum_name(number, lane.number) for lane in step.lanes[1:-1]],
        )  # fmt: skip

    def _lane(self, lane: Lane, fork: int, limit: float) -> Part:
        parts = self._steps(lane.chain, limit)
        gives = lane_name(fork, lane.number)
        if lane.level_db != 0.0:
            levelled = gives if lane.pan is None else before_pan_name(fork, lane.number)
            parts.append(Gain(level_text(lane.level_db), levelled, self._tail(levelled)))
        if lane.pan is not None:
            parts.append(Words("pan", pan_words(lane.pan), "pan", gives, self._tail(gives)))
        return Row(parts, limit)

    def _blender(self, step: BlenderStep, limit: float) -> Part:
        entry = self._state.blocks[step.name]
        if not entry.common.engaged:
            box = Words(step.name, "blender", "block", "", self._tail(""), engaged=False)
            inner = limit - MARGIN_OF_ROWS - box.width
            return OutOfChain(Row(self._steps(step.wet, inner), inner), box)
        inner = limit - 200.0 - self._tail(step.name)
        dry, wet = self._leg(step.name, "dry"), self._leg(step.name, "wet")
        lanes: list[Part] = [Row([dry], inner), Row([*self._steps(step.wet, inner), wet], inner)]
        return Fork(
            lanes, step.name, "blender", step.name, self._tail, notes=self._notes(step.name),
            is_block=True, turned=getattr(entry.settings, TURNED),
        )  # fmt: skip

    def _leg(self, blender: str, leg: Leg) -> Gain:
        key, gives = f"{leg}_db", leg_name(blender, leg)
        level_db = getattr(self._state.blocks[blender].settings, key)
        moved = (blender, key) in self._state.drives
        return Gain(level_text(level_db), gives, self._tail(gives), moved=moved)


def level_text(level_db: float) -> str:
    """A gain in words: "+3 dB", "off"."""
    return "off" if level_db == -math.inf else f"{level_db:+g} dB".replace("-", MINUS).replace("+0 dB", "0 dB")


def pan_words(pan: float) -> str:
    """A place between left and right in words."""
    if pan == 0.0:
        return "centre"
    side = "left" if pan < 0.0 else "right"
    return f"hard {side}" if abs(pan) == 1.0 else f"{100 * abs(pan):g} % {side}"


def setting_words(key: str) -> str:
    """A setting's name in words, without its unit."""
    for unit in ("_hz", "_db", "_ms", "_s", "_cents", "_bpm", "_percent"):
        key = key.removesuffix(unit)
    return key.replace("_", " ")
