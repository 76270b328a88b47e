"""In which order boxes are wired, told to the integer program no sooner than a choice breaks it.

All of it would be a row for each two jobs of a patch in each two boxes. Only those that were broken are written down,
each for all boxes in which the two jobs might be made [1]_.

References
----------
.. [1] G. Dantzig, R. Fulkerson, S. Johnson, "Solution of a large-scale traveling-salesman problem", Journal of the
   Operations Research Society of America 2 (1954): rows are added as they are broken.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

from chainsim.listen.sheets.carry_plan.choice import Choice
from chainsim.listen.sheets.carry_plan.matching import Key, Matching
from chainsim.listen.sheets.carry_plan.order import changing

Relation: TypeAlias = tuple[Literal["before", "beside"], int, int]
"""Of two jobs of a patch: the first one's sound goes to the second, or they lie in lanes side by side."""


class WiringRows:
    """The rows of a matching by which boxes that patches want in several orders go into loops."""

    def __init__(self, matching: Matching) -> None:
        self._matching = matching
        self._known: set[Relation] = set()
        self._pairs: set[Key] = set()
        self._looped: dict[Key, float] = {}

    def add(self, choice: Choice) -> bool:
        """Add what a choice breaks; whether it breaks anything."""
        matching = self._matching
        gear, wants = matching.inventory.gear, matching.wants
        loops = sum(gear[g].loops for g in choice.carried if g < len(gear))
        if "loops" in matching.lifted or len(changing(choice, wants)) <= loops:
            return False
        found: dict[tuple[int, int], list[Relation]] = {}
        abreast: dict[tuple[int, int], list[Relation]] = {}
        for patch in choice.patches(wants):
            for a, b in patch.before:
                j, k = patch.jobs[a], patch.jobs[b]
                found.setdefault((choice.box_of[j], choice.box_of[k]), []).append(("before", j, k))
            for a, b in patch.beside:
                j, k = patch.jobs[a], patch.jobs[b]
                for pair in ((choice.box_of[j], choice.box_of[k]), (choice.box_of[k], choice.box_of[j])):
                    abreast.setdefault(pair, []).append(("beside", j, k))
        boxes = len(self._looped)
        for (g, h), relations in found.items():
            otherwise = [*found.get((h, g), ()), *abreast.get((g, h), ())]
            if g != h and otherwise:
                self._relate(relations[0])
                self._relate(otherwise[0])
        if len(self._looped) > boxes:
            own = {("item", g): -float(gear[g].loops) for g in matching.had if g < len(gear) and gear[g].loops}
            matching.row({**self._looped, **own}, high=0.0)
        return True

    def _relate(self, relation: Relation) -> None:
        """Two boxes stand to each other as the jobs that they make do."""
        if relation in self._known:
            return
        self._known.add(relation)
        kind, a, b = relation
        makers = self._matching.makers
        for g in makers[a]:
            for h in makers[b]:
                if g != h:
                    key = (kind, g, h) if kind == "before" else (kind, min(g, h), max(g, h))
                    self._matching.once(key)
                    self._matching.row({key: 1.0, ("job", a, g): -1.0, ("job", b, h): -1.0}, low=-1.0)
                    if key not in self._pairs:
                        self._pairs.add(key)
                        self._turn(key)

    def _turn(self, key: Key) -> None:
        """Two boxes that stand to each other in two ways go into loops."""
        kind, g, h = key
        beside = ("beside", min(g, h), max(g, h))
        others = [("before", h, g), beside] if kind == "before" else [("before", g, h), ("before", h, g)]
        for other in others:
            if other in self._pairs:
                turned = ("turned", min(g, h), max(g, h))
                self._matching.once(turned)
                self._matching.row({key: 1.0, other: 1.0, turned: -1.0}, high=1.0)
                for box in (g, h):
                    looped = self._matching.once(("looped", box))
                    self._looped[looped] = 1.0
                    self._matching.row({looped: 1.0, turned: -1.0}, low=0.0)
