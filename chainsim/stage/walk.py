"""A walk through a cue list with one foot: what it presses, how long that takes, and how long there is.

From one gesture to the next, measured where they act:

    t = down(a) - acts(a) + acts(b)
    acts = 0 for a press, release for a press of a switch that also has a hold, hold for a hold
    down = max(gap, acts) for a press, hold + gap for a hold

where gap is that of one switch or of two. The last gesture lands on the cue; the others follow each other as fast as
the foot can, but for the silent ones at the beginning, which may be done at any time since the cue before.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from chainsim.stage.board import Board
from chainsim.stage.cues import Cue
from chainsim.stage.foot import Foot
from chainsim.stage.press_search import Gesture
from chainsim.stage.reach import Reach, fewest_presses

Verdict = Literal["possible", "too fast", "out of reach", "after the end"]

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


@dataclass(frozen=True)
class WalkStep:
    """One cue, and what the foot does for it.

    Attributes
    ----------
    at_s : float
        Time in the take.
    when, what : str
        "bar 17", "patch chorale".
    gestures : tuple of str
        In order: "A", "hold B".
    ahead : int
        How many of them are silent and may be done at leisure since the cue before.
    passes : tuple of str
        Sounds that are heard on the way: wrong ones, or the right one too early.
    passes_s : float
        How long they are heard before the cue, at the least.
    time_s : float or None
        The time there is; None where nothing was pressed or due before.
    needs_s : float
        The time that this foot needs.
    verdict : {"possible", "too fast", "out of reach", "after the end"}
    lamps : dict of bool
        By switch, once the cue has come.
    line : str
        All this in one line.
    with_next : bool
        Whether the next cue, at the same instant, takes this one along: times and verdict are those of both.
    """

    at_s: float
    when: str
    what: str
    gestures: tuple[str, ...]
    ahead: int
    passes: tuple[str, ...]
    passes_s: float
    time_s: float | None
    needs_s: float
    verdict: Verdict
    lamps: dict[str, bool]
    line: str
    with_next: bool = False


@dataclass(frozen=True)
class Walk:
    """A cue list as one foot plays it.

    Attributes
    ----------
    steps : tuple of WalkStep
        One a cue.
    presses : int
        Presses and holds in all, the fewest that lead through the list.
    """

    steps: tuple[WalkStep, ...]
    presses: int

    @property
    def lines(self) -> tuple[str, ...]:
        """One line a cue."""
        return tuple(s.line for s in self.steps)

    @property
    def impossible(self) -> tuple[str, ...]:
        """The lines of those cues that one foot cannot make, one an instant."""
        return tuple(s.line for s in self.steps if s.verdict in ("too fast", "out of reach") and not s.with_next)


def walk(board: Board, cues: Sequence[Cue], foot: Foot | None = None, end_s: float | None = None) -> Walk:
    """Walk through a cue list with the fewest presses, and say which cues one foot can make.

    Parameters
    ----------
    board : Board
    cues : sequence of Cue, in order of time
    foot : Foot, optional
        The player's own figures.
    end_s : float, optional
        End of the take; cues after it are told and not walked.

    Raises
    ------
    SettingError
        If a cue or a switch names a patch, bank or switch that there is not.
    """
    reaches = fewest_presses(board, [c for c in cues if end_s is None or c.at_s <= end_s])
    stopwatch = _Stopwatch(board, foot or Foot())
    steps: list[WalkStep] = []
    taken_along: list[Reach] = []
    for reach in reaches:
        if reach.with_next:
            taken_along.append(reach)
            continue
        step = stopwatch.step(reach, [r.cue for r in taken_along])
        steps += [*(_beside(r.cue, step) for r in taken_along), step]
        taken_along.clear()
    lamps = board.lamps(reaches[-1].position if reaches else board.start())
    steps += [_too_late(cue, lamps) for cue in cues[len(reaches) :]]
    return Walk(tuple(steps), sum(len(s.gestures) for s in steps))


class _Stopwatch:
    """Goes from cue to cue and remembers what the foot did last."""

    def __init__(self, board: Board, foot: Foot) -> None:
        self._board = board
        self._foot = foot
        self._last: Gesture | None = None
        self._last_s = 0.0
        self._cue_s: float | None = None

    def step(self, reach: Reach, taken_along: Sequence[Cue]) -> WalkStep:
        """The next cue, with those at its instant that it takes along."""
        cue, gestures = reach.cue, reach.gestures or ()
        between_s = [self._between_s(a, b) for a, b in itertools.pairwise(gestures)]
        time_s, needs_s = self._window(cue.at_s, gestures, sum(between_s))
        if reach.gestures is None:
            verdict: Verdict = "out of reach"
        else:
            verdict = "possible" if time_s is None or needs_s <= time_s + 1e-9 else "too fast"
        if gestures:
            self._last, self._last_s = gestures[-1], cue.at_s
        self._cue_s = cue.at_s
        step = WalkStep(
            at_s=cue.at_s,
            when=cue.when,
            what=cue.text,
            gestures=tuple(g.text for g in gestures),
            ahead=reach.ahead,
            passes=reach.passes,
            passes_s=sum(between_s[reach.silent.index(False) :]) if reach.passes else 0.0,
            time_s=time_s,
            needs_s=needs_s,
            verdict=verdict,
            lamps=self._board.lamps(reach.position),
            line="",
        )
        aim = " and ".join(c.text for c in (*taken_along, cue))
        return replace(step, line=f"{cue.when}: {_in_words(step, reach, aim)}")

    def _window(self, at_s: float, gestures: tuple[Gesture, ...], needs_s: float) -> tuple[float | None, float]:
        """The time there is and the time it takes, since the last gesture, or since the last cue if that is tighter."""
        windows = []
        if gestures and self._last is not None:
            windows.append((at_s - self._last_s, self._between_s(self._last, gestures[0]) + needs_s))
        if gestures and self._cue_s is not None:
            windows.append((at_s - self._cue_s, needs_s))
        return min(windows, key=lambda w: w[0] - w[1], default=(None, needs_s))

    def _between_s(self, first: Gesture, then: Gesture) -> float:
        """Time from where one gesture acts to where the next does: the equation above."""
        foot = self._foot
        gap_ms = foot.same_switch_ms if first.switch == then.switch else foot.other_switch_ms
        acts_ms = self._acts_ms(first)
        down_ms = foot.hold_ms + gap_ms if first.kind == "hold" else max(gap_ms, acts_ms)
        return (down_ms - acts_ms + self._acts_ms(then)) / 1000.0

    def _acts_ms(self, gesture: Gesture) -> float:
        if gesture.kind == "hold":
            return self._foot.hold_ms
        return 0.0 if self._board.switch(gesture.switch).hold is None else self._foot.release_ms


def _in_words(step: WalkStep, reach: Reach, aim: str) -> str:
    if step.verdict == "out of reach":
        return f"no switch leads to {aim}" if reach.searched_all else f"no way to {aim} was found in a bounded search"
    if not step.gestures:
        return f"{aim}: {'nothing to press' if reach.cue.by_foot else 'comes over MIDI'}"
    way = ", ".join(f"{g} (ahead)" if i < step.ahead else g for i, g in enumerate(step.gestures))
    text = aim if reach.cue.is_gesture and len(step.gestures) == 1 else f"{aim}: {way}"
    if step.verdict == "too fast" and step.time_s is not None:
        text = f"{_counted(reach)} in {_down(step.time_s)} s; this foot needs {_up(step.needs_s)} s ({text})"
    if step.passes:
        text += f"; {' and '.join(step.passes)} on the way, for {_up(step.passes_s)} s"
    return text if reach.searched_all else f"{text}; the search was bounded, there may be a shorter way"


def _counted(reach: Reach) -> str:
    """How many presses and holds: "three presses", "one press and one hold"."""
    kinds = [g.kind for g in reach.gestures or ()]
    presses, holds = kinds.count("press"), kinds.count("hold")
    parts = [f"{_number(presses)} {'press' if presses == 1 else 'presses'}"] if presses else []
    parts += [f"{_number(holds)} {'hold' if holds == 1 else 'holds'}"] if holds else []
    return " and ".join(parts)


def _number(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def _down(time_s: float) -> str:
    """Rounded towards less, so that it never looks like enough."""
    return f"{math.floor(round(time_s * 100.0, 6)) / 100.0:g}"


def _up(time_s: float) -> str:
    return f"{math.ceil(round(time_s * 100.0, 6)) / 100.0:g}"


def _beside(cue: Cue, step: WalkStep) -> WalkStep:
    """A cue at the instant of the next, which takes it along."""
    line = f"{cue.when}: {cue.text}, together with {step.what}"
    return replace(
        step, when=cue.when, what=cue.text, gestures=(), ahead=0, passes=(), passes_s=0.0, line=line, with_next=True
    )


def _too_late(cue: Cue, lamps: dict[str, bool]) -> WalkStep:
    line = f"{cue.when}: {cue.text} comes after the end of the take"
    return WalkStep(cue.at_s, cue.when, cue.text, (), 0, (), 0.0, None, 0.0, "after the end", lamps, line)
