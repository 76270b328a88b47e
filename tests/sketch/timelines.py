"""A set, and what is read off its timeline: who sounds from when on, and at which tempo."""

from __future__ import annotations

import itertools

from chainsim.sketch.chain import block_names
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch, State
from chainsim.sketch.timeline import timeline
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)

SET = """
chain = ["tone", "drive", "echo", "hall"]
[blocks.tone]
type = "gain"
[blocks.drive]
type = "gain"
[blocks.echo]
type = "test_echo"
switching = "free_standing"
engaged = false
[blocks.hall]
type = "test_hall"
switching = "always_on"
[patches.plain]
engage = []
[patches.rough]
engage = ["drive"]
[patches.slow]
engage = ["tone"]
tempo_bpm = 60
[patches.bare]
chain = ["hall"]
[[banks]]
name = "Quay"
patches = ["plain", "rough"]
[[banks]]
name = "Pier"
patches = ["slow", "bare"]
[[switches]]
name = "1"
press = "place 1"
[[switches]]
name = "2"
press = "place 2"
second_press = "back"
[[switches]]
name = "up"
press = "bank up"
[[switches]]
name = "drive"
press = "block drive"
[[switches]]
name = "echo"
press = "block echo"
[[switches]]
name = "mute"
press = "mute"
hold = "dry"
[[switches]]
name = "tap"
press = "tap"
"""


def cues(*lines: str) -> str:
    return "".join(f"[[cues]]\n{line}\n" for line in lines)


def heard(state: State) -> str:
    """The blocks that sound, in the order of the chain; "-" is silence."""
    return "-" if state.muted else " ".join(n for n in block_names(state.chain) if state.blocks[n].common.engaged)


def sounds(sketch: Sketch) -> list[tuple[float, str]]:
    return [(round(at_s, 9), heard(state)) for at_s, state in timeline(sketch)]


def tempi(sketch: Sketch) -> list[tuple[float, float]]:
    """From when on which tempo holds."""
    found = [(round(at_s, 9), round(state.tempo_bpm, 9)) for at_s, state in timeline(sketch)]
    return [found[0], *(now for before, now in itertools.pairwise(found) if now[1] != before[1])]


def of(*lines: str, head: str = "") -> Sketch:
    return parse_sketch(head + SET + cues(*lines))


AS_WRITTEN = "tone drive hall"
