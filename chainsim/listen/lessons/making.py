"""From the steps of a course to a lesson: sounds as files at one loudness, drawings, keys."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from chainsim.listen.drawing.layout import lay_out
from chainsim.listen.drawing.svg import draw_svg
from chainsim.listen.lessons.claims import measured_only
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.model import Lesson, LessonStep
from chainsim.listen.page.sounds import RawSound, page_sounds
from chainsim.sketch.chain import INPUT
from chainsim.sketch.model import Sketch

SCENE = "lesson"
"""One for all: everything on the page is in time with the take."""


@dataclass(frozen=True)
class Whole:
    """What a lesson goes through: the sketch, and what is heard on every wire of its drawing, by name."""

    sketch: Sketch
    wires: Mapping[str, Heard]


def make_lesson(course: Course, excerpt: Excerpt, *, lossy: bool = False) -> Lesson:
    """Play a lesson of ours on an excerpt of any take.

    Raises
    ------
    GraphError, AudioError
        If its chains cannot be built for this take.
    """
    return lesson_of(
        course.key,
        course.title,
        course.asks,
        course.steps(excerpt),
        excerpt,
        notes=(*_about(excerpt), *(f"Source: {source}" for source in course.sources)),
        lossy=lossy,
    )


def lesson_of(
    key: str,
    title: str,
    asks: str,
    drafts: Sequence[StepDraft],
    excerpt: Excerpt,
    *,
    notes: tuple[str, ...],
    whole: Whole | None = None,
    lossy: bool = False,
) -> Lesson:
    """Put steps together; `whole` is drawn before them, and MP3 will do for what is heard inside it."""
    wires = {} if whole is None else whole.wires
    ends = [INPUT] if whole is None else [INPUT, lay_out(whole.sketch.base).leads_out]
    bench = _Bench(inside=frozenset(id(heard) for name, heard in wires.items() if name not in ends))
    for draft in drafts:
        for heard in draft.heard:
            bench.add(heard)
    for heard in wires.values():
        bench.add_wire(heard)
    sounds = page_sounds(bench.raw, round(excerpt.sample_rate_hz), lossy=lossy, pictures=False)
    steps = tuple(
        LessonStep(
            heading=draft.heading,
            does=draft.does,
            sounds=tuple(bench.key(heard) for heard in draft.heard),
            claims=draft.claims,
            listen_for=draft.listen_for,
            question=draft.question,
            answer=measured_only(draft.answer),
            picture=draft.picture,
            drawings=_drawings(draft, bench),
            settings=_settings(draft),
            levels=draft.levels,
        )
        for draft in drafts
    )
    drawing = None
    if whole is not None:
        keys = {name: bench.key(heard) for name, heard in whole.wires.items()}
        drawing = draw_svg(whole.sketch.base, title=f"Signal flow of {title}", sounds=keys)
    return Lesson(
        key, title, asks, steps, sounds, round(excerpt.sample_rate_hz), excerpt.name, notes=notes, drawing=drawing
    )


@dataclass
class _Bench:
    """Sounds by what they are: one that stands in two steps is one."""

    inside: frozenset[int] = frozenset()
    _keys: dict[int, str] = field(default_factory=dict)
    _heard: list[Heard] = field(default_factory=list)

    def add(self, heard: Heard) -> None:
        if id(heard) not in self._keys:
            self._heard.append(heard)
            self._keys[id(heard)] = f"sound-{len(self._heard)}"

    def add_wire(self, heard: Heard) -> None:
        """Add what is heard on a wire, unless something there sounds like it."""
        alike = next((known for known in self._heard if np.array_equal(known.audio, heard.audio)), heard)
        self.add(alike)
        self._keys.setdefault(id(heard), self._keys[id(alike)])

    def key(self, heard: Heard) -> str:
        return self._keys[id(heard)]

    @property
    def raw(self) -> list[RawSound]:
        """All with as many channels as the widest, so that mono and stereo are equally loud on two loudspeakers."""
        width = max(heard.audio.shape[1] for heard in self._heard)
        return [
            RawSound(
                key=self.key(heard),
                name=heard.name,
                role="take" if heard.sketch is None else "version",
                scene=SCENE,
                audio=np.array(np.broadcast_to(heard.audio, (heard.audio.shape[0], width))),
                lossy=id(heard) in self.inside,
            )
            for heard in self._heard
        ]


def _drawings(draft: StepDraft, bench: _Bench) -> tuple[tuple[str, str], ...]:
    """Each chain of a step once, under the name of its first sound; its last wire plays that."""
    dry = next((bench.key(heard) for heard in draft.heard if heard.sketch is None), None)
    drawn = []
    for sketch, heard in _chains(draft).values():
        last = lay_out(sketch.base).leads_out
        sounds = {last: bench.key(heard)} if dry is None else {INPUT: dry, last: bench.key(heard)}
        drawn.append((heard.name, draw_svg(sketch.base, title=f"Signal flow: {heard.name}", sounds=sounds)))
    return tuple(drawn)


def _settings(draft: StepDraft) -> tuple[tuple[str, str], ...]:
    return tuple((heard.name, sketch.text.strip()) for sketch, heard in _chains(draft).values())


def _chains(draft: StepDraft) -> Mapping[str, tuple[Sketch, Heard]]:
    """Sketches of a step by their text, with the first sound that each made."""
    found: dict[str, tuple[Sketch, Heard]] = {}
    for heard in draft.heard:
        if heard.sketch is not None and draft.draws:
            found.setdefault(heard.sketch.text, (heard.sketch, heard))
    return found


def _about(excerpt: Excerpt) -> tuple[str, ...]:
    seconds = excerpt.audio.size / excerpt.sample_rate_hz
    return (
        f"All figures were measured on the sounds of this page: {seconds:.1f} s of {excerpt.name}, through the chains "
        "shown. With another take they are others, and the sentences say so.",
    )
