"""Writing output trims into the text of a sketch; comments and layout stay as they are."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping
from typing import Any

from chainsim.errors import SketchError

DIGITS = 2


def with_trims(text: str, trims_db: Mapping[str | None, float]) -> str:
    """The text of a sketch with `trim_db` set in patches by name; None stands for the sketch as written.

    Raises
    ------
    SketchError
        If a table is written in a way that cannot be changed without changing more.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    values = {name: round(trim, DIGITS) + 0.0 for name, trim in trims_db.items()}
    wanted: dict[str, Any] = copy.deepcopy(tomllib.loads(text))
    try:
        document = tomlkit.parse(text)
        for name, value in values.items():
            wanted_table = wanted if name is None else wanted["patches"][name]
            wanted_table["trim_db"] = value
            table: Any = document if name is None else document["patches"][name]
            _set(table, value)
        found = tomlkit.dumps(document)
        if tomllib.loads(found) == wanted:
            return found
    except (TOMLKitError, ValueError, KeyError):
        pass
    places = {name: "" if name is None else f"patches.{name}." for name in values}
    lines = (f"{places[name]}trim_db = {value:g}" for name, value in values.items())
    raise SketchError(f"the trims cannot be written between these tables; write them yourself: {', '.join(lines)}")


def _set(table: Any, value: float) -> None:
    """Set the trim behind the last setting: what follows it as comment and space belongs to the next table."""
    body = getattr(getattr(table, "value", None), "body", None)
    if "trim_db" in table or body is None or not any(key is not None for key, _ in body):
        table["trim_db"] = value
        return
    behind = []
    while body[-1][0] is None:
        behind.append(body.pop())
    table["trim_db"] = value
    body.extend(reversed(behind))
