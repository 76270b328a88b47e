"""From rules with names to constraints on the units that move, and which rules contradict each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from chainsim.batch.orders.counting import Constraints, Orders
from chainsim.errors import SketchError
from chainsim.sketch.ordering import OrderRules


@dataclass(frozen=True)
class Rule:
    """One rule on the units that move, by their index.

    Attributes
    ----------
    text : str
        As it is told: "drive before wah".
    earlier : tuple of (int, int)
        Of each pair the first comes before the second.
    together : tuple of int
        Units that stay next to each other.
    lanes : bool
        Whether these may stand side by side, too.
    """

    text: str
    earlier: tuple[tuple[int, int], ...] = ()
    together: tuple[int, ...] = ()
    lanes: bool = False

    def kept_as_written(self, joined: Sequence[bool]) -> bool:
        """Whether units that stand in the order of their indices keep it."""
        side_by_side = all(b == a + 1 and joined[b] for a, b in pairwise(sorted(self.together)))
        return side_by_side and all(a < b for a, b in self.earlier)


def rules_on(rules: OrderRules, index: Mapping[str, int]) -> list[Rule]:
    """The rules on units that move.

    Parameters
    ----------
    rules : OrderRules
    index : dict of int by str
        Which of the units that move a block is, or is in.

    Raises
    ------
    SketchError
        If a rule names two blocks of one unit, or two sets share a unit.
    """
    units = sorted(set(index.values()))
    found, faults = [], []
    for kind, lists in rules.named().items():
        for names in lists if kind != "move" else ():
            found.append(_rule(kind, names, [index[name] for name in names], units))
            for one, other in combinations(names, 2):
                if index[one] == index[other]:
                    faults.append(f'{kind}: "{one}" and "{other}" stand in one fork, which moves as a whole')
    for rule, another in combinations([rule for rule in found if rule.together], 2):
        if set(rule.together) & set(another.together):
            faults.append(f'"{rule.text}" and "{another.text}" share a block; make one set of both')
    if faults:
        raise SketchError(faults)
    return found


def _rule(kind: str, names: Sequence[str], units: list[int], all_units: list[int]) -> Rule:
    text = f"{', '.join(names)} {kind.replace('_', ' ')}"
    if kind == "before":
        return Rule(" before ".join(names), earlier=((units[0], units[1]),))
    if kind in ("first", "last"):
        outwards = units if kind == "first" else units[::-1]
        pairs = [(u, v) for i, u in enumerate(outwards) for v in all_units if v not in outwards[: i + 1]]
        return Rule(text, earlier=tuple((u, v) if kind == "first" else (v, u) for u, v in pairs))
    return Rule(text, together=tuple(units), lanes=kind == "side_by_side")


def orders_under(rules: Sequence[Rule], joined: Sequence[bool]) -> Orders:
    """All orders that keep the rules.

    Parameters
    ----------
    rules : sequence of Rule
    joined : sequence of bool, one a place
        Whether the place is next to the one before it.

    Raises
    ------
    SketchError
        If there is none; it names rules of which none can be left out of the contradiction.
    """
    found = Orders(_constraints(rules, joined))
    if found.count:
        return found
    needed = list(rules)
    for rule in rules:
        without = [other for other in needed if other is not rule]
        if not Orders(_constraints(without, joined)).count:
            needed = without
    texts = [f'"{rule.text}"' for rule in needed]
    if len(texts) == 1:
        raise SketchError(f"{texts[0]} cannot be: between the places of those that move stands what does not")
    raise SketchError(f"{', '.join(texts[:-1])} and {texts[-1]} contradict each other")


def _constraints(rules: Sequence[Rule], joined: Sequence[bool]) -> Constraints:
    earlier = [0] * len(joined)
    for rule in rules:
        for a, b in rule.earlier:
            earlier[b] |= 1 << a
    sets = [(sum(1 << u for u in rule.together), rule.lanes) for rule in rules if rule.together]
    return Constraints(
        joined=tuple(joined),
        earlier=tuple(earlier),
        together=tuple(bits for bits, _ in sets),
        lanes=tuple(bits for bits, lanes in sets if lanes),
    )
