"""What the shell completes beside options and files: names of blocks, and of a sketch's patches and rooms."""

from __future__ import annotations

from typing import Any

import click


def block_and_controller_names(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Types of blocks and controllers."""
    from chainsim.block import block_type_names
    from chainsim.stage.controllers import CONTROLLER_TYPES

    return [name for name in (*block_type_names(), *CONTROLLER_TYPES) if name.startswith(incomplete)]


def names_in_sketch(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Patches for --patch, rooms for --room, of the sketch that stands on the line; nothing where it cannot be read."""
    tables = {"patch": "patches", "room": "rooms"}
    # Words before an option that still lacks its value are not yet taken for the sketch.
    sketch = ctx.params.get("sketch") or next((word for word in ctx.args if word.endswith(".toml")), None)
    found = _tables(sketch).get(tables[param.name or ""], {})
    return [name for name in found if name.startswith(incomplete)] if isinstance(found, dict) else []


def _tables(sketch: Any) -> dict[str, Any]:
    import tomllib

    try:
        with open(sketch, "rb") as file:
            return tomllib.load(file)
    except (OSError, TypeError, ValueError, RecursionError):
        return {}
