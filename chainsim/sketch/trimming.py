"""Writing output trims into the text of a sketch; comments and layout stay as they are."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from contextlib import suppress

from chainsim.errors import SketchError
from chainsim.sketch.rewriting import rewritten

DIGITS = 2


def with_trims(text: str, trims_db: Mapping[str | None, float]) -> str:
    """The text of a sketch with `trim_db` set in patches by name; None stands for the sketch as written.

    Raises
    ------
    SketchError
        If a table is written in a way that cannot be changed without changing more.
    """
    values = {name: round(trim, DIGITS) + 0.0 for name, trim in trims_db.items()}
    written = {(*(() if name is None else ("patches", name)), "trim_db"): trim for name, trim in values.items()}
    if {name for name in values if name is not None} <= set(tomllib.loads(text).get("patches", {})):
        with suppress(SketchError):
            return rewritten(text, written)
    lines = (f"{'.'.join(place)} = {value:g}" for place, value in written.items())
    raise SketchError(f"the trims cannot be written between these tables; write them yourself: {', '.join(lines)}")
