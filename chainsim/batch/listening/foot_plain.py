"""A board, a foot and a set's own cues in plain values, as the page's script takes them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from chainsim.music.meter import parse_meter
from chainsim.sketch.model import Sketch
from chainsim.sketch.timeline import moments
from chainsim.stage.actions import Action
from chainsim.stage.board import Board, Position
from chainsim.stage.foot import Foot


def board_plain(board: Board) -> dict[str, Any]:
    """Banks, switches and what each patch engages."""
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
        "firstPatch": board.first_patch,
    }


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
    return {"patch": patch, "switched": [[name, on] for name, on in sorted(switched)], "dry": dry, "muted": muted}


def bars_plain(sketch: Sketch) -> dict[str, Any]:
    """What bars are counted by: the meter, where bar 1 begins, and the tempo, the sketch's and that of patches."""
    meter = parse_meter(sketch.header.meter)
    return {
        "beats": meter.beats,
        "quartersPerBeat": meter.quarters_per_beat,
        "firstBeatS": sketch.header.first_beat_s,
        "writtenBpm": sketch.base.tempo_bpm,
        "patchBpm": [[name, p.state.tempo_bpm] for name, p in sketch.patches.items() if p.sets_tempo],
        "tapped": bool(sketch.taps),
    }


def cues_plain(sketch: Sketch) -> Iterator[dict[str, Any]]:
    """Yield the set's own cues: when each acts, in seconds of the take, and what it asks for."""
    for moment in moments(sketch):
        cue = moment.cue
        if cue is not None:
            yield {
                "actsS": moment.at_s,
                "when": cue.when,
                "text": cue.text,
                "asks": {"kind": cue.kind, "name": cue.name, "on": cue.on},
            }


def _action(action: Action | None) -> dict[str, Any] | None:
    return None if action is None else {"kind": action.kind, "name": action.name, "place": action.place}
