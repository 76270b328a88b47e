"""Rules for trying the blocks of a chain in other orders: `[orders]`, or the command line's."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Annotated, TypeAlias, TypeVar

from pydantic import Field

from chainsim.errors import SketchError
from chainsim.settings import Settings

Names: TypeAlias = list[str]
Pair: TypeAlias = Annotated[Names, Field(json_schema_extra={"minItems": 2, "maxItems": 2})]
Set: TypeAlias = Annotated[Names, Field(json_schema_extra={"minItems": 2})]
T = TypeVar("T")


class OrderSettings(Settings):
    """What a sketch says of the orders to try; blocks by name, a fork by any block in it."""

    move: Names = Field([], description="blocks that change places among themselves; by default all of the chain")
    first: Names = Field([], description="blocks that come first of those that move, in this order")
    last: Names = Field([], description="blocks that come last of those that move, in this order")
    before: list[Pair] = Field([], description="pairs of which the first comes before the second")
    together: list[Set] = Field([], description="sets of blocks that stay next to each other, in any order")
    side_by_side: list[Set] = Field([], description="sets that are tried in series, in any order, and as lanes")


@dataclass(frozen=True)
class OrderRules:
    """Which orders of a chain's blocks are tried.

    Attributes
    ----------
    move : tuple of str
        Blocks that change places among themselves; none: all of the chain.
    first, last : tuple of str
        The first and the last of those that move, in this order.
    before : tuple of (str, str)
        The first of a pair comes before the second.
    together : tuple of tuple of str
        Sets that stay next to each other, in any order.
    side_by_side : tuple of tuple of str
        Sets that stay next to each other, in series in any order, and once more as lanes.
    """

    move: tuple[str, ...] = ()
    first: tuple[str, ...] = ()
    last: tuple[str, ...] = ()
    before: tuple[tuple[str, str], ...] = ()
    together: tuple[tuple[str, ...], ...] = ()
    side_by_side: tuple[tuple[str, ...], ...] = ()

    def __bool__(self) -> bool:
        return self != OrderRules()

    def joined(self, other: OrderRules) -> OrderRules:
        """These rules and others beside them; where the others say what moves, that holds.

        These stay outermost: `first` of the others comes behind theirs, `last` before theirs.

        Raises
        ------
        SketchError
            If both say `first` or `last`, and what the others say in another sequence.
        """
        first = _once(self.first + other.first)
        last = _once(self.last[::-1] + other.last[::-1])[::-1]
        faults = [
            f"{kind}: {_quoted(other_names)}, but the sketch says {_quoted(names)}; these contradict each other"
            for kind, names, other_names, both in (
                ("first", self.first, other.first, first),
                ("last", self.last, other.last, last),
            )
            if tuple(name for name in both if name in other_names) != other_names
        ]
        if faults:
            raise SketchError(faults)
        return OrderRules(
            move=other.move or self.move,
            first=first,
            last=last,
            before=_once(self.before + other.before),
            together=_once(self.together + other.together),
            side_by_side=_once(self.side_by_side + other.side_by_side),
        )

    def named(self) -> dict[str, tuple[tuple[str, ...], ...]]:
        """By kind of rule, the names that each rule of it holds; lists count as one rule."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        return {
            kind: ((value,) if value else ()) if kind in ("move", "first", "last") else value
            for kind, value in found.items()
        }


def _quoted(names: tuple[str, ...]) -> str:
    return f'"{", ".join(names)}"'


def _once(values: tuple[T, ...]) -> tuple[T, ...]:
    return tuple(dict.fromkeys(values))
