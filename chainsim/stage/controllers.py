"""The kinds of controllers a sketch may declare."""

from __future__ import annotations

from typing import Any

from chainsim.block import Block
from chainsim.stage.breakpoints import Breakpoints
from chainsim.stage.control_change import ControlChange
from chainsim.stage.envelope import Envelope
from chainsim.stage.lfo import Lfo

CONTROLLER_TYPES: dict[str, type[Block[Any]]] = {c.type_name: c for c in (Breakpoints, ControlChange, Envelope, Lfo)}
