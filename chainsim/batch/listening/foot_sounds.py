"""The sounds that a foot can call on the page of a set: each state of the board alone, over the whole take.

The page goes from one whole render to another: what the patch before leaves ringing is not heard in the next, nor is a
tapped tempo. A render of the saved cues has both.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from chainsim.audio.reading import TakeArray
from chainsim.batch.listening.excerpt import Excerpt, Samples, in_excerpt
from chainsim.batch.listening.foot_part import SetPart, set_part
from chainsim.batch.listening.foot_plain import (
    bars_plain,
    board_plain,
    cue_cells,
    cues_plain,
    foot_times_plain,
    heard_plain,
)
from chainsim.batch.listening.foot_states import alone_at, reached
from chainsim.batch.listening.telling import Progress, untold
from chainsim.batch.sounds.union import Union
from chainsim.errors import SketchError
from chainsim.graph.build import Graph
from chainsim.graph.engine import Engine
from chainsim.listen.page.sounds import RawSound
from chainsim.sketch.model import Sketch
from chainsim.stage.board import Position
from chainsim.units import Array

MOST_FOOT_SOUNDS = 40
MOST_FOOT_S = 2500.0
"""Of all sounds together: 1 GB in memory, in stereo at 48 kHz."""
LONGEST_RINGING_S = 2.0
"""Of a sound after the end of the take; it fades over the second half of that."""
NAMED = 3
"""How many of those left out are called by name."""


@dataclass(frozen=True)
class FootAtKeys:
    """A board to play along with a take.

    Attributes
    ----------
    sketch : Sketch
    raw : tuple of RawSound
        One for each sound that presses lead to.
    keys : tuple of (Position, str)
        Which of them is heard at a position; silence has none.
    left_out : tuple of str
        What the foot reaches and the page does not hold, in the words of `Position.text`.
    all_found : bool
        Whether the foot reaches nothing else.
    excerpt : Excerpt or None
        The part of the take that the page plays, if not all of it.
    """

    sketch: Sketch
    raw: tuple[RawSound, ...]
    keys: tuple[tuple[Position, str], ...]
    left_out: tuple[str, ...] = ()
    all_found: bool = True
    excerpt: Excerpt | None = None

    @cached_property
    def part(self) -> SetPart:
        """What of the set's course is on the page."""
        return set_part(self.sketch, self.excerpt)

    @property
    def notes(self) -> tuple[str, ...]:
        """What the player should know of it, one line each."""
        said = [
            "Here each press goes over to a render of that state alone: what the patch before leaves ringing is not "
            "heard, nor is a tapped tempo. Render your saved cues to hear them as on stage."
        ]
        if self.part.before:
            said.append(f"The set's own cues before this part have brought the board to {self.part.start.text}.")
        if self.left_out or not self.all_found:
            count = f"{len(self.left_out)}" if self.all_found else f"{len(self.left_out)} or more"
            named = ", ".join(self.left_out[:NAMED]) + (", ..." if len(self.left_out) > NAMED else "")
            said.append(
                f"Your foot reaches {count} sounds that are not on this page ({named or 'by many presses'}): those "
                f"that take the most presses. A shorter part of the take has room for more, up to {MOST_FOOT_SOUNDS}."
            )
        return tuple(said)

    def plain(self) -> dict[str, Any]:
        """All but the sounds, in plain values."""
        sketch, part, excerpt = self.sketch, self.part, self.excerpt
        starts_s = 0.0 if excerpt is None else excerpt.from_s
        return {
            "title": sketch.title,
            "board": board_plain(sketch.board, part.start),
            "foot": foot_times_plain(sketch.foot),
            "bars": bars_plain(sketch, starts_s, part.start_quarters, part.tapped),
            "cues": cues_plain(part.cues),
            "cuesBefore": [cue_cells(cue) for cue in part.before],
            "cuesAfter": [cue_cells(cue) for cue in part.after],
            "sounds": [{**heard_plain(position), "sound": key} for position, key in self.keys],
            "startsS": starts_s,
            "endsS": None if excerpt is None else excerpt.to_s,
            "notes": list(self.notes),
        }


