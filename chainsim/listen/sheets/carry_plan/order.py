"""In which order boxes are wired: one order for the whole set, unless a switcher takes them into its loops."""

from __future__ import annotations

from collections.abc import Iterator

from chainsim.listen.sheets.carry_plan.choice import Choice
from chainsim.listen.sheets.carry_plan.wants import PatchWants, Wants


def box_pairs(choice: Choice, patch: PatchWants) -> tuple[set[tuple[int, int]], set[tuple[int, int]]]:
    """Every two boxes of a patch of which one hears the other; and those that lie side by side, either way round."""
    box = {name: choice.box_of[job] for name, job in patch.jobs.items()}
    before = {(box[a], box[b]) for a, b in patch.before if box[a] != box[b]}
    beside = {(box[a], box[b]) for a, b in patch.beside if box[a] != box[b]}
    return before, beside | {(h, g) for g, h in beside}


def changing(choice: Choice, wants: Wants) -> frozenset[int]:
    """Boxes that are wired otherwise to another in one patch than in another patch."""
    before: set[tuple[int, int]] = set()
    beside: set[tuple[int, int]] = set()
    for patch in choice.patches(wants):
        in_series, abreast = box_pairs(choice, patch)
        before |= in_series
        beside |= abreast
    return frozenset(g for pair in before if pair[::-1] in before or pair in beside for g in pair)


def parted(patch: PatchWants) -> Iterator[tuple[str, str, str]]:
    """Blocks of a patch of which the second parts the first and the third: one box makes all of them, or not both.

    It lies between them, or in a fork with one of them, so that they are on two sides of a splitter or a mixer.
    """
    after: dict[str, list[str]] = {}
    for a, b in patch.before:
        after.setdefault(a, []).append(b)
    for a, later in after.items():
        yield from ((a, b, c) for b in later for c in after.get(b, ()))
    series = [*patch.before, *((b, a) for a, b in patch.before)]
    for fork in patch.forks:
        for a, c in series:
            if a in fork.blocks and c not in fork.blocks:
                yield from ((a, b, c) for b in sorted(fork.blocks) if b != a)


def torn(choice: Choice, patch: PatchWants) -> Iterator[tuple[str, str, str]]:
    """Blocks of a patch of which the first and the last are in one box, and the other parts them, being in another."""
    box = {name: choice.box_of[job] for name, job in patch.jobs.items()}
    return ((a, b, c) for a, b, c in parted(patch) if box[a] == box[c] != box[b])
