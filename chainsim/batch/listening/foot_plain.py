"""A board, a foot and a set's own cues in plain values, as the page's script takes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from chainsim.music.meter import parse_meter
from chainsim.sketch.course import Moment
from chainsim.sketch.model import Sketch
from chainsim.stage.actions import Action
from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue
from chainsim.stage.foot import Foot


def board_plain(board: Board, start: Position | None = None) -> dict[str, Any]:
    """Banks, switches, what each patch engages, and where the board stands at first: by default before any cue."""
    return {
        "banks": [{"name": b.name, "patches": list(b.patches)} for b in board.banks],
        "switches": [
            {
                "name": s.name,
                "press": _action(s.press),
                "secondPress": _action(s.second_press),
                "hold": _action(s.hold),
                "lamp": s.lamp,
            }
            for s in board.switches
        ],
        "engaged": [{"patch": patch, "blocks": sorted(blocks)} for patch, blocks in board.engaged.items()],
        "freeStanding": sorted(board.free_standing),
        "start": position_plain(board.start() if start is None else start),
    }


def position_plain(position: Position) -> dict[str, Any]:
    """Where a board stands."""
    return {**asdict(position), "switched": _switched(position.switched)}


def foot_times_plain(foot: Foot) -> dict[str, float]:
    """How fast the foot is."""
    return {
        "sameSwitchMs": foot.same_switch_ms,
        "otherSwitchMs": foot.other_switch_ms,
        "holdMs": foot.hold_ms,
        "releaseMs": foot.release_ms,
    }


def heard_plain(position: Position) -> dict[str, Any]:
    """What is heard of a position; positions that sound the same have the same."""
    patch, switched, dry, muted = position.heard
    return {"patch": patch, "switched": _switched(switched), "dry": dry, "muted": muted}


def bars_plain(sketch: Sketch, starts_s: float = 0.0, quarters: float = 0.0, tapped: bool = False) -> dict[str, Any]:
    """What bars are counted by: the meter, where bar 1 begins, and the tempo, the sketch's and that of patches.

    Parameters
    ----------
    sketch : Sketch
    starts_s : float
        From when in the take on they are counted.
    quarters : float
        How many there are from the first beat to there.
    tapped : bool
        Whether a foot may have tapped another tempo by then.
    """
    meter = parse_meter(sketch.header.meter)
    return {
        "beats": meter.beats,
        "quartersPerBeat": meter.quarters_per_beat,
        "firstBeatS": sketch.header.first_beat_s,
        "startsS": starts_s,
        "startQuarters": quarters,
        "writtenBpm": sketch.base.tempo_bpm,
        "patchBpm": [[name, p.state.tempo_bpm] for name, p in sketch.patches.items() if p.sets_tempo],
        "tapped": tapped,
    }


def cues_plain(cued: Sequence[Moment]) -> list[dict[str, Any]]:
    """The set's own cues: when each acts, in seconds of the take, and what it asks for."""
    return [
        {
            "actsS": m.at_s,
            "when": m.cue.when,
            "text": m.cue.text,
            "asks": {"kind": m.cue.kind, "name": m.cue.name, "on": m.cue.on},
        }
        for m in cued
        if m.cue is not None
    ]


def cue_cells(cue: Cue) -> dict[str, Any]:
    """A cue as a file of cues has it: its time, and the column in which a cell says what is due."""
    state = "on" if cue.on else "off"
    column, cell = (state, cue.name) if cue.kind == "block" else (cue.kind, cue.name or state)
    return {"atS": cue.at_s, "column": column, "cell": cell}


def _switched(switched: frozenset[tuple[str, bool]]) -> list[list[str | bool]]:
    return [[name, on] for name, on in sorted(switched)]


def _action(action: Action | None) -> dict[str, Any] | None:
    return None if action is None else {"kind": action.kind, "name": action.name, "place": action.place}
