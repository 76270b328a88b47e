"""Reading an inventory file: TOML in, a checked Inventory out, all faults of a file reported together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

from chainsim.errors import SketchError, printable
from chainsim.listen.sheets.carry_plan.inventory import (
    MOST_GEAR,
    MOST_SUPPLIES,
    Gear,
    Inventory,
    InventoryHeader,
    Limits,
    Supply,
)
from chainsim.sketch.reading import list_of, read_settings
from chainsim.sketch.toml_files import read_text, toml_values

MOST_OF_A_NAME = 40
"""So many letters of a name stand in a fault's place."""
PARTS = ("gear", "supplies", "limits")

T = TypeVar("T", Gear, Supply)


def load_inventory(path: str | Path) -> Inventory:
    """Load an inventory file.

    Parameters
    ----------
    path : str or Path
        A TOML 1.0 file.

    Raises
    ------
    SketchError
        If the file cannot be read or holds a fault; `faults` has one line for each.
    """
    path = Path(path)
    text = read_text(path, "an inventory")
    return parse_inventory(text, name=path.name)


def parse_inventory(text: str, *, name: str = "inventory") -> Inventory:
    """Check the text of an inventory; `name` heads the messages.

    Raises
    ------
    SketchError
        As `load_inventory`.
    """
    values = toml_values(text, name, several="[[gear]], [[supplies]]")
    faults: list[str] = []
    inventory = _checked(values, faults)
    if faults:
        raise SketchError([printable(f"{name}: {fault}") for fault in faults])
    return inventory


def _checked(values: dict[str, Any], faults: list[str]) -> Inventory:
    """What can be read of it; it is whole if there are no faults."""
    own = {k: v for k, v in values.items() if k not in PARTS}
    header = read_settings(InventoryHeader, own, "", faults, also_known=PARTS)
    table = values.get("limits", {})
    if not isinstance(table, dict):
        faults.append("limits: allowed a table: [limits]")
        table = {}
    limits = read_settings(Limits, table, "limits", faults)
    gear = _items(Gear, values, "gear", MOST_GEAR, faults)
    supplies = _items(Supply, values, "supplies", MOST_SUPPLIES, faults)
    if not values.get("gear"):
        faults.append("gear: missing; the least inventory has one [[gear]] with a name and what it makes")
    limits = limits or Limits()
    if (limits.board_width_mm is None) != (limits.board_depth_mm is None):
        faults.append("limits: a board has board_width_mm and board_depth_mm, found one of them")
    placed = [*(("gear", i, g) for i, g in enumerate(gear)), *(("supplies", i, s) for i, s in enumerate(supplies))]
    first: dict[str, str] = {}
    for part, i, item in placed:
        if item is None:
            continue
        place = _place(part, i, item.name)
        faults.extend(f"{place}.{missing}" for missing in _missing(item, limits))
        if item.name in first:
            faults.append(f'{place}.name = "{item.name}", allowed a name of its own; {first[item.name]} has it')
        elif item.name:
            first[item.name] = _place(part, i, None)
    return Inventory(
        header or InventoryHeader.model_validate({}),
        [g for g in gear if g is not None],
        [s for s in supplies if s is not None],
        limits,
    )


def _items(kind: type[T], values: dict[str, Any], key: str, most: int, faults: list[str]) -> Sequence[T | None]:
    tables = list_of(values, key, faults)
    if len(tables) > most:
        faults.append(f"{key}: {len(tables)} of them, allowed up to {most}")
        return []
    return [read_settings(kind, table, _place(key, i, table.get("name")), faults) for i, table in enumerate(tables)]


def _place(part: str, i: int, name: object) -> str:
    """Where an item stands: which of the tables it is, counted from 1, and what it is called."""
    called = f' "{name[:MOST_OF_A_NAME]}"' if isinstance(name, str) and name.strip() else ""
    return f"{part} no. {i + 1}{called}"


def _missing(item: Gear | Supply, limits: Limits) -> Iterator[str]:
    """Figures that some limit asks for, or that a plug needs.

    A mass may be missing: the plan then says that it weighs at least so much.
    """
    if not (item.name or "").strip():
        yield "name: missing; every item has one"
    if limits.has_board and item.on_board:
        for side in ("width_mm", "depth_mm"):
            if getattr(item, side) is None:
                yield f"{side}: missing, and limits has a board; with on_board = false it needs none"
    if limits.height_mm is not None and item.on_board and item.height_mm is None:
        yield "height_mm: missing, and limits.height_mm is given"
    if limits.budget is not None and not item.owned and item.price is None:
        yield "price: missing, and limits.budget is given; what is yours has owned = true"
    if isinstance(item, Gear) and item.power == "outlet":
        for figure in ("voltage_v", "current_ma"):
            if getattr(item, figure) is None:
                yield f'{figure}: missing; what takes no outlet has power = "battery", "mains" or "none"'
    if isinstance(item, Supply):
        for i, outlet in enumerate(item.outlets):
            for figure in ("voltage_v", "current_ma"):
                if getattr(outlet, figure) is None:
                    yield f"outlets[{i}].{figure}: missing"
