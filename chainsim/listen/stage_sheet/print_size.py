"""How large the letters of a printed stage sheet can be, so that it fits on one page.

The height is an estimate: browsers print with the fonts they have. It reckons with wide letters and the shorter and the
narrower of A4 and Letter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from chainsim.listen.stage_sheet.cue_lines import CueLine
from chainsim.listen.stage_sheet.rows import cell_text, chain_lines, patch_notes, shared_notes, work_text
from chainsim.listen.stage_sheet.settings_table import SettingRow
from chainsim.listen.stage_sheet.sheet import StageSheet

LARGEST_PT, SMALLEST_PT = 10.0, 6.5
STEP_PT = 0.25

_WIDTH_MM, _HEIGHT_MM = 194.0, 263.0
"""A4 is 210 mm wide and Letter 279 mm high, less margins of 8 mm."""
_MM_A_PT = 0.3528
_LETTER_EM = 0.56
_LINE_EM, _ROW_EM, _HEAD_EM = 1.13, 1.25, 2.2
"""Heights of a line of text, of a row of a table with its rule, and of the heading of a section."""
_SETTINGS_EM = 0.85
_SETTING_SHARE, _ROOM_SHARE = 0.24, 0.13
"""Of the width of the settings: what the names of the settings take, and a room."""


@dataclass(frozen=True)
class BlockRows:
    """The settings of one block on the page.

    Attributes
    ----------
    name : str
    run_together : str
        Settings in one line, where there is no place for a row each.
    rows : list of SettingRow
    """

    name: str
    run_together: str
    rows: list[SettingRow]


@dataclass(frozen=True)
class Layout:
    """What stands side by side on the page."""

    settings: Sequence[Sequence[BlockRows]]
    cues: Sequence[Sequence[CueLine]]
    controllers_beside: bool


def fitting_pt(sheet: StageSheet, layout: Layout) -> float:
    """Size of the letters of a page that is filled and not more; the smallest there is if even that is too large."""
    steps = round((LARGEST_PT - SMALLEST_PT) / STEP_PT)
    sizes = [LARGEST_PT - STEP_PT * k for k in range(steps + 1)]
    return next((pt for pt in sizes if _Page(sheet, layout, pt).height_mm <= _HEIGHT_MM), SMALLEST_PT)


def settings_height(blocks: Sequence[BlockRows], rooms: int) -> float:
    """Height of some blocks' settings in half the width, in any unit, to compare them."""
    return _settings_lines(blocks, rooms, 70)


class _Page:
    def __init__(self, sheet: StageSheet, layout: Layout, pt: float) -> None:
        self._sheet, self._layout, self._pt = sheet, layout, pt

    @property
    def height_mm(self) -> float:
        parts = (self._head(), self._banks(), self._feet(), self._cues(), self._settings(), 3.0)
        return sum(parts) * self._pt * _MM_A_PT

    def _letters(self, columns: int, em: float = 1.0) -> int:
        """How many letters a line has where so many columns share the width."""
        return max(int(_WIDTH_MM / columns / (em * self._pt * _MM_A_PT * _LETTER_EM)) - 2, 1)

    def _head(self) -> float:
        told = chain_lines(self._sheet)
        return 3.5 + _ROW_EM * sum(_lines(f"{name}: {words}", self._letters(1)) for name, words in told)

    def _banks(self) -> float:
        banks = [bank.patches for bank in self._sheet.banks]
        banks += [self._sheet.in_no_bank] if self._sheet.in_no_bank else []
        if not banks:
            return 0.0
        abreast = min(len(banks), 4)
        heights = []
        for patches in banks:
            shared = shared_notes(patches)
            own = [n for p in patches for n in patch_notes(p) if n not in shared]
            letters = self._letters(abreast)
            names = sum(1.8 * _lines(p.name, int(letters / 1.6)) + 1.1 for p in patches)
            caption = _lines(" ".join(shared) + " " * 20, letters)
            heights.append(names + caption * _ROW_EM + _LINE_EM * sum(_lines(note, letters) for note in own))
        rows = (heights[i : i + abreast] for i in range(0, len(heights), abreast))
        return _HEAD_EM + sum(max(row) for row in rows)

    def _feet(self) -> float:
        sheet, beside = self._sheet, self._layout.controllers_beside
        switches = _HEAD_EM + 1.0 + 1.7 * len(sheet.switches) if sheet.switches else 0.0
        letters = self._letters(2 if beside else 1, _SETTINGS_EM) // 2
        lines = sum(_lines(work_text(w), letters) for c in sheet.controllers for w in c.work)
        controllers = _HEAD_EM + 1.0 + _SETTINGS_EM * _LINE_EM * lines if sheet.controllers else 0.0
        return max(switches, controllers) if beside else switches + controllers

    def _cues(self) -> float:
        cautions = sum(bool(c.caution) for column in self._layout.cues[:1] for c in column)
        longest = max((len(column) for column in self._layout.cues), default=0)
        return _HEAD_EM + 1.0 + _ROW_EM * (longest + cautions) if longest else 0.0

    def _settings(self) -> float:
        columns, rooms = self._layout.settings, len(self._sheet.columns) - 1
        if not columns:
            return 0.0
        letters = self._letters(len(columns), _SETTINGS_EM)
        lines = max(_settings_lines(blocks, rooms, letters) for blocks in columns)
        return _HEAD_EM + 1.0 + _SETTINGS_EM * _LINE_EM * lines


def _settings_lines(blocks: Iterable[BlockRows], rooms: int, letters: int) -> int:
    return sum(
        _lines(f"{b.name} {b.run_together}", letters) + sum(_row(r, rooms, letters) for r in b.rows) for b in blocks
    )


def _row(row: SettingRow, rooms: int, letters: int) -> int:
    differs = any(cell.text for cell in row.cells[1:])
    of_rooms = min(_ROOM_SHARE * rooms, 0.4) if differs else 0.0
    name = _lines(" ".join((row.setting, *row.patches)), int(letters * _SETTING_SHARE))
    value = _lines(cell_text(row.cells[0]), int(letters * (1.0 - _SETTING_SHARE - of_rooms)))
    others = [_lines(cell_text(c), int(letters * of_rooms / rooms)) for c in row.cells[1:] if c.text]
    return max(name, value, *others)


def _lines(text: str, letters: int) -> int:
    return max(1, math.ceil(len(text) / max(letters, 1)))
