"""Reading what makes a sketch a set: banks, switches, cues and taps, each checked against the others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from chainsim.music.meter import parse_meter
from chainsim.sketch.cue_files import read_cue_file
from chainsim.sketch.cues import Known, read_cues, read_taps
from chainsim.sketch.model import Sketch
from chainsim.sketch.reading import list_of
from chainsim.sketch.switches import board_of, read_banks, read_foot, read_switches
from chainsim.sketch.timeline import place_cues

MOST_CUES = 2_000


def read_set(values: Mapping[str, Any], sketch: Sketch, faults: list[str]) -> tuple[Sketch, list[str]]:
    """The sketch with all that its cues need, and what the player should know of them."""
    header, base, patches = sketch.header, sketch.base, sketch.patches
    warnings: list[str] = []
    banks = read_banks(values, patches, faults)
    blocks = {n: b for state in (*(p.state for p in patches.values()), base) for n, b in state.blocks.items()}
    switches = read_switches(values, blocks, patches, banks, faults)
    foot = read_foot(values, faults)
    taps = read_taps(values, faults)
    known = Known(patches, {s.name: s for s in switches}, blocks, parse_meter(header.meter))
    tables = list_of(values, "cues", faults)
    written = read_cues(tables, known, [f"cues[{i}]" for i in range(len(tables))], faults)
    if header.cue_file is not None:
        name, folder, channel = header.cue_file, sketch.folder, header.cue_channel
        written += read_cue_file(name, folder, channel, known, patches, switches, foot, faults, warnings)
    if len(written) > MOST_CUES:
        faults.append(f"cues: {len(written)} of them, allowed {MOST_CUES}")
    if faults:
        return sketch, warnings
    board = board_of(base, patches, banks, switches)
    cues = place_cues(base, patches, board, foot, written, taps, header.first_beat_s, faults, warnings)
    return replace(sketch, banks=banks, switches=switches, foot=foot, board=board, taps=taps, cues=cues), warnings
