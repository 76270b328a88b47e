"""Reading `[levels]`: what the recording's figures stand for on wires."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from chainsim.settings import Settings
from chainsim.sketch.levels import (
    ActiveBoxSettings,
    Levels,
    LevelSettings,
    LineInputSettings,
    MicrophoneInputSettings,
    PassiveBoxSettings,
)
from chainsim.sketch.reading import read_settings

LEVEL_PARTS: Mapping[str, type[Settings]] = {
    "active_box": ActiveBoxSettings,
    "passive_box": PassiveBoxSettings,
    "microphone_input": MicrophoneInputSettings,
    "line_input": LineInputSettings,
}


def read_levels(table: object, faults: list[str]) -> Levels | None:
    """Check `[levels]`; None where there is none, or none that can be used."""
    if table is None:
        return None
    if not isinstance(table, dict):
        faults.append("levels: allowed a table, such as [levels] with input_dbu = 4")
        return None
    own = {k: v for k, v in table.items() if k not in LEVEL_PARTS}
    settings = read_settings(LevelSettings, own, "levels", faults, also_known=LEVEL_PARTS)
    parts: dict[str, Any] = {}
    for name, kind in LEVEL_PARTS.items():
        said = table.get(name, {})
        if isinstance(said, dict):
            parts[name] = read_settings(kind, said, f"levels.{name}", faults)
        else:
            faults.append(f"levels.{name}: allowed a table: [levels.{name}]")
    if settings is None or None in parts.values() or len(parts) < len(LEVEL_PARTS):
        return None
    return Levels(settings, **parts)
