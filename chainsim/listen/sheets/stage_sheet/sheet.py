"""The stage sheet: what a player tapes to the board.

Banks and patches in order, what each switch does, the cue list, the settings to be dialled in, the controllers, the
marks of the player's own devices. This is what stands on it, in plain words; `as_text` and `page` lay it out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from chainsim.listen.sheets.stage_sheet.chain_line import chain_line
from chainsim.listen.sheets.stage_sheet.controller_map import ControllerLine, controller_lines
from chainsim.listen.sheets.stage_sheet.cue_lines import CueLine, cue_lines
from chainsim.listen.sheets.stage_sheet.occurrences import occurrences
from chainsim.listen.sheets.stage_sheet.patch_lines import (
    BankLines,
    KeyNames,
    PatchLine,
    bank_lines,
    key_names,
    patches_in_no_bank,
)
from chainsim.listen.sheets.stage_sheet.settings_table import AS_WRITTEN, Cell, Column, SettingRow, settings_rows
from chainsim.listen.sheets.stage_sheet.spelled_pitch import HornPart
from chainsim.music.horns import find_horn
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import Patch, Sketch, State
from chainsim.stage.actions import NEVER_IN_FORCE, Action
from chainsim.stage.board import Switch

CAUTIONS = (
    "Start low, raise slowly: feedback and resonance can jump in level. Ears that ring or feel dull: stop.",
    "Mains and phantom supply: local codes and the makers' manuals say what is safe.",
)


@dataclass(frozen=True)
class SwitchLine:
    """What a switch does; `lit` is what its lamp shows, None for one that stays dark."""

    name: str
    press: str
    second_press: str | None
    hold: str | None
    lit: str | None
    midi_cc: int | None


@dataclass(frozen=True)
class StageSheet:
    """What stands on the sheet.

    Attributes
    ----------
    title : str
    room : str or None
        The only room it is for.
    tempo_bpm : float
    meter : str
    key : KeyNames or None
    instrument : str or None
    a4_hz : float
    chain : str
        As the sketch has it, in one line.
    always_on, free_standing, off : tuple of str
        Blocks that no patch switches; those with a switch of their own, with " (off at first)" behind their names;
        and, in a sketch without patches, those that are out.
    banks : tuple of BankLines
    in_no_bank : tuple of PatchLine
    switches : tuple of SwitchLine
    cues : tuple of CueLine
    columns : tuple of str
        "as written", then the rooms.
    settings : tuple of SettingRow
    controllers : tuple of ControllerLine
    cautions : tuple of str
    """

    title: str
    room: str | None
    tempo_bpm: float
    meter: str
    key: KeyNames | None
    instrument: str | None
    a4_hz: float
    chain: str
    always_on: tuple[str, ...]
    free_standing: tuple[str, ...]
    off: tuple[str, ...]
    banks: tuple[BankLines, ...]
    in_no_bank: tuple[PatchLine, ...]
    switches: tuple[SwitchLine, ...]
    cues: tuple[CueLine, ...]
    columns: tuple[str, ...]
    settings: tuple[SettingRow, ...]
    controllers: tuple[ControllerLine, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for programs."""
        return asdict(self)


def stage_sheet(sketch: Sketch, room: str | None = None) -> StageSheet:
    """Gather what stands on the stage sheet of a sketch.

    Parameters
    ----------
    sketch : Sketch
    room : str, optional
        The only room to set it for; without it there is a column for each.

    Raises
    ------
    SettingError
        If the sketch has no such room.
    """
    as_set = sketch if room is None else sketch.in_room(room)
    columns, sketch = _columns(sketch, room), as_set
    header, base = sketch.header, sketch.base
    horn = None if header.instrument is None else find_horn(header.instrument)
    part = HornPart(horn, header.key if header.pitch_names == "written" else None)
    occurring = occurrences(sketch)
    return StageSheet(
        title=sketch.title,
        room=room,
        tempo_bpm=base.tempo_bpm,
        meter=header.meter,
        key=key_names(base, part),
        instrument=None if horn is None else horn.name,
        a4_hz=base.a4_hz,
        chain=chain_line(base.chain),
        always_on=tuple(n for n in _blocks(sketch) if base.blocks[n].common.switching == "always_on"),
        free_standing=_free_standing(sketch),
        off=() if sketch.patches else tuple(n for n in _blocks(sketch) if not base.blocks[n].common.engaged),
        banks=bank_lines(sketch, part),
        in_no_bank=patches_in_no_bank(sketch, part),
        switches=tuple(_switch(switch) for switch in sketch.switches),
        cues=cue_lines(sketch),
        columns=tuple(column.name for column in columns),
        settings=(*_feed(sketch, room), *settings_rows(columns, occurring, sketch.engaged_by_hand, sketch.marks, part)),
        controllers=controller_lines(sketch.controllers, columns[0].states, occurring, sketch.marks, sketch.assets),
    )


def _columns(sketch: Sketch, room: str | None) -> list[Column]:
    """As written and each room; for one room that alone."""
    rooms = [Column(name, _states(r.base, r.patches)) for name, r in sketch.rooms.items()]
    written = Column(AS_WRITTEN, _states(sketch.base, sketch.patches))
    return [written, *rooms] if room is None else [c for c in rooms if c.name == room]


def _states(base: State, patches: Mapping[str, Patch]) -> dict[str | None, State]:
    states: dict[str | None, State] = {None: base}
    states.update((name, patch.state) for name, patch in patches.items())
    return states


def _feed(sketch: Sketch, room: str | None) -> tuple[SettingRow, ...]:
    """What goes to the house, if it is folded anywhere."""
    feeds = [sketch.header.feed, *(r.feed for r in sketch.rooms.values())] if room is None else [sketch.header.feed]
    if "mono" not in feeds:
        return ()
    texts = ["mono" if feed == "mono" else "as it comes" for feed in feeds]
    cells = (Cell(texts[0]), *(Cell("" if text == texts[0] else text) for text in texts[1:]))
    return (SettingRow("feed", "feed", "", (), cells),)


def _blocks(sketch: Sketch) -> list[str]:
    """Every block that stands in some chain."""
    states = (sketch.base, *(p.state for p in sketch.patches.values()))
    return list(dict.fromkeys(name for state in states for name in block_names(state.chain)))


def _free_standing(sketch: Sketch) -> tuple[str, ...]:
    entries = [sketch.base.blocks[n] for n in _blocks(sketch)]
    return tuple(
        e.name if e.common.engaged else f"{e.name} (off at first)"
        for e in entries
        if e.common.switching == "free_standing"
    )


def _switch(switch: Switch) -> SwitchLine:
    shown = {"press": switch.press, "hold": switch.hold, "none": None}[switch.lamp]
    lit = shown.text if shown is not None and shown.kind not in NEVER_IN_FORCE else None
    return SwitchLine(
        name=switch.name,
        press=switch.press.text,
        second_press=_text(switch.second_press),
        hold=_text(switch.hold),
        lit=lit,
        midi_cc=switch.midi_cc,
    )


def _text(action: Action | None) -> str | None:
    return None if action is None else action.text
