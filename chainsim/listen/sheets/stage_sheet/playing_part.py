"""The part of a printed sheet that is read while playing: patches, switches and cues, and how high they are.

Heights are in em; the factors are those of the page's style.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from chainsim.listen.sheets.print_size import CELL_EM, LINE_EM, column_em, lines, words_em
from chainsim.listen.sheets.stage_sheet.cue_lines import CueLine
from chainsim.listen.sheets.stage_sheet.patch_lines import PatchLine
from chainsim.listen.sheets.stage_sheet.rows import IN_TAKE, head_line, midi_texts, patch_notes, shared_notes
from chainsim.listen.sheets.stage_sheet.sheet import StageSheet

BANKS_ABREAST = 4

_MOST_CUE_COLUMNS = 3
_HEADING_EM, _HEAD_ROW_EM, _RULE_EM = 2.25, 1.05, 0.16
"""Heights of the heading of a section, of the head of a table, and of what a row has beside its lines."""
_TITLE_EM, _AGREED_EM = 1.9, 1.15
_NAME_EM, _NAME_LINE_EM, _PLACE_EM = 1.5, 1.15, 2.0
_SWITCH_EM, _ACTION_EM = 1.4, 1.15
_TAKE_EM, _HEAD_EM, _SMALL_EM, _CAUTION_EM = 0.84, 0.84, 0.9, 0.9
"""The first two of the smallest letters; of larger ones they are 0.8."""
_MOST_OF_PRESSES = 0.4
"""Of the width of a table of cues: what the presses may take."""


@dataclass(frozen=True)
class CueColumns:
    """The cues side by side.

    Attributes
    ----------
    columns : sequence of sequence of CueLine
    when_em, in_take_em, press_em : float
        Widths of the cells; that of the time in the take is 0 where there is no place for it.
    height_em : float
    """

    columns: Sequence[Sequence[CueLine]]
    when_em: float
    in_take_em: float
    press_em: float
    height_em: float


def cue_columns(cues: Sequence[CueLine], width_em: float) -> CueColumns:
    """The cues in as many columns as make them short, where that is no matter in the fewest."""
    ways = (_abreast(cues, columns, width_em) for columns in range(1, _MOST_CUE_COLUMNS + 1))
    return min(ways, key=lambda way: way.height_em)


def playing_em(sheet: StageSheet, cues: CueColumns, width_em: float) -> float:
    """Height of title, patches, switches and cues."""
    title = _TITLE_EM * LINE_EM * lines(f"{sheet.title} {sheet.room or ''}", width_em / _TITLE_EM, bold=True)
    agreed = _AGREED_EM * LINE_EM * lines(head_line(sheet), width_em / _AGREED_EM, bold=True) + 0.4
    return title + agreed + _banks(sheet, width_em) + _switches(sheet, width_em) + cues.height_em


def _abreast(cues: Sequence[CueLine], count: int, width_em: float) -> CueColumns:
    """The cues in so many columns of about one height."""
    room = column_em(width_em, count)
    when = max((words_em(c.when) for c in cues), default=0.0) + CELL_EM
    widest = max((words_em(", ".join(c.gestures), bold=True) for c in cues), default=0.0) + CELL_EM
    press = min(widest, _MOST_OF_PRESSES * room)
    what = max((words_em(c.what) for c in cues), default=0.0) + CELL_EM
    in_take = (
        max(_TAKE_EM * max((words_em(c.in_take) for c in cues), default=0.0), _HEAD_EM * words_em(IN_TAKE)) + CELL_EM
    )
    if when + in_take + what + press > room or not any(c.in_take for c in cues):
        in_take = 0.0
    heights = [_cue(c, room - when - in_take - press - CELL_EM, press - CELL_EM) for c in cues]
    ends = list(itertools.accumulate(heights))
    parts = itertools.groupby(range(len(cues)), key=lambda i: int(count * (ends[i] - heights[i] / 2.0) / ends[-1]))
    columns = [list(part) for _, part in parts]
    height = _HEADING_EM + _HEAD_ROW_EM + max((sum(heights[i] for i in part) for part in columns), default=0.0)
    return CueColumns([[cues[i] for i in part] for part in columns], when, in_take, press, height if cues else 0.0)


def _cue(cue: CueLine, what_em: float, press_em: float) -> float:
    words = max(lines(cue.what, what_em), lines(", ".join(cue.gestures), press_em, bold=True))
    caution = lines(cue.caution, (what_em + CELL_EM + press_em) / _CAUTION_EM, bold=True) if cue.caution else 0
    return LINE_EM * (words + _CAUTION_EM * caution) + _RULE_EM * (2 if cue.caution else 1)


def _banks(sheet: StageSheet, width_em: float) -> float:
    banks = [*((bank.name, bank.patches) for bank in sheet.banks)]
    banks += [("", sheet.in_no_bank)] if sheet.in_no_bank else []
    if not banks:
        return 0.0
    abreast = min(len(banks), BANKS_ABREAST)
    heights = [_bank(name, patches, column_em(width_em, abreast)) for name, patches in banks]
    rows = (heights[i : i + abreast] for i in range(0, len(heights), abreast))
    return _HEADING_EM + sum(max(row) for row in rows)


def _bank(name: str, patches: Sequence[PatchLine], width_em: float) -> float:
    shared = shared_notes(patches)
    caption = lines(f"In no bank: {name} {', '.join(shared)}", width_em - CELL_EM, bold=True) * LINE_EM + 0.2
    return caption + sum(_patch(patch, shared, width_em - _PLACE_EM - CELL_EM) for patch in patches)


def _patch(patch: PatchLine, shared: Sequence[str], width_em: float) -> float:
    name = _NAME_EM * _NAME_LINE_EM * lines(patch.name, width_em / _NAME_EM, bold=True)
    from_0, from_1 = midi_texts(patch)
    midi = f"MIDI {from_0} ({from_1})" if from_0 else ""
    on = f"{', '.join(patch.reached_by)} {', '.join(patch.on) or 'plain'} {midi}"
    own = sum(lines(note, width_em / _SMALL_EM) for note in patch_notes(patch) if note not in shared)
    return name + LINE_EM * (lines(on, width_em / _SMALL_EM) + _SMALL_EM * own) + _RULE_EM


def _switches(sheet: StageSheet, width_em: float) -> float:
    if not sheet.switches:
        return 0.0
    width = (width_em / 6.0 - CELL_EM) / _ACTION_EM
    rows = (
        max(
            _SWITCH_EM * _NAME_LINE_EM * lines(s.name, width_em / 6.0 / _SWITCH_EM, bold=True),
            *(
                _ACTION_EM * LINE_EM * lines(text or "", width, bold=True)
                for text in (s.press, s.second_press, s.hold, s.lit)
            ),
        )
        for s in sheet.switches
    )
    return _HEADING_EM + _HEAD_ROW_EM + sum(rows) + _RULE_EM * len(sheet.switches)
