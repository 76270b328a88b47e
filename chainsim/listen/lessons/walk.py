"""A walk through any sketch, block by block: what each does, heard and measured before and after it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from chainsim.block import block_type
from chainsim.errors import SketchError
from chainsim.listen.drawing.wires import hear_wires
from chainsim.listen.lessons.block_words.all_words import words_for
from chainsim.listen.lessons.changes import changes
from chainsim.listen.lessons.course import StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.making import lesson_of
from chainsim.listen.lessons.model import Lesson
from chainsim.listen.sheets.stage_sheet.value_text import setting_label
from chainsim.sketch.chain import INPUT, BlockStep, Chain, LanesStep
from chainsim.sketch.model import Sketch, State

OUT = "out"


def walk_through(sketch: Sketch, excerpt: Excerpt, *, lossy: bool = False) -> Lesson:
    """Make the lesson of a sketch as written, or of one of its patches: `sketch.alone("fog_bank")`.

    Raises
    ------
    SketchError, GraphError, AudioError
        If the chain cannot be built for this take, or has no block that is engaged.
    """
    title = sketch.title if sketch.patch is None else f"{sketch.title}: {sketch.patch}"
    return lesson_of(
        "walk",
        title or "A chain",
        "What does each block do to the sound, from the horn to the house?",
        walk_steps(sketch, excerpt),
        excerpt,
        notes=(
            "Each block is heard before and after it, in time; what a block delays is cut from the beginning. Told are "
            "only those figures that a block changes by more than the ear just notices.",
        ),
        whole=sketch,
        lossy=lossy,
    )


def walk_steps(sketch: Sketch, excerpt: Excerpt) -> Sequence[StepDraft]:
    """A step for every block that is engaged, in the order of the chain."""
    state = sketch.base
    places = list(block_places(state.chain, state))
    if not places:
        raise SketchError("chain: no block is engaged, so there is nothing to walk through")
    wires = {
        name: excerpt.heard(_wire_name(name), wire.audio, wire.latency_ms / 1000.0)
        for name, wire in hear_wires(sketch, excerpt.audio, excerpt.sample_rate_hz).items()
    }
    return [_step(state, name, wires[before], wires[name], before, excerpt) for name, before in places]


def _step(state: State, name: str, before: Heard, after: Heard, wire: str, excerpt: Excerpt) -> StepDraft:
    entry = state.blocks[name]
    words = words_for(entry)
    told = changes(excerpt, before, after)
    listens = entry.common.listens_to
    ear = "" if listens is None else f" It listens to {'the horn' if listens == INPUT else listens}."
    moved = [
        f" The controller {who} moves its {setting_label(setting)}."
        for (block, setting), (who, _) in state.drives.items()
        if block == name
    ]
    alt = f"before and after {name}. " + (" ".join(claim.text for claim in told))
    spectral = block_type(entry.type_name).generates or entry.type_name in SPECTRAL
    return StepDraft(
        heading=f"{name}: {entry.type_name.replace('_', ' ')}",
        does=words.does + ear + "".join(moved),
        heard=(before, after),
        claims=told,
        listen_for=words.listen_for,
        question=words.question,
        answer=f"{words.answer} Measured here: {told[0].text[:1].lower()}{told[0].text[1:]}",
        picture=spectrum_picture((before, after), f"Spectra {alt}")
        if spectral
        else level_picture((before, after), f"Level over time {alt}"),
        wires={wire: before, name: after},
        draws=False,
    )


SPECTRAL = frozenset(
    ("equalizer", "drive", "envelope_filter", "ring_modulator", "phaser", "flanger", "pitch_shifter", "blender",
     "frequency_divider", "chorus", "vibrato", "convolver")
)  # fmt: skip
"""Types of which a spectrum shows more than a course of levels."""


def block_places(chain: Chain, state: State) -> Iterator[tuple[str, str]]:
    """Of every engaged block its name and the wire that it hears, in the order of the chain."""
    yield from _Places(state).series(chain, INPUT)


class _Places:
    """Walks the tree as drawings do: forks of lanes are numbered as they are written."""

    def __init__(self, state: State) -> None:
        self._state = state
        self._forks = 0
        self.end = INPUT

    def series(self, chain: Chain, before: str) -> Iterator[tuple[str, str]]:
        """Follow a chain; `end` is then the wire that it gives."""
        self.end = before
        for step in chain:
            here = self.end
            if isinstance(step, LanesStep):
                self._forks += 1
                number = self._forks
                for lane in step.lanes:
                    yield from self.series(lane.chain, here)
                self.end = f"sum {number}"
                continue
            if not isinstance(step, BlockStep):
                yield from self.series(step.wet, here)
            entry = self._state.blocks[step.name]
            if entry.common.engaged:
                yield step.name, here
                self.end = step.name
            else:
                self.end = here if entry.passes else step.name


def _wire_name(wire: str) -> str:
    return "the horn alone" if wire == INPUT else "at the end" if wire == OUT else f"after {wire}"
