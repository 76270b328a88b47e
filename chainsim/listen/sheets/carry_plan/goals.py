"""What an integer program is to make small, beside boxes, mass and price."""

from __future__ import annotations

from chainsim.listen.sheets.carry_plan.matching import Key, Matching, Terms


def places(matching: Matching) -> Terms:
    """Of equals, those that stand first in the inventory."""
    return {("item", i): i + 1.0 for i in matching.had}


def spread(matching: Matching) -> Terms:
    """In how many boxes each block is made, over all patches."""
    terms: dict[Key, float] = {}
    for patch in matching.wants.patches:
        for block, j in patch.jobs.items():
            for g in matching.makers[j]:
                terms[matching.once(("home", block, g))] = 1.0
                matching.at_least(("home", block, g), (j,), g)
    return terms


def unmade(matching: Matching) -> Terms:
    """How many patches are not made, each worth more than all items; then how many items are carried."""
    counts = matching.measure("boxes")
    return {**counts, **{("patch", p): -(1.0 + len(counts)) for p, _ in enumerate(matching.wants.patches)}}
