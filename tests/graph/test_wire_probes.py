"""Wires that are no block's output can be probed: what a fork gives, and its lanes after level and pan."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.errors import GraphError
from chainsim.graph.rendering import render
from chainsim.sketch.loading import parse_sketch
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)

RATE_HZ = 8_000.0

NESTED = """
chain = [{ lanes = ["dry", { chain = [{ lanes = ["dry", "late"], align = true }], level_db = -6 },
                    { chain = ["low"], pan = -1 }, { chain = ["high"], level_db = "off", pan = 1 }] }]
[blocks.late]
type = "test_frames"
[blocks.low]
type = "gain"
gain_db = -3
[blocks.high]
type = "gain"
gain_db = 3
"""
WIRES = ("input", "sum 1", "sum 2", "lane 1.1", "lane 1.2", "lane 2.1", "lane 2.2", "lane 2.3", "lane 2.4")

SET = """
chain = ["a", { lanes = ["dry", { chain = ["b"], level_db = -6 }] }]
[blocks.a]
type = "gain"
[blocks.b]
type = "gain"
[patches.forked]
[patches.straight]
chain = ["a", "b"]
[[cues]]
at_s = 0
patch = "forked"
[[cues]]
at_s = 0.05
patch = "straight"
"""


@pytest.fixture(scope="module")
def take() -> np.ndarray:
    return np.random.default_rng(8).standard_normal((900, 1)) * 0.1


def test_wires_of_a_nested_fork(take: np.ndarray) -> None:
    found = render(parse_sketch(NESTED), take, RATE_HZ, probes=WIRES)
    wires = found.probes
    assert set(wires) == set(WIRES)
    assert wires["sum 2"].tobytes() == found.audio.tobytes()
    assert wires["lane 2.1"].tobytes() == wires["lane 1.1"].tobytes() == wires["input"].tobytes()
    np.testing.assert_allclose(wires["lane 2.2"], 10 ** (-6 / 20) * wires["sum 1"], rtol=1e-12)
    assert not wires["lane 2.4"].any()
    # Hard left of a mono sound: everything on the left, nothing on the right.
    assert wires["lane 2.3"].shape[1] == 2
    assert np.abs(wires["lane 2.3"][:, 1]).max() < 1e-15
    lanes = sum(wires[f"lane 2.{i}"] for i in (1, 2, 3))
    np.testing.assert_allclose(lanes, wires["sum 2"], atol=1e-15)


def test_probes_leave_the_render_alone(take: np.ndarray) -> None:
    plain, probed = (render(parse_sketch(NESTED), take, RATE_HZ, probes=p) for p in ((), WIRES))
    assert probed.audio.tobytes() == plain.audio.tobytes()
    assert probed.warnings == plain.warnings
    assert probed.latency_samples == plain.latency_samples


def test_a_wire_that_only_one_state_has_is_silent_in_the_others(take: np.ndarray) -> None:
    found = render(parse_sketch(SET), take, RATE_HZ, probes=["sum 1", "lane 1.2"])
    before, after = slice(0, 400), slice(500, 900)  # the cue comes at sample 400, its ramps last 80 samples
    assert found.probes["sum 1"][before].tobytes() == found.audio[before].tobytes()
    assert np.abs(found.probes["lane 1.2"][before]).max() > 0.05
    assert not found.probes["sum 1"][after].any()
    assert not found.probes["lane 1.2"][after].any()


@pytest.mark.parametrize("name", ["sum 0", "sum 3", "lane 1.5", "lane 1", "sum", "late "])
def test_a_wire_that_is_not_there_is_refused(name: str, take: np.ndarray) -> None:
    with pytest.raises(
        GraphError, match=rf'^probe "{name}": no such block or wire; there are input, .*lane 1.1, .*sum 1'
    ):
        render(parse_sketch(NESTED), take, RATE_HZ, probes=[name])
