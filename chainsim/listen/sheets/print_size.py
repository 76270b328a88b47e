"""How much room words take on a printed page.

These are estimates: browsers print with the fonts they have. They reckon with wide letters, those of DejaVu Sans, and
with the narrower and the shorter of A4 and Letter.
"""

from __future__ import annotations

import re

WIDTH_MM, HEIGHT_MM = 194.0, 261.0
"""A4 is 210 mm wide and Letter 279.4 mm high, less margins of 8 mm, and of the height a little to spare."""

LINE_EM = 1.1
"""Height of a line."""
CELL_EM = 0.6
"""What stands free beside the words of a cell."""
GAP_EM = 1.0
"""Between two tables that stand side by side."""

_MM_A_PT = 25.4 / 72.0
_LETTER_EM, _BOLD_EM = 0.57, 0.65
_WORD = re.compile(r"[^ _]*[ _]+|[^ _]+")


def in_em(mm: float, pt: float) -> float:
    """A length by the size of the letters."""
    return mm / (pt * _MM_A_PT)


def column_em(width_em: float, columns: int) -> float:
    """Width of each of some tables that share a width."""
    return (width_em - GAP_EM * (columns - 1)) / columns


def words_em(text: str, *, bold: bool = False) -> float:
    """Width of some words in one line."""
    return len(text) * (_BOLD_EM if bold else _LETTER_EM)


def lines(text: str, width_em: float, *, bold: bool = False) -> int:
    """How many lines some words take, broken between words; names also break at underscores."""
    letters = max(int(width_em / (_BOLD_EM if bold else _LETTER_EM)), 1)
    count, used = 1, 0
    for word in _WORD.findall(text):
        if used and used + len(word.rstrip()) > letters:
            count, used = count + 1, 0
        count += max(len(word.rstrip()) - 1, 0) // letters
        used += len(word)
    return count
