"""Rows of long tables that `pytest -m thorough` runs beside the others: the same kind of case once more."""

from __future__ import annotations

from typing import Any

import pytest


def thorough(*rows: Any) -> list[Any]:
    """Parameters that a usual run leaves out."""
    return [pytest.param(*(r if isinstance(r, tuple) else (r,)), marks=pytest.mark.thorough) for r in rows]
