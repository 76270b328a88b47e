"""A sheet as a document: headed parts of lines and tables, in words, the same for text and page."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Table:
    """Rows of words, every row as long as the head.

    Attributes
    ----------
    head : tuple of str
        What each column holds; where no column is named, no head is shown.
    rows : tuple of tuple of str
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def has_head(self) -> bool:
        """Whether any column is named."""
        return any(self.head)

    def without_empty_columns(self) -> Table:
        """Only the columns in which some row says something."""
        kept = [i for i in range(len(self.head)) if any(row[i].strip() for row in self.rows)]
        return Table(tuple(self.head[i] for i in kept), tuple(tuple(row[i] for i in kept) for row in self.rows))


@dataclass(frozen=True)
class Part:
    """What stands under one heading.

    Attributes
    ----------
    heading : str
    table : Table or None
    lines : tuple of str
        Under the table.
    counted : bool
        Whether the lines are steps, numbered from 1.
    """

    heading: str
    table: Table | None = None
    lines: tuple[str, ...] = ()
    counted: bool = False

    @property
    def says_something(self) -> bool:
        """Whether there is anything under the heading."""
        return bool(self.lines) or (self.table is not None and bool(self.table.rows))


@dataclass(frozen=True)
class Document:
    """A sheet.

    Attributes
    ----------
    title : str
        Of the sketch.
    kind : str
        What sheet it is: "wiring sheet".
    room : str or None
    in_short : tuple of str
        What matters most, in large letters.
    parts : tuple of Part
    cautions : tuple of str
    """

    title: str
    kind: str
    room: str | None
    in_short: tuple[str, ...]
    parts: tuple[Part, ...]
    cautions: tuple[str, ...]

    @property
    def name(self) -> str:
        """Title, room and kind in one line."""
        return f"{self.title}{'' if self.room is None else f' - {self.room}'}: {self.kind}"


def listed(names: list[str] | tuple[str, ...], all_names: tuple[str, ...], every: str) -> str:
    """Names in a line; all of them as `every`, and nearly all of them as those that are left out.

    Parameters
    ----------
    names : list of str
        Some of `all_names`, in their order.
    all_names : tuple of str
    every : str
        "all patches".
    """
    left_out = [name for name in all_names if name not in names]
    if not left_out and len(all_names) > 1:
        return every
    if len(names) > 3 and len(left_out) <= 2:
        return f"{every} but {' and '.join(left_out)}"
    return ", ".join(names)
