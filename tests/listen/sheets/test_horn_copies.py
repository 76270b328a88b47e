"""How many copies of the horn come out of a step: by hand, from its levels."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.listen.sheets.failure_sheet.horn_copies import copies
from chainsim.sketch.loading import parse_sketch

HALF_DB = -20.0 * np.log10(2.0)
GAIN = '[blocks.box]\ntype = "gain"\n'


def counted(fork: str, tables: str = "") -> tuple[tuple[float, float], tuple[float, float]]:
    """The straight count and the whole one, each left and right, of the one fork of a chain."""
    state = parse_sketch(f"chain = [{fork}]\n{tables}").base
    straight, whole = copies(state.chain[-1], state)
    return tuple(straight), tuple(whole)


def near(left: float, right: float | None = None) -> object:
    return pytest.approx((left, left if right is None else right))


def test_lanes_add_up_by_their_levels() -> None:
    """1 plain, and half of it: 1.5."""
    straight, whole = counted(f'{{ lanes = ["dry", {{ chain = ["box"], level_db = {HALF_DB} }}] }}', GAIN)
    assert straight == whole == near(1.5)


def test_a_block_s_own_level_and_place_count() -> None:
    """Half of it, at the right: 3 dB more there, nothing at the left."""
    tables = f'{GAIN}gain_db = {HALF_DB}\n[blocks.beside]\ntype = "pan"\npan = 1\n'
    straight, whole = counted('{ lanes = ["dry", ["box", "beside"]] }', tables)
    assert straight == whole == near(1.0, 1.0 + np.sqrt(2.0) / 2.0)


def test_what_shapes_the_sound_is_no_copy_but_as_loud() -> None:
    straight, whole = counted('{ lanes = ["dry", ["box"]] }', '[blocks.box]\ntype = "drive"\nwet_db = 0\n')
    assert straight == near(1.0)
    assert whole == near(2.0)


@pytest.mark.parametrize(("listens_to", "straight_count"), [("", 2.0), ("input", 2.0), ("other", 1.0)])
def test_a_gate_that_listens_elsewhere_may_be_shut(listens_to: str, straight_count: float) -> None:
    """Then it is no copy to be counted on; open, it is as loud as one."""
    gate = '[blocks.box]\ntype = "noise_gate"\n' + (f'listens_to = "{listens_to}"\n' if listens_to else "")
    straight, whole = counted('"other", { lanes = ["dry", ["box"]] }', gate + '[blocks.other]\ntype = "drive"\n')
    assert straight == near(straight_count)
    assert whole == near(2.0)


def test_a_turned_polarity_takes_away() -> None:
    """A blender's half behind the plain horn, upside down: half a horn is left."""
    straight, whole = counted(
        '{ blender = "mix", wet = ["box"] }',
        f'{GAIN}[blocks.mix]\ntype = "blender"\ndry_db = 0\nwet_db = {HALF_DB}\nflip_wet = true\n',
    )
    assert straight == whole == near(0.5)


def test_a_lane_at_one_side_counts_there() -> None:
    """By the law of equal power, with 0 dB in the middle, it is 3 dB more at its side."""
    straight, _ = counted('{ lanes = ["dry", { chain = ["box"], pan = -1 }] }', GAIN)
    assert straight == near(1.0 + np.sqrt(2.0), 1.0)
