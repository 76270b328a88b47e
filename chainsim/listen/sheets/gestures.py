"""What a foot does for an action, in words for a sheet."""

from __future__ import annotations

from chainsim.stage.actions import ActionKind
from chainsim.stage.board import Board


def gestures_for(board: Board, kind: ActionKind) -> tuple[str, ...]:
    """Every press or hold that does such an action: "press A", "press B twice", "hold C"."""
    return tuple(
        gesture
        for switch in board.switches
        for gesture, action in (
            (f"press {switch.name}", switch.press),
            (f"press {switch.name} twice", switch.second_press),
            (f"hold {switch.name}", switch.hold),
        )
        if action is not None and action.kind == kind
    )


def lamp_for(board: Board, kind: ActionKind) -> str | None:
    """The switch whose lamp is lit while such an action is in force, if any lamp shows it."""
    shown = ((s.name, {"press": s.press, "hold": s.hold, "none": None}[s.lamp]) for s in board.switches)
    return next((name for name, action in shown if action is not None and action.kind == kind), None)
