"""Tables in characters, no wider than a page: what is too long for its column goes on below."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

GAP = 2
_NARROWEST = 3


def text_table(head: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> str:
    """Lay out a table, every column to the left.

    Parameters
    ----------
    head : sequence of str
        It widens no column by more than its longest word.
    rows : sequence of rows, at least one, each as long as the head
    width : int
        Characters at the most; the widest columns give way first, down to their longest words if that will do.

    Returns
    -------
    str
        Lines without trailing blanks, a rule under the head.
    """
    cells = [[plain_line(cell) for cell in row] for row in (head, *rows)]
    widths = column_widths(cells, width)
    lines = [line for row in cells for line in _row(row, widths)]
    under_head = len(_row(cells[0], widths))
    lines.insert(under_head, (" " * GAP).join("-" * w for w in widths))
    return "\n".join(lines)


def column_widths(cells: Sequence[Sequence[str]], width: int) -> list[int]:
    """Characters of each column of a table, its head being the first row, that is to be `width` wide at the most."""
    heads = [_longest_word(name) for name in cells[0]]
    whole = [max(n, *(len(row[i]) for row in cells[1:])) for i, n in enumerate(heads)]
    words = [max(n, *(_longest_word(row[i]) for row in cells[1:])) for i, n in enumerate(heads)]
    return _fitted(_fitted(whole, words, width), [_NARROWEST] * len(whole), width)


def wrapped(text: str, width: int, indent: str = "") -> str:
    """A paragraph, its lines after the first indented."""
    return textwrap.fill(plain_line(text), width, subsequent_indent=indent)


def plain_line(text: str) -> str:
    """The text as one line of printable characters: a name may hold anything, a terminal obeys some of it."""
    return "".join(c if c.isprintable() else " " for c in text)


def _row(cells: Sequence[str], widths: Sequence[int]) -> list[str]:
    columns = [_lines(cell, w) for cell, w in zip(cells, widths, strict=True)]
    height = max(len(column) for column in columns)
    lines = []
    for k in range(height):
        parts = [(c[k] if k < len(c) else "").ljust(w) for c, w in zip(columns, widths, strict=True)]
        lines.append((" " * GAP).join(parts).rstrip())
    return lines


def _lines(cell: str, width: int) -> list[str]:
    """What begins indented goes on more so."""
    indent = " " * (2 * (len(cell) - len(cell.lstrip())))
    return textwrap.wrap(cell, width, subsequent_indent=indent if len(indent) < width // 2 else "") or [""]


def _longest_word(text: str) -> int:
    return max((len(word) for word in text.split()), default=1)


def _fitted(widths: Sequence[int], least: Sequence[int], width: int) -> list[int]:
    """The widest give way, one character after the other, until all fit or none is wider than it must be."""
    fitted = [max(w, 1) for w in widths]
    room = width - GAP * (len(fitted) - 1)
    while sum(fitted) > room and (wide := [w for w, n in zip(fitted, least, strict=True) if w > n]):
        at = next(i for i, w in enumerate(fitted) if w == max(wide) and w > least[i])
        fitted[at] -= 1
    return fitted
