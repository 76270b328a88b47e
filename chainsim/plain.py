"""Values as JSON text, for records and for programs that read the command line."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any


def json_text(value: Any) -> str:
    """Indented JSON of plain values; JSON knows no infinity, so numbers that are not finite become null."""
    return json.dumps(_plain(value), indent=2, ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, Path):
        return str(value)
    if hasattr(value, "tolist"):  # numpy's arrays and numbers
        return _plain(value.tolist())
    return None if isinstance(value, float) and not math.isfinite(value) else value
