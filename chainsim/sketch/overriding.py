"""One declared block with some of its settings changed: what patches and rooms do."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from chainsim.errors import nearest
from chainsim.sketch.model import BlockEntry
from chainsim.sketch.reading import read_block

NOT_CHANGED = {"type": "declare another block", "switching": "say it where the block is declared"}


def overridden(entry: BlockEntry, changes: Mapping[str, Any], place: str, faults: list[str]) -> BlockEntry | None:
    """The block with these settings changed; None where there was a fault."""
    refused = [key for key in NOT_CHANGED if key in changes]
    for key in refused:
        faults.append(f"{place}.{key}: cannot be changed here; {NOT_CHANGED[key]}")
    if refused:
        return None
    replaced = {n for group in entry.settings.alternatives if set(group) & set(changes) for n in group}
    written = {**entry.settings.model_dump(exclude_unset=True), **entry.common.model_dump(exclude_unset=True)}
    written = {k: v for k, v in written.items() if k not in replaced}
    silent = {k: "off" if v == -math.inf else v for k, v in written.items()}
    return read_block(entry.name, {**silent, **changes, "type": entry.type_name}, place, faults)


def not_there(name: str, place: str, in_chain: list[str], declared: Mapping[str, Any]) -> str:
    """One line for changes to a block that is not in the chain they apply to."""
    if name in declared:
        return f'{place}: "{name}" is not in the chain; what is changed here would do nothing'
    return f'{place}: no block "{name}"{nearest(name, in_chain)}'
