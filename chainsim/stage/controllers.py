"""The kinds of controllers a sketch may declare."""

from __future__ import annotations

from typing import Any

from chainsim.block import Block
from chainsim.stage.breakpoints import Breakpoints
from chainsim.stage.envelope import Envelope

CONTROLLER_TYPES: dict[str, type[Block[Any]]] = {c.type_name: c for c in (Breakpoints, Envelope)}
