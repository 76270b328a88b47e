"""Trims written into a sketch's text: nothing else changes, however the tables are written."""

from __future__ import annotations

import tomllib

import pytest

from chainsim.errors import SketchError
from chainsim.sketch.trimming import with_trims

LAYOUTS = [
    'chain = ["a"]  # one\n[patches.p]\nengage = []\n\n# --- two\n[patches.q]\n',
    'chain = ["a"]\n[patches.p.blocks.a]\ngain_db = 1\n[patches.q]\n[patches.q.blocks.a]\ngain_db = 2\n',
    'chain = ["a"]\npatches.p.engage = []\npatches.q = { engage = ["a"] }\n[blocks.a]\ntype = "gain"\n',
    'chain = ["a"]\n[patches]\np = {}\nq = { trim_db = 5 }\n',
    'chain = ["a"]\r\n[patches.p]\r\nengage = []\r\n[patches.q]\r\n',
]


@pytest.mark.parametrize("text", LAYOUTS)
def test_only_the_trims_change(text: str) -> None:
    found = with_trims(text, {"p": -1.234, "q": 2.0, None: 0.5})
    wanted = tomllib.loads(text)
    wanted["trim_db"] = 0.5
    wanted["patches"]["p"]["trim_db"] = -1.23
    wanted["patches"]["q"]["trim_db"] = 2.0
    assert tomllib.loads(found) == wanted
    assert with_trims(found, {"p": -1.234, "q": 2.0, None: 0.5}) == found


def test_a_comment_stays_before_the_next_table() -> None:
    found = with_trims(LAYOUTS[0], {"p": 1.0})
    assert found == 'chain = ["a"]  # one\n[patches.p]\nengage = []\ntrim_db = 1.0\n\n# --- two\n[patches.q]\n'


def test_a_patch_that_is_not_there() -> None:
    with pytest.raises(SketchError, match=r"write them yourself: patches\.z\.trim_db = 1"):
        with_trims(LAYOUTS[0], {"z": 1.0})
