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
    """Patches, rooms or seats of the sketch that stands on the line; nothing where it cannot be read."""
    tables = {"patch": "patches", "room": "rooms", "seat": "seats"}
    # Words before an option that still lacks its value are not yet taken for the sketch.
    sketch = ctx.params.get("sketch") or next((word for word in ctx.args if word.endswith(".toml")), None)
    written = _tables(sketch)
    if param.name == "seat":
        house = written.get("house")
        written = {"seats": {"front_row": {}, "back": {}}, **house} if isinstance(house, dict) else {}
    found = written.get(tables[param.name or ""], {})
    return [name for name in found if name.startswith(incomplete)] if isinstance(found, dict) else []


def _tables(sketch: Any) -> dict[str, Any]:
    import tomllib

    try:
        with open(sketch, "rb") as file:
            return tomllib.load(file)
    except (OSError, TypeError, ValueError, RecursionError):
        return {}
