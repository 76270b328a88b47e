"""The sounds that a foot can call on the page of a set: each state of the board alone, over the whole take.

The page goes from one whole render to another: what the patch before leaves ringing is not heard in the next, nor is a
tapped tempo. A render of the saved cues has both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from chainsim.audio.reading import TakeArray
from chainsim.batch.listening.foot_plain import bars_plain, board_plain, cues_plain, foot_times_plain, heard_plain
from chainsim.batch.listening.foot_states import alone_at, reached
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
    starts_s : float
        When in the take the page begins.
    """

    sketch: Sketch
    raw: tuple[RawSound, ...]
    keys: tuple[tuple[Position, str], ...]
    left_out: tuple[str, ...] = ()
    all_found: bool = True
    starts_s: float = 0.0

    @property
    def notes(self) -> tuple[str, ...]:
        """What the player should know of it, one line each."""
        said = [
            "Here each press goes over to a render of that state alone: what the patch before leaves ringing is not "
            "heard, nor is a tapped tempo. Render your saved cues to hear them as on stage."
        ]
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
        sketch = self.sketch
        return {
            "title": sketch.title,
            "board": board_plain(sketch.board),
            "foot": foot_times_plain(sketch.foot),
            "bars": bars_plain(sketch),
            "cues": list(cues_plain(sketch)),
            "sounds": [{**heard_plain(position), "sound": key} for position, key in self.keys],
            "startsS": self.starts_s,
            "notes": list(self.notes),
        }


def foot_of(
    sketch: Sketch, take: Array, sample_rate_hz: int, *, starts_s: float = 0.0, scene: str = "take"
) -> FootAtKeys | None:
    """Make the sounds that presses lead to.

    Parameters
    ----------
    sketch : Sketch
    take : ndarray, shape (frames, channels)
        As the page plays it.
    sample_rate_hz : int
    starts_s : float
        When in the take that part begins; the page's times count from there.
    scene : str
        Of the page's other sounds, with which these are in time.

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
    seconds = checked.frames / sample_rate_hz + LONGEST_RINGING_S
    most = max(1, min(MOST_FOOT_SOUNDS, int(MOST_FOOT_S / seconds)))
    positions, all_found = reached(sketch.board, 2 * MOST_FOOT_SOUNDS)
    graph = _graph(sketch, positions, checked)
    alike = _alike(graph, len(positions))
    kept = list(dict.fromkeys(alike))[:most]
    if len(kept) < len(positions):
        graph = _graph(sketch, [positions[i] for i in kept], checked)
    return FootAtKeys(
        sketch=sketch,
        raw=_rendered(graph, checked, [positions[i].text for i in kept], scene),
        keys=tuple((positions[i], _key(kept.index(first))) for i, first in enumerate(alike) if first in kept),
        left_out=tuple(positions[i].text for i, first in enumerate(alike) if first not in kept),
        all_found=all_found,
        starts_s=starts_s,
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


def _rendered(graph: Graph, take: TakeArray, names: Sequence[str], scene: str) -> tuple[RawSound, ...]:
    rate_hz = graph.sample_rate_hz
    longest = take.frames + round(LONGEST_RINGING_S * rate_hz)
    sounds = [
        np.zeros((min(graph.frames(take.frames, str(i)), longest), graph.channels(f"{i}:out")), np.float32)
        for i in range(len(names))
    ]
    for n0, outputs in Engine(graph, take.read, take.frames).stream():
        for i, sound in enumerate(sounds):
            there = sound[n0 : n0 + outputs[f"{i}:out"].shape[1]]
            there[:] = outputs[f"{i}:out"][:, : len(there)].T
        if n0 >= longest:
            break
    fade = np.linspace(1.0, 0.0, (longest - take.frames) // 2, dtype=np.float32)[:, np.newaxis]
    for sound in sounds:
        if len(sound) == longest:
            sound[-len(fade) :] *= fade
    return tuple(
        RawSound(_key(i), name, "part", scene, sounds[i], graph.latencies[str(i)][0] / rate_hz)
        for i, name in enumerate(names)
    )


def _key(number: int) -> str:
    return f"foot-{number + 1}"
