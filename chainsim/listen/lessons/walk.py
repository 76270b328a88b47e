"""A walk through any sketch, block by block: what each does, heard and measured before and after it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from chainsim.block import block_type
from chainsim.errors import SketchError
from chainsim.listen.drawing.layout import lay_out
from chainsim.listen.drawing.wires import hear_wires
from chainsim.listen.lessons.block_words.all_words import words_for
from chainsim.listen.lessons.block_words.second_questions import SECOND_QUESTIONS
from chainsim.listen.lessons.block_words.words import valued
from chainsim.listen.lessons.changes import apart, changes, step_reading
from chainsim.listen.lessons.course import StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.making import Whole, lesson_of
from chainsim.listen.lessons.measures import loudness_lufs
from chainsim.listen.lessons.model import Claim, Lesson
from chainsim.listen.sheets.stage_sheet.value_text import setting_label
from chainsim.measure.sound_distance.places import Apart
from chainsim.sketch.chain import INPUT, BlenderStep, Chain, LanesStep
from chainsim.sketch.model import BlockEntry, Sketch, State
from chainsim.sketch.wire_names import sum_name
from chainsim.stage.drives import Drive

OUT = "out"


def walk_through(sketch: Sketch, excerpt: Excerpt, *, lossy: bool = False) -> Lesson:
    """Make the lesson of a sketch as written, or of one of its patches: `sketch.alone("fog_bank")`.

    Raises
    ------
    SketchError, GraphError, AudioError
        If the chain cannot be built for this take, or has no block that is engaged.
    """
    wires = wires_of(sketch, excerpt)
    steps = walk_steps(sketch, wires, excerpt)
    title = sketch.title if sketch.patch is None else f"{sketch.title}: {sketch.patch}"
    return lesson_of(
        "walk",
        title or "A chain",
        "What does each block do to the sound, from the horn to the house?",
        steps,
        excerpt,
        notes=(
            "Each block is heard before and after it, in time; what a block delays is cut from the beginning. Told are "
            "only those figures that a block changes by more than the ear just notices. All were measured on the "
            "sounds as they came out, loudness as from two loudspeakers; what plays between the horn and the end of "
            "the chain may be MP3.",
        ),
        whole=Whole(sketch, wires),
        lossy=lossy,
    )


def wires_of(sketch: Sketch, excerpt: Excerpt) -> dict[str, Heard]:
    """Every wire of the drawing, in the order of the sound's way."""
    if next(block_places(sketch.base.chain, sketch.base), None) is None:
        raise SketchError("chain: no block is engaged, so there is nothing to walk through")
    heard = hear_wires(sketch, excerpt.audio, excerpt.sample_rate_hz)
    return {name: excerpt.heard(_wire_name(name), wire.audio, wire.latency_ms / 1000.0) for name, wire in heard.items()}


def walk_steps(sketch: Sketch, wires: Mapping[str, Heard], excerpt: Excerpt) -> list[StepDraft]:
    """A step for every block that is engaged and heard, in the order of the chain, and one for the whole."""
    state = sketch.base
    places = list(block_places(state.chain, state))
    blocks = [_step(state, name, wires[before], wires[name], excerpt) for name, before in places]
    steps = _each_asked_once(blocks, [state.blocks[name].type_name for name, _ in places])
    if len(places) == 1:
        return steps
    far = {name: apart(excerpt, wires[before], wires[name]) for name, before in places}
    least = min(
        places,
        key=lambda one: (
            *(round(how_far, 1) for how_far in (far[one[0]].playing, far[one[0]].total)),
            _louder_by(wires[one[1]], wires[one[0]]),
        ),
    )[0]
    whole = (wires[INPUT], wires[lay_out(state).leads_out])
    return [*steps, _end(whole, excerpt, least, far[least])]


def _louder_by(before: Heard, after: Heard) -> float:
    """How far two sounds are apart in loudness, either way; a silent one as far as can be."""
    first, second = loudness_lufs(before), loudness_lufs(after)
    return 0.0 if first == second else abs(second - first)


def _end(whole: tuple[Heard, Heard], excerpt: Excerpt, least: str, far: Apart) -> StepDraft:
    """The take against what the whole chain makes of it."""
    before, after = whole
    told = changes(excerpt, before, after)
    return StepDraft(
        heading="The whole chain",
        does="All of it together: the horn as it goes in, and what comes out at the end. Both are in time here.",
        heard=(before, after),
        claims=told,
        listen_for="The horn in it: where do you still hear the player, and where only the chain?",
        question="Which block could you leave out, and hardly hear that it is gone?",
        answer=(
            f"Each was measured against what reaches it, at one loudness: {least} changes least {_how_far(far)}. What "
            "follows may still need it, as a drive needs the gain before it: leave it out, and listen."
        ),
        picture=level_picture(
            (before, after), f"Level over time before and behind the whole chain. {' '.join(c.text for c in told)}"
        ),
        draws=False,
    )


