"""The figures of all versions side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chainsim.listen.page.model import VersionCard

FIRST = ("beside the first",)
"""Labels whose columns come before all others: what readers look for."""
SHORT = {
    "loudness as it comes": "loudness",
    "level in the rests": "rests",
    "its gate opens": "gate",
    "rings on after the take": "rings on",
}
"""Heads of narrow columns, by what they stand for."""


@dataclass(frozen=True)
class Head:
    """What stands over a column.

    Attributes
    ----------
    text : str
    stands_for : str
        The whole label if the text is short for it, else empty.
    """

    text: str
    stands_for: str = ""


@dataclass(frozen=True)
class FiguresTable:
    """A row a version, a column a figure.

    Attributes
    ----------
    heads : tuple of Head
        Distances first, the others in the order in which the versions first name them.
    rows : tuple of (heading, tuple of str)
        A version that lacks a figure has an empty text there.
    """

    heads: tuple[Head, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


def figures_table(cards: Sequence[VersionCard]) -> FiguresTable:
    """Gather the figures of all cards under the labels that any of them has."""
    named = dict.fromkeys(figure.label for card in cards for figure in card.figures)
    labels = sorted(named, key=lambda label: label not in FIRST)
    texts = [{figure.label: figure.text for figure in card.figures} for card in cards]
    rows = ((card.heading, tuple(own.get(x, "") for x in labels)) for card, own in zip(cards, texts, strict=True))
    return FiguresTable(tuple(map(_head, labels)), tuple(rows))


def _head(label: str) -> Head:
    return Head(SHORT[label], label) if label in SHORT else Head(label)
