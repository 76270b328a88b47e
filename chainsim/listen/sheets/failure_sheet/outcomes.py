"""What becomes of each patch when one box is gone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from chainsim.listen.sheets.failure_sheet.heard import SILENT, Expressions, heard
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import ControllerEntry, State

OutcomeKind = Literal["unchanged", "lives on", "silent"]


@dataclass(frozen=True)
class Outcome:
    """What is left of one patch.

    Attributes
    ----------
    kind : {"unchanged", "lives on", "silent"}
        Unchanged is sample by sample.
    lost : tuple of str
        Boxes that are heard no more, in the order of the chain.
    untold : tuple of str
        Boxes that are heard, but have nothing to follow: their detector or controller listens to what is gone.
    horn_lost : bool
        Whether the horn itself is gone, and only its echo or what follows it is left.
    horn_came : bool
        Whether the horn itself is there, and was not.
    """

    kind: OutcomeKind
    lost: tuple[str, ...] = ()
    untold: tuple[str, ...] = ()
    horn_lost: bool = False
    horn_came: bool = False


class Outcomes:
    """Compares states with what they were.

    Parameters
    ----------
    controllers : mapping of ControllerEntry
    """

    def __init__(self, controllers: Mapping[str, ControllerEntry]) -> None:
        self._controllers = controllers
        self._expressions = Expressions()

    def sounds(self, state: State) -> bool:
        """Whether anything is heard."""
        return self._heard(state) != SILENT

    def holds_the_horn(self, state: State) -> bool:
        """Whether the horn itself is heard, and not only what follows it."""
        return self._expressions.holds_the_horn(self._heard(state))

    def compare(self, before: State, after: State) -> Outcome:
        """What became of a state."""
        was, now = self._heard(before), self._heard(after)
        if was == now:
            return Outcome("unchanged")
        blocks, left = self._expressions.inside(was), self._expressions.inside(now)
        order = list(block_names(before.chain))
        lost = tuple(name for name in order if name in blocks and name not in left)
        if now == SILENT:
            return Outcome("silent", lost)
        had, has = self._expressions.holds_the_horn(was), self._expressions.holds_the_horn(now)
        untold = tuple(name for name in order if name in self._untold(blocks, left))
        return Outcome("lives on", lost, untold, had and not has, has and not had)

    def _heard(self, state: State) -> int:
        return heard(state, self._controllers, self._expressions)

    def _untold(self, before: Mapping[str, int], after: Mapping[str, int]) -> Iterator[str]:
        """Blocks that were told something, and are told nothing now."""
        parts = self._expressions.parts
        for name, number in after.items():
            earlier = parts[before[name]].told_by if name in before else ()
            told = zip(earlier, parts[number].told_by, strict=False)
            if any(was != SILENT and now == SILENT for was, now in told):
                yield name
