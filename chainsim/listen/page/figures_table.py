"""The figures of all versions side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chainsim.listen.page.model import VersionCard


@dataclass(frozen=True)
class FiguresTable:
    """A row a version, a column a figure.

    Attributes
    ----------
    labels : tuple of str
        In the order in which the versions first name them.
    rows : tuple of (heading, tuple of str)
        A version that lacks a figure has an empty text there.
    """

    labels: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


def figures_table(cards: Sequence[VersionCard]) -> FiguresTable:
    """Gather the figures of all cards under the labels that any of them has."""
    labels = tuple(dict.fromkeys(figure.label for card in cards for figure in card.figures))
    texts = [{figure.label: figure.text for figure in card.figures} for card in cards]
    rows = ((card.heading, tuple(own.get(x, "") for x in labels)) for card, own in zip(cards, texts, strict=True))
    return FiguresTable(labels, tuple(rows))
