"""From plain values to settings, with one line for each fault: the place, what was found, what is allowed."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from chainsim.block import block_type, block_type_names
from chainsim.errors import SettingError, nearest
from chainsim.settings import Settings, Spec
from chainsim.sketch.chain import Chain, block_names
from chainsim.sketch.general_settings import Common
from chainsim.sketch.model import BlockEntry

T = TypeVar("T", bound=Settings)

_IN_WORDS = {
    "bool_type": "true or false",
    "float_type": "a number",
    "int_type": "a whole number",
    "list_type": "a list",
    "string_type": "words in quotes",
}
"""What may stand in a place, by the library's name for the fault."""


def table_of(values: Mapping[str, Any], key: str, faults: list[str], *, within: str = "") -> dict[str, Any]:
    """Return the table of tables under `key`, empty where there is none."""
    found = values.get(key, {})
    if isinstance(found, dict) and all(isinstance(v, dict) for v in found.values()):
        return found
    place = f"{within}.{key}" if within else key
    faults.append(f"{place}: allowed are tables only: [{place}.NAME]")
    return {k: v for k, v in found.items() if isinstance(v, dict)} if isinstance(found, dict) else {}


def list_of(values: Mapping[str, Any], key: str, faults: list[str]) -> list[dict[str, Any]]:
    """Return the list of tables under `key`, empty where there is none."""
    found = values.get(key, [])
    if isinstance(found, list) and all(isinstance(v, dict) for v in found):
        return found
    faults.append(f"{key}: allowed a list of tables: [[{key}]]")
    return []


def read_settings(
    kind: type[T], values: Mapping[str, Any], place: str, faults: list[str], also_known: Iterable[str] = ()
) -> T | None:
    """Check values against a settings class; None where there was a fault."""
    try:
        return kind.model_validate(dict(values))
    except ValidationError as error:
        for detail in error.errors():
            faults.append(_line(kind, detail, place, also_known))
        return None


def read_block(name: str, table: Mapping[str, Any], place: str, faults: list[str]) -> BlockEntry | None:
    """Check one declared block."""
    if name in ("dry", "input", "out"):
        faults.append(f'{place}: "{name}" has a meaning of its own in chains; name the block otherwise')
    if not re.fullmatch(r"[\w-]+", name):
        faults.append(f"{place}: a block's name has letters, digits, _ and - only")
    type_name = table.get("type", name)
    try:
        cls = block_type(type_name) if isinstance(type_name, str) else None
    except SettingError as error:
        known = ", ".join(block_type_names())
        missing = "" if "type" in table else "missing, and the block's name is no type either: "
        faults.append(
            f"{place}.type: {missing}{error}" + ("" if "did you mean" in str(error) else f"; allowed {known}")
        )
        return None
    if cls is None:
        faults.append(f"{place}.type: found {type_name!r}, allowed a block type's name")
        return None
    common_names = set(Common.specs())
    own = {k: v for k, v in table.items() if k != "type" and k not in common_names}
    settings = read_settings(cls.settings_type, own, place, faults, also_known=[*common_names, "type"])
    common = read_settings(Common, {k: v for k, v in table.items() if k in common_names}, place, faults)
    if settings is None or common is None:
        return None
    return BlockEntry(name, str(type_name), settings, common)


def with_defaults(
    chain: Chain, blocks: Mapping[str, BlockEntry], declared: set[str], place: str, faults: list[str]
) -> dict[str, BlockEntry]:
    """Add, with default settings, blocks that a chain names by their bare type."""
    found, types = dict(blocks), block_type_names()
    for name in block_names(chain):
        if name in declared or name in found:
            continue
        if name not in types:
            faults.append(f'{place}: no block "{name}"{nearest(name, [*declared, *types])}')
            continue
        entry = read_block(name, {"type": name}, f"blocks.{name}", faults)
        if entry is not None:
            found[name] = entry
    return found


def _line(kind: type[Settings], detail: ErrorDetails, place: str, also_known: Iterable[str]) -> str:
    where, found = _where(place, detail["loc"]), detail["input"]
    owner, spec = _declared(kind, detail["loc"])
    match detail["type"]:
        case "extra_forbidden":
            name, known = str(detail["loc"][-1]), sorted([*owner.specs(), *(also_known if owner is kind else ())])
            return f'{where}: no setting "{name}"' + (nearest(name, known) or f"; allowed {', '.join(known)}")
        case "value_error":
            message = detail["msg"].removeprefix("Value error, ")
            return f"{where} {message}" if message.startswith("= ") else f"{where}: {message}"
        case "missing":
            return f"{where}: missing"
    if spec is not None and spec.choices and isinstance(found, str):
        return f'{where} = "{found}", allowed {spec.range_text()}{nearest(found, spec.choices)}'
    quoted = ", a number without quotes" if spec is not None and spec.low is not None and isinstance(found, str) else ""
    return f"{where} = {found!r:.60}, allowed {_allowed(owner, spec, detail)}{quoted}"


def _declared(kind: type[Settings], loc: tuple[int | str, ...]) -> tuple[type[Settings], Spec | None]:
    """Whose setting a place is, and which; None for a table of a list as a whole, which is its owner."""
    owner, spec = kind, None
    for part in loc:
        if isinstance(part, int):
            owner, spec = (spec.items, None) if spec is not None and spec.items is not None else (owner, spec)
        else:
            spec = owner.specs().get(part)
    return owner, spec


def _allowed(owner: type[Settings], spec: Spec | None, detail: ErrorDetails) -> str:
    """What may stand where something of a wrong kind does."""
    if detail["type"] == "model_type":
        return f"a table, such as {_example(owner, detail['input'])}"
    if spec is not None and spec.items is not None:
        return f"a list of tables, such as [{_example(spec.items, detail['input'])}]"
    return (spec.range_text() if spec is not None else "") or _IN_WORDS.get(detail["type"], detail["msg"])


def _example(kind: type[Settings], found: object) -> str:
    """A table of such settings that names the first of them: as it was found, if that will do."""
    name, spec = next(iter(kind.specs().items()))
    try:
        value = getattr(kind.model_validate({name: found}), name)
    except ValidationError:
        value = spec.default
    return f"{{ {name} = {json.dumps(value)} }}"


def _where(place: str, loc: tuple[int | str, ...]) -> str:
    text = place
    for part in loc:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text
