"""A sheet in characters, at most 80 to a line."""

from __future__ import annotations

from collections.abc import Iterator

from chainsim.listen.sheets.document import Document, Part
from chainsim.listen.sheets.text_table import text_table, wrapped

WIDTH = 80


def document_text(document: Document) -> str:
    """Lay a sheet out as text.

    Returns
    -------
    str
        Lines of at most 80 characters, without trailing blanks.
    """
    title = wrapped(document.name, WIDTH)
    rule = "=" * max(len(line) for line in title.splitlines())
    head = "\n".join([title, rule, *(wrapped(line, WIDTH, "  ") for line in document.in_short)])
    parts = ["\n".join(_part(part)) for part in document.parts if part.says_something]
    return "\n\n".join([head, *parts, "\n".join(wrapped(line, WIDTH, "  ") for line in document.cautions)])


def _part(part: Part) -> Iterator[str]:
    yield wrapped(part.heading.upper(), WIDTH)
    if part.table is not None and part.table.rows:
        table = part.table.without_empty_columns()
        laid = text_table(table.head, table.rows, WIDTH)
        # Without a head its line is empty, and the rule under it rules nothing.
        yield laid if table.has_head else "\n".join(laid.splitlines()[2:])
    for number, line in enumerate(part.lines, 1):
        yield wrapped(f"{number}. {line}" if part.counted else line, WIDTH, "   " if part.counted else "  ")
