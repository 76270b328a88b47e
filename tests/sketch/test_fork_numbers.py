"""A fork has one number in all chains of a sketch, and its lanes keep theirs."""

from __future__ import annotations

import numpy as np

from chainsim.graph.rendering import render
from chainsim.sketch.chain import BlenderStep, Chain, LanesStep
from chainsim.sketch.fork_numbers import numbered
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.timeline import timeline

SET = """
chain = ["a", { lanes = ["dry", ["b", { lanes = ["c", "dry"] }]] }, { blender = "mix", wet = [{ lanes = ["d", "f"] }] },
         { lanes = ["dry", "g", "e"] }]
[blocks]
a = { type = "gain" }
a2 = { type = "gain" }
b = { type = "gain" }
c = { type = "gain" }
d = { type = "gain" }
e = { type = "gain", gain_db = 3, switching = "always_on" }
f = { type = "gain" }
g = { type = "gain" }
mix = { type = "blender" }
[patches.written]
[patches.turned]
chain = [{ lanes = ["dry", "g", { chain = ["e"], level_db = -3, pan = 1 }], align = true }, { lanes = ["a2", "b"] },
         { lanes = ["c", "dry"] }]
[patches.again]
chain = [{ lanes = ["dry", "dry"] }, { lanes = ["dry", "dry"] }, { lanes = ["b", "a2"] }, "e"]
"""
CUES = """
[[cues]]
at_s = 0
patch = "written"
[[cues]]
at_s = 0.1
patch = "turned"
[[cues]]
at_s = 0.2
dry = true
"""


def forks(chain: Chain) -> list[int]:
    return [step.number for step in chain if isinstance(step, LanesStep)]


def test_forks_are_counted_as_the_sound_reaches_their_sums() -> None:
    _, outer, blend, last = parse_sketch(SET).base.chain
    assert isinstance(outer, LanesStep)
    assert isinstance(blend, BlenderStep)
    assert (forks(outer.lanes[1].chain), outer.number, forks(blend.wet), forks((last,))) == ([1], 2, [3], [4])
    assert [lane.number for lane in outer.lanes] == [1, 2]


def test_the_same_fork_of_another_chain_has_the_same_number() -> None:
    patches = {name: patch.state.chain for name, patch in parse_sketch(SET).patches.items()}
    # Levels, pans and the waiting make no other fork of it; other blocks do, and so does another order of them.
    assert forks(patches["turned"]) == [4, 5, 1]
    # Straight lanes alone are alike twice, and are two forks.
    assert forks(patches["again"]) == [6, 7, 8]
    assert forks(numbered(patches["again"])) == [1, 2, 3]
    # Also where two other chains have it once each.
    once = numbered(patches["again"][:1])
    assert forks(numbered(patches["again"][:2], [once, once])) == [1, 2]


def test_a_probe_is_the_same_wire_through_all_cues() -> None:
    sketch = parse_sketch(SET + CUES)
    (plain_fork,) = timeline(sketch)[-1][1].chain
    assert isinstance(plain_fork, LanesStep)
    assert [lane.number for lane in plain_fork.lanes] == [1, 3]  # the one between went with its block
    take = np.random.default_rng(1).standard_normal((2_400, 1))
    heard = render(sketch, take, 8_000.0, probes=("sum 1", "sum 4", "lane 4.3", "e")).probes
    # Away from the ramps of 80 frames after each cue, at frames 800 and 1600.
    written, turned, plain = slice(0, 800), slice(900, 1600), slice(1700, 2400)
    assert [heard["sum 1"][there].any() for there in (written, turned, plain)] == [True, True, False]
    # A pan keeps the power of a mono sound on both sides: hard right it is 3.01 dB louder there. The patch is still on
    # when it is gone around.
    panned = 2**0.5 * 10 ** (-3 / 20)
    for there, gain in ((written, 1.0), (turned, panned), (plain, panned)):
        np.testing.assert_allclose(heard["lane 4.3"][there, 1], gain * heard["e"][there, 0], rtol=1e-9)
        assert heard["sum 4"][there].any()
