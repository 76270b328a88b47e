"""The chain drawn in characters."""

from __future__ import annotations

from chainsim.listen.drawing.text_drawing import WIDTH, draw_chain
from chainsim.sketch.loading import parse_sketch


def drawn(chain: str, blocks: str = "") -> list[str]:
    return draw_chain(parse_sketch(f"chain = {chain}\n{blocks}").base).splitlines()


def test_series() -> None:
    assert drawn('["gain", "pan"]') == ["input ─► gain ─► pan ─► out"]


def test_an_empty_chain_is_a_wire() -> None:
    assert drawn("[]") == ["input ──► out"]


def test_lanes_with_level_and_pan() -> None:
    assert drawn('[{ lanes = ["dry", ["gain"], { chain = ["pan"], level_db = -3, pan = 0.5 }] }]') == [
        "input ─┬────────────────────────┬─► sum ─► out",
        "       ├─► gain ────────────────┤",
        "       └─► pan ─ -3 dB pan +0.5 ┘",
    ]


def test_blender_and_disengaged() -> None:
    blocks = '[blocks.mix]\ntype = "blender"\ndry_db = -3\n[blocks.g]\ntype = "gain"\nengaged = false'
    assert drawn('[{ blender = "mix", wet = ["g"] }]', blocks) == [
        "input ─┬── -3 dB ──────┬─► mix ─► out",
        "       └─► (g) ─ +0 dB ┘",
    ]
    assert drawn('[{ blender = "mix", wet = ["g"] }]', blocks.replace("dry_db = -3", "flip_wet = true")) == [
        "input ─┬── +0 dB ───────────────────────┬─► mix ─► out",
        "       └─► (g) ─ polarity turned, +0 dB ┘",
    ]


def test_a_blender_that_is_out_leaves_the_wire_as_it_is() -> None:
    blocks = '[blocks.mix]\ntype = "blender"\nengaged = false\n[blocks.g]\ntype = "gain"'
    assert drawn('[{ blender = "mix", wet = ["g"] }, "pan"]', blocks) == [
        "input ─┬───────────────────► (mix) ─► pan ─► out",
        "       └─► g ─ ends here",
    ]


def test_a_long_chain_goes_on_in_rows() -> None:
    names = [f"block{i}" for i in range(20)]
    blocks = "".join(f'[blocks.{name}]\ntype = "gain"\n' for name in names)
    rows = drawn(str(names), blocks)
    assert all(len(row) <= WIDTH for row in rows)
    # Without the marks of going on, the rows are the chain in one.
    assert [row for row in rows if not row] == [""] * 2
    parts = [row.removesuffix("─ ...").removeprefix("... ") for row in rows if row]
    assert "".join(parts) == f"input {''.join(f'─► {name} ' for name in names)}─► out"


def test_a_fork_is_not_broken() -> None:
    names = [f"block{i}" for i in range(20)]
    blocks = "".join(f'[blocks.{name}]\ntype = "gain"\n' for name in [*names, "b"])
    fork, _, end = drawn(f'[{{ lanes = [{names}] }}, "b"]', blocks)
    assert fork.endswith("block19 ──► sum ─ ...")
    assert end == "... ─► b ─► out"
