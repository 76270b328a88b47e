"""Rules about who stands before whom, in words: "drive before wah and plate; echo beside plate"."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, TypeAlias

from chainsim.batch.orders.units import bracketed

How: TypeAlias = Literal["before", "beside", "before or beside", "in series with"]

Edge: TypeAlias = tuple[str, str]


@dataclass(frozen=True)
class Relation:
    """How one unit stands to another; "drive after wah" is "wah before drive"."""

    first: str
    how: How
    second: str


def in_words(rules: Sequence[Sequence[Relation]], units: Sequence[str]) -> str:
    """Write out rules of which one must hold.

    Parameters
    ----------
    rules : sequence of sequences of Relation
        In each rule all must hold.
    units : sequence of str
        All units, in the sequence in which they are to be named.
    """
    if not rules:
        return "no rule in words"
    if not any(rules):
        return "all orders"
    written = [_clauses(rule, units) for rule in rules]
    if len(written) == 1:
        return "; ".join(written[0])
    if all(len(rule) == 1 and rule[0].how == "before" for rule in rules):
        firsts = list(dict.fromkeys(rule[0].first for rule in rules))
        seconds = list(dict.fromkeys(rule[0].second for rule in rules))
        if len(firsts) == 1:
            return f"{_list(firsts)} before {_list(seconds, 'or')}"
        if len(seconds) == 1:
            return f"{_list(seconds)} after {_list(firsts, 'or')}"
    return ", or ".join(clauses[0] if len(clauses) == 1 else f"({'; '.join(clauses)})" for clauses in written)


def _clauses(rule: Sequence[Relation], units: Sequence[str]) -> list[str]:
    place = {unit: k for k, unit in enumerate(units)}
    found = []
    for how in dict.fromkeys(relation.how for relation in rule):
        edges = {(relation.first, relation.second) for relation in rule if relation.how == how}
        while edges:
            sources, targets = max(_blocks(edges, place), key=lambda block: len(block[0]) * len(block[1]))
            path = _longest_path(edges, place) if how == "before" else []
            if len(path) - 1 > len(sources) * len(targets):
                found.append(f"{_list(path)} in this order")
                edges -= set(pairwise(path))
            else:
                found.append(_block_in_words(sources, how, targets, len(units)))
                edges -= {(first, second) for first in sources for second in targets}
    return found


def _blocks(edges: set[Edge], place: dict[str, int]) -> Iterable[tuple[list[str], list[str]]]:
    """Sets of units of which each of one stands so to each of the other."""
    after = {first: {t for s, t in edges if s == first} for first, _ in edges}
    together = [frozenset([first]) for first in after]
    together += [frozenset(s for s, t in edges if t == second) for _, second in edges]
    for sources in sorted(set(together), key=lambda s: sorted(place[unit] for unit in s)):
        targets = set.intersection(*(after[first] for first in sources))
        yield sorted(sources, key=place.__getitem__), sorted(targets, key=place.__getitem__)


def _longest_path(edges: set[Edge], place: dict[str, int]) -> list[str]:
    paths: dict[str, list[str]] = {}

    def longest(unit: str) -> list[str]:
        if unit not in paths:
            ways = [longest(t) for s, t in sorted(edges, key=lambda e: place[e[1]]) if s == unit]
            paths[unit] = [unit, *max(ways, key=len, default=[])]
        return paths[unit]

    return max((longest(unit) for unit in sorted(place, key=place.__getitem__)), key=len)


def _block_in_words(sources: list[str], how: str, targets: list[str], units: int) -> str:
    if how == "before" and len(sources) + len(targets) == units > 3:
        if len(sources) == 1:
            return f"{_list(sources)} before all others"
        if len(targets) == 1:
            return f"{_list(targets)} after all others"
    if how == "before" and len(targets) == 1 < len(sources):
        return f"{_list(targets)} after {_list(sources)}"
    return f"{_list(sources)} {how} {_list(targets)}"


def _list(units: Sequence[str], word: str = "and") -> str:
    names = [bracketed(unit) for unit in units]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"