def _how_far(far: Apart) -> str:
    """By how much a block changes the sound while one plays, and where it changes more."""
    playing, total = step_reading(far.playing).text, step_reading(far.total).text
    elsewhere = f"; {far.only} by {total}" if far.only else ""
    return f"while you play, by {playing}, of which 1 is just audible{elsewhere}"


ANSWERED_BY = {
    "gain": "loudness",
    "noise": "level in rests",
    "pitch_shifter": "latency",
}
"""By type, the figure that its question asks about."""


def _measured(type_name: str, told: Sequence[Claim]) -> str:
    """What was measured of that which is asked."""
    asked = ANSWERED_BY.get(type_name)
    found = [claim for claim in told if asked and claim.figures[0].label.startswith(asked)]
    return "".join(f" Measured here: {claim.text[:1].lower()}{claim.text[1:]}" for claim in found)


def _moved(entry: BlockEntry, who: str, drive: Drive) -> str:
    """That a setting does not stay as the words before say."""
    unit = entry.settings.specs()[drive.setting].unit
    low, high = (valued(end, "" if unit == "1" else unit) for end in (drive.low, drive.high))
    label = setting_label(drive.setting) + (" level" if drive.setting in ("dry_db", "wet_db") else "")
    return f" Its {label} does not stay so: {who} moves it between {low} and {high}."


def _each_asked_once(steps: Sequence[StepDraft], types: Sequence[str]) -> list[StepDraft]:
    """Steps of which none asks what another has asked."""
    asked: set[str] = set()
    told = []
    for step, type_name in zip(steps, types, strict=True):
        if step.question in asked:
            question, answer = SECOND_QUESTIONS.get(type_name, ("", ""))
            again = question in asked
            step = replace(step, question="" if again else question, answer="" if again else answer)
        asked.add(step.question)
        told.append(step)
    return told


def _step(state: State, name: str, before: Heard, after: Heard, excerpt: Excerpt) -> StepDraft:
    entry = state.blocks[name]
    words = words_for(entry)
    told = changes(excerpt, before, after)
    listens = entry.common.listens_to
    ear = "" if listens is None else f" It listens to {'the horn' if listens == INPUT else listens}."
    moved = [_moved(entry, who, drive) for (block, _), (who, drive) in state.drives.items() if block == name]
    alt = f"before and after {name}. " + (" ".join(claim.text for claim in told))
    spectral = block_type(entry.type_name).generates or entry.type_name in SPECTRAL
    return StepDraft(
        heading=f"{name}: {entry.type_name.replace('_', ' ')}",
        does=words.does + ear + "".join(moved),
        heard=(before, after),
        claims=told,
        listen_for=words.listen_for,
        question=words.question,
        answer=f"{words.answer}{_measured(entry.type_name, told)}",
        picture=spectrum_picture((before, after), f"Spectra {alt}")
        if spectral
        else level_picture((before, after), f"Level over time {alt}"),
        draws=False,
    )


SPECTRAL = frozenset(
    ("equalizer", "drive", "envelope_filter", "ring_modulator", "phaser", "flanger", "pitch_shifter", "blender",
     "frequency_divider", "chorus", "vibrato", "convolver")
)  # fmt: skip
"""Types of which a spectrum shows more than a course of levels."""


def block_places(chain: Chain, state: State) -> Iterator[tuple[str, str]]:
    """Of every engaged block its name and the wire that it hears, in the order of the chain.

    What stands in a blender that is out of the chain is not heard.
    """
    yield from _Places(state).series(chain, INPUT)


class _Places:
    """Walks the tree as drawings do."""

    def __init__(self, state: State) -> None:
        self._state = state
        self.end = INPUT

    def series(self, chain: Chain, before: str) -> Iterator[tuple[str, str]]:
        """Follow a chain; `end` is then the wire that it gives."""
        self.end = before
        for step in chain:
            here = self.end
            if isinstance(step, LanesStep):
                for lane in step.lanes:
                    yield from self.series(lane.chain, here)
                self.end = sum_name(step.number)
                continue
            entry = self._state.blocks[step.name]
            if isinstance(step, BlenderStep) and entry.common.engaged:
                yield from self.series(step.wet, here)
            if entry.common.engaged:
                yield step.name, here
                self.end = step.name
            else:
                self.end = here if entry.passes else step.name


SAYS_WHERE = (" dry", " wet", " before pan", " aligned")
"""Ends of wires' names that need no word before them."""


def _wire_name(wire: str) -> str:
    named = wire if wire.endswith(SAYS_WHERE) else f"after {wire}"
    return "the horn alone" if wire == INPUT else "the whole chain" if wire == OUT else named
