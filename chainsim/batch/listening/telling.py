"""How far the making of a page is."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeAlias, TypeVar

Progress: TypeAlias = Callable[[str, int, int], None]
"""Told what is being done, how much of it is done, and how much there is."""

T = TypeVar("T")


def untold(what: str, done: int, whole: int) -> None:
    """Tell nobody."""


def each_told(items: Sequence[T], what: str, told: Progress) -> Iterator[T]:
    """Items one by one, each told of when the next is asked for."""
    for done, item in enumerate(items):
        told(what, done, len(items))
        yield item
    told(what, len(items), len(items))
