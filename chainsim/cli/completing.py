"""What the shell completes beside options and files: names of blocks, and of a sketch's patches, rooms and seats."""

from __future__ import annotations

from typing import Any

import click


def block_and_controller_names(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Types of blocks and controllers."""
    from chainsim.block import block_type_names
    from chainsim.stage.controllers import CONTROLLER_TYPES

    return [name for name in (*block_type_names(), *CONTROLLER_TYPES) if name.startswith(incomplete)]


def names_in_sketch(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Patches, rooms or seats of the sketches that stand on the line; nothing of one that cannot be read."""
    tables = {"patch": "patches", "room": "rooms", "seat": "seats"}
    names: dict[str, None] = {}
    for written in map(_tables, _sketches(ctx)):
        if param.name == "seat":
            house = written.get("house")
            written = {"seats": {"front_row": {}, "back": {}}, **house} if isinstance(house, dict) else {}
        found = written.get(tables[param.name or ""], {})
        names |= dict.fromkeys(found) if isinstance(found, dict) else {}
    return [name for name in names if name.startswith(incomplete)]


def _sketches(ctx: click.Context) -> list[Any]:
    """Those on the line; words before an option that still lacks its value are not yet taken for them."""
    taken = ctx.params.get("sketch") or ctx.params.get("sketches") or ctx.params.get("sources") or ()
    given = taken if isinstance(taken, tuple) else (taken,)
    return list(given or [word for word in ctx.args if word.endswith(".toml")])


def _tables(sketch: Any) -> dict[str, Any]:
    import tomllib

    try:
        with open(sketch, "rb") as file:
            return tomllib.load(file)
    except (OSError, TypeError, ValueError, RecursionError):
        return {}
