"""What is told of a sketch without a take, where the answer follows from how it was made."""

from __future__ import annotations

import pytest

from chainsim.batch.checking import check_sketch
from chainsim.errors import SketchError
from chainsim.sketch.loading import parse_sketch


def test_what_makes_it_stereo_is_named() -> None:
    text = 'feed = "mono"\nchain = [{ lanes = ["dry", { chain = ["gain"], pan = 0.5 }] }]'
    (state,) = check_sketch(parse_sketch(text)).states
    assert (state.out_channels, state.made_stereo_by) == (2, ("pan of lane 2",))
    (state,) = check_sketch(parse_sketch('feed = "mono"\nchain = ["gain"]'), channels=2).states
    assert (state.out_channels, state.made_stereo_by) == (2, ())


def test_second_instances_are_listed() -> None:
    two = '[blocks.a]\ntype = "gain"\n[blocks.b]\ntype = "noise_gate"\n'
    turned = parse_sketch('chain = ["a", "b"]\n' + two + '[patches.turned]\nchain = ["b", "a"]')
    assert list(check_sketch(turned).second_instances.values()) == [2]
    fixed = parse_sketch('chain = ["a", "b"]\n' + two + "[patches.slow.blocks.b]\nattack_ms = 50")
    assert check_sketch(fixed).second_instances == {"b": 2}
    moved = parse_sketch('chain = ["a", "b"]\n' + two + "[patches.loud.blocks.a]\ngain_db = 6")
    assert check_sketch(moved).second_instances == {}


def test_a_patch_that_cannot_be_built_is_named() -> None:
    text = 'chain = ["a", "b"]\n[blocks.a]\ntype = "gain"\n[blocks.b]\ntype = "noise_gate"\nlistens_to = "a"\n'
    with pytest.raises(SketchError, match=r"^patches\.turned: blocks\.\w: loop"):
        check_sketch(parse_sketch(text + '[patches.turned]\nchain = ["b", "a"]'))
