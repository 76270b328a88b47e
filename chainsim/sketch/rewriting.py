"""Values written into the text of a sketch; comments and layout stay as they are."""

from __future__ import annotations

import copy
import json
import math
import re
import tomllib
from collections.abc import Collection, Mapping
from typing import Any, TypeAlias

from chainsim.block import block_type
from chainsim.errors import SettingError, SketchError

_HEADER = re.compile(r"\s*\[\[?\s*(?P<name>[\w-]+)\s*[.\]]")

Place: TypeAlias = tuple[str, ...]
"""Where a value stands: the keys that lead to it, ("blocks", "wah", "q")."""


def with_settings(text: str, settings: Mapping[tuple[str, str], Any]) -> str:
    """The text of a sketch with some of its blocks' settings changed.

    Parameters
    ----------
    text : str
        A sketch that can be read.
    settings : dict by (block, setting)
        Values as a sketch would hold them; minus infinity is "off". The block "" stands for the head of the sketch:
        ("", "tempo_bpm"). A block that the text does not declare gets a table. Of settings that stand for one another,
        as `time_ms` and `note` of a delay, the one that was written goes.

    Raises
    ------
    SketchError
        If the tables are written in a way that cannot be changed without changing more.
    """
    values = tomllib.loads(text)
    written = {(("blocks", block) if block else ()) + (name,): value for (block, name), value in settings.items()}
    removed = [
        ("blocks", block, other)
        for block, name in settings
        if block
        for other in _alternatives(values, block, name)
        if (block, other) not in settings
    ]
    return rewritten(text, written, removed)


def rewritten(text: str, written: Mapping[Place, Any], removed: Collection[Place] = ()) -> str:
    """The text with values written in some places, and others taken out where they stand.

    Raises
    ------
    SketchError
        If that cannot be done without changing more; it says what to write by hand.
    """
    values = tomllib.loads(text)
    if not written and not any(_stands(values, place) for place in removed):
        return text
    for edited in (_with_tables_behind, _in_place):
        try:
            wanted: dict[str, Any] = copy.deepcopy(values)
            for place in removed:
                _remove(wanted, place)
            for place, value in written.items():
                _write(wanted, place, tomllib.loads(f"value = {toml(value)}")["value"])
            found = edited(text, written, removed)
            if tomllib.loads(found) == wanted:
                return found
        except (ValueError, KeyError, TypeError, AttributeError):  # what the libraries raise where they can't
            continue
    lines = [f"{'.'.join(place)} = {toml(value)}" for place, value in written.items()]
    lines += [f"no {'.'.join(place)}" for place in removed if _stands(values, place)]
    raise SketchError(f"this cannot be written between these tables; write it yourself: {', '.join(lines)}")


def _with_tables_behind(text: str, written: Mapping[Place, Any], removed: Collection[Place]) -> str:
    """New tables come behind all that is there, and part no comment from what it is about."""
    values = tomllib.loads(text)
    new: dict[Place, list[str]] = {}
    for place, value in written.items():
        if not _stands(values, place[:-1]):
            new.setdefault(place[:-1], []).append(f"{_key(place[-1])} = {toml(value)}")
    found = _in_place(text, {p: v for p, v in written.items() if p[:-1] not in new}, removed)
    end = "\r\n" if "\r\n" in found else "\n"
    for table, lines in new.items():
        found = end.join([found.rstrip(), "", f"[{'.'.join(map(_key, table))}]", *lines, ""])
    return found


def _in_place(text: str, written: Mapping[Place, Any], removed: Collection[Place]) -> str:
    import tomlkit

    document = tomlkit.parse(text)
    for place in removed:
        _remove(document, place)
    for place, value in written.items():
        _write(document, place, tomlkit.value(toml(value)))
    return tomlkit.dumps(document)


def without_tables(text: str, names: Collection[str]) -> str:
    """The text without some of its tables that have lines of their own.

    A comment goes with the table that it stands over; where that cannot be told the tables stay.
    """
    tables = [key for key, value in tomllib.loads(text).items() if key in names and isinstance(value, dict | list)]
    wanted = {key: value for key, value in tomllib.loads(text).items() if key not in tables}
    found: list[str] = []
    comment: list[str] = []
    keep = True
    for line in text.splitlines(keepends=True):
        if line.lstrip().startswith("#"):
            comment.append(line)
            continue
        if header := _HEADER.match(line):
            keep = header["name"] not in tables
        found += [*comment, line] if keep else []
        comment = []
    left = "".join([*found, *comment])
    try:
        return left if tomllib.loads(left) == wanted else text
    except ValueError:
        return text


def toml(value: Any) -> str:
    """A value as it stands in a sketch, on one line."""
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{_key(k)} = {toml(v)}' for k, v in value.items())} }}" if value else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml, value))}]"
    if isinstance(value, float) and value == -math.inf:
        return '"off"'
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    # JSON's spellings of words, whole numbers and yes or no are TOML's; of DEL TOML wants the number
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else toml(name)


def _alternatives(values: Mapping[str, Any], block: str, name: str) -> list[str]:
    """Settings that may not be written beside one of a block."""
    table = values.get("blocks", {}).get(block, {})
    try:
        groups = block_type(table.get("type", block)).settings_type.alternatives
    except SettingError:  # no such block; who reads the text will say so
        return []
    return [other for group in groups if name in group for other in group if other != name]


def _stands(values: Any, place: Place) -> bool:
    for key in place:
        if not isinstance(values, Mapping) or key not in values:
            return False
        values = values[key]
    return True


def _remove(table: Any, place: Place) -> None:
    if _stands(table, place):
        for key in place[:-1]:
            table = table[key]
        del table[place[-1]]


def _write(table: Any, place: Place, value: Any) -> None:
    """Set a value behind the last one of its table: what follows that as comment and space belongs to the next."""
    for key in place[:-1]:
        if key not in table:
            table[key] = {}
        table = table[key]
    key = place[-1]
    body = getattr(getattr(table, "value", None), "body", None)
    if key in table or not body or not any(k is not None for k, _ in body):
        table[key] = value
        return
    behind = []
    while body[-1][0] is None:
        behind.append(body.pop())
    table[key] = value
    body.extend(reversed(behind))