def foot_of(
    sketch: Sketch,
    take: Array,
    sample_rate_hz: int,
    *,
    excerpt: Excerpt | None = None,
    scene: str = "take",
    threads: int | None = None,
    told: Progress = untold,
) -> FootAtKeys | None:
    """Make the sounds that presses lead to.

    Parameters
    ----------
    sketch : Sketch
    take : ndarray, shape (frames, channels)
        All of it.
    sample_rate_hz : int
    excerpt : Excerpt, optional
        The part of it that the page plays. All up to there is sent through, so that controllers and what rings on stand
        at its beginning as they do there.
    scene : str
        Of the page's other sounds, with which these are in time.
    threads : int, optional
        Default: one a core.
    told : callable, optional
        Told of what is being done, how much is done and how much there is.

    Returns
    -------
    FootAtKeys or None
        None if the sketch has no switches.

    Raises
    ------
    SketchError, GraphError, AudioError
        If a state cannot be built for this take, or the take cannot be used.
    """
    if not sketch.switches:
        return None
    checked = TakeArray(take, sample_rate_hz)
    take_s = checked.frames / sample_rate_hz
    seconds = take_s + LONGEST_RINGING_S if excerpt is None else min(excerpt.to_s, take_s) - excerpt.from_s
    most = max(1, min(MOST_FOOT_SOUNDS, int(MOST_FOOT_S / seconds)))
    start = set_part(sketch, excerpt).start
    positions, all_found = reached(sketch.board, 2 * MOST_FOOT_SOUNDS, start)
    graph = _graph(sketch, positions, checked)
    alike = _alike(graph, len(positions))
    kept = list(dict.fromkeys(alike))[:most]
    if len(kept) < len(positions):
        graph = _graph(sketch, [positions[i] for i in kept], checked)
    sounds = _rendered(graph, checked, len(kept), excerpt, threads or os.cpu_count() or 1, told)
    return FootAtKeys(
        sketch=sketch,
        raw=tuple(
            RawSound(_key(number), positions[i].text, "part", scene, sound)
            for number, (i, sound) in enumerate(zip(kept, sounds, strict=True))
        ),
        keys=tuple((positions[i], _key(kept.index(first))) for i, first in enumerate(alike) if first in kept),
        left_out=tuple(positions[i].text for i, first in enumerate(alike) if first not in kept),
        all_found=all_found,
        excerpt=excerpt,
    )


def _graph(sketch: Sketch, positions: Sequence[Position], take: TakeArray) -> Graph:
    sketches = {str(i): alone_at(sketch, position) for i, position in enumerate(positions)}
    union = Union(take.sample_rate_hz, take.channels, sketches)
    for label, why in union.refused.items():
        raise SketchError([f"{positions[int(label)].text}: {why}"])
    assert union.graph is not None
    return union.graph


def _alike(graph: Graph, count: int) -> list[int]:
    """Of each output the first that is the same sum of the same nodes."""
    first: dict[object, int] = {}
    found = []
    for i in range(count):
        edges = graph.outputs[f"{i}:out"].ports["in"]
        found.append(first.setdefault(tuple((id(e.source), e.gain) for e in edges), i))
    return found


def _rendered(
    graph: Graph, take: TakeArray, count: int, excerpt: Excerpt | None, threads: int, told: Progress
) -> list[Samples]:
    """The sounds, each without its latency, from the beginning of the part to its end, or until it has rung out."""
    rate_hz = graph.sample_rate_hz
    ringing = round(LONGEST_RINGING_S * rate_hz)
    begin, end = 0, take.frames + ringing
    if excerpt is not None:
        begin, end = round(excerpt.from_s * rate_hz), min(round(excerpt.to_s * rate_hz), take.frames)
    late = [round(graph.latencies[str(i)][0]) for i in range(count)]
    sounds: list[Samples] = []
    for i in range(count):
        frames = min(graph.frames(take.frames, str(i)), end + late[i]) - begin - late[i]
        sounds.append(np.zeros((frames, graph.channels(f"{i}:out")), np.float32))
    for n0, outputs in Engine(graph, take.read, take.frames, threads=threads).stream():
        told("sounds for the foot", n0, end + max(late))
        if n0 >= end + max(late):
            break
        for i, sound in enumerate(sounds):
            _place(outputs[f"{i}:out"].T, n0 - begin - late[i], sound)
    if excerpt is None:
        for sound in sounds:
            _fade_ringing(sound, take.frames, ringing)
        return [in_excerpt(sound, rate_hz, None) for sound in sounds]
    return [in_excerpt(sound, rate_hz, Excerpt(0.0, len(sound) / rate_hz)) for sound in sounds]


def _place(span: Samples, at: int, sound: Samples) -> None:
    """Write a span, shape (frames, channels), into a sound, whose frame `at` is its first; what juts out is dropped."""
    first, end = max(at, 0), min(at + len(span), len(sound))
    if first < end:
        sound[first:end] = span[first - at : end - at]


def _fade_ringing(sound: Samples, take_frames: int, ringing: int) -> None:
    """Fade what rings for longer than a sound may, over the second half of that time."""
    if len(sound) == take_frames + ringing:
        half = ringing // 2
        sound[-half:] *= np.linspace(1.0, 0.0, half, dtype=np.float32)[:, np.newaxis]


def _key(number: int) -> str:
    return f"foot-{number + 1}"
