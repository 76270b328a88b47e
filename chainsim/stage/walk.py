"""A walk through a cue list with one foot: what it presses, how long that takes, and how long there is.

From one gesture to the next it takes what `chainsim.stage.gesture` says. The last gesture lands on the cue; the others
follow each other as fast as the foot can, but for the silent ones at the beginning, which may be done at any time since
the cue before.
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
from chainsim.stage.gesture import Gesture, Pace, to_ns
from chainsim.stage.press_search import NEVER_NS, TOLERANCE_NS
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
    serves : tuple of str
        Of each gesture, when the later cue is that needs it, "bar 18"; empty for those that this cue needs.
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
    serves: tuple[str, ...]
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
        Presses and holds in all: the fewest of those walks on which the fewest cues come too fast.
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
    """Walk through a cue list with as few impossible cues as can be and then the fewest presses, and tell which.

    A walk with the fewest presses is looked for first, and the foot's times only where that is too fast: what
    `fewest_presses` says of its exactness holds for both.

    Parameters
    ----------
    board : Board
    cues : sequence of Cue, in order of time
    foot : Foot, optional
        The player's own figures.
    end_s : float, optional
        End of the take; cues that act after it are told and not walked.

    Returns
    -------
    Walk
        With its steps in the order of the cues; they are walked in the order in which they act.

    Raises
    ------
    SettingError
        If a cue or a switch names a patch, bank or switch that there is not.
    """
    pace, end_s = Pace(board, foot or Foot()), math.inf if end_s is None else end_s
    numbers = [i for i, c in enumerate(cues) if pace.acts_at_s(c) <= end_s]
    numbers.sort(key=lambda i: pace.acts_at_s(cues[i]))
    due = [cues[i] for i in numbers]
    reaches = fewest_presses(board, due)
    steps = _timed(reaches, pace)
    if any(s.verdict == "too fast" for s in steps):
        other = fewest_presses(board, due, pace.foot)
        reaches, steps = min([(other, _timed(other, pace)), (reaches, steps)], key=lambda found: _merit(found[1]))
    lamps = board.lamps(reaches[-1].position if reaches else board.start())
    by_number = dict(zip(numbers, steps, strict=True))
    in_order = tuple(by_number[i] if i in by_number else _too_late(cue, lamps, end_s) for i, cue in enumerate(cues))
    return Walk(in_order, sum(len(s.gestures) for s in in_order))


def _timed(reaches: Sequence[Reach], pace: Pace) -> list[WalkStep]:
    """What the foot does for each cue, with its times."""
    stopwatch = _Stopwatch(pace)
    steps: list[WalkStep] = []
    taken_along: list[Reach] = []
    for reach in reaches:
        if reach.with_next:
            taken_along.append(reach)
            continue
        step = stopwatch.step(reach, [r.cue for r in taken_along])
        steps += [*(_beside(r.cue, step) for r in taken_along), step]
        taken_along.clear()
    return steps


def _merit(steps: Sequence[WalkStep]) -> tuple[int, int, int]:
    """Cues without a way, cues that come too fast, and gestures: the less the better."""
    verdicts = [s.verdict for s in steps if not s.with_next]
    return verdicts.count("out of reach"), verdicts.count("too fast"), sum(len(s.gestures) for s in steps)


class _Stopwatch:
    """Goes from cue to cue and remembers what the foot did last."""

    def __init__(self, pace: Pace) -> None:
        self._pace = pace
        self._last: Gesture | None = None
        self._last_ns = NEVER_NS
        self._cue_ns: int | None = None

    def step(self, reach: Reach, taken_along: Sequence[Cue]) -> WalkStep:
        """The next cue, with those at its instant that it takes along."""
        cue, gestures = reach.cue, reach.gestures or ()
        at_ns = to_ns(self._pace.acts_at_s(cue))
        between_ns = [self._pace.between_ns(a, b) for a, b in itertools.pairwise(gestures)]
        time_ns, needs_ns = self._window(at_ns, gestures, sum(between_ns))
        if reach.gestures is None:
            verdict: Verdict = "out of reach"
        else:
            verdict = "possible" if time_ns is None or needs_ns <= time_ns + TOLERANCE_NS else "too fast"
        if gestures:
            early_ns = at_ns - NEVER_NS if time_ns is None else max(time_ns - needs_ns, 0)
            self._last, self._last_ns = gestures[-1], at_ns if reach.lands else at_ns - early_ns
        self._cue_ns = at_ns
        step = WalkStep(
            at_s=cue.at_s,
            when=cue.when,
            what=cue.text,
            gestures=tuple(g.text for g in gestures),
            ahead=reach.ahead,
            serves=tuple(c.when if c else "" for c in reach.serves),
            passes=reach.passes,
            passes_s=sum(between_ns[reach.silent.index(False) :]) / 1e9 if reach.passes else 0.0,
            time_s=None if time_ns is None else time_ns / 1e9,
            needs_s=needs_ns / 1e9,
            verdict=verdict,
            lamps=self._pace.board.lamps(reach.position),
            line="",
        )
        aim = " and ".join(c.text for c in (*taken_along, cue))
        return replace(step, line=f"{cue.when}: {_in_words(step, reach, aim)}")

    def _window(self, at_ns: int, gestures: tuple[Gesture, ...], needs_ns: int) -> tuple[int | None, int]:
        """The time there is and the time it takes, since the last gesture, or since the last cue if that is tighter."""
        windows = []
        if gestures and self._last is not None:
            windows.append((at_ns - self._last_ns, self._pace.between_ns(self._last, gestures[0]) + needs_ns))
        if gestures and self._cue_ns is not None:
            windows.append((at_ns - self._cue_ns, needs_ns))
        return min(windows, key=lambda w: w[0] - w[1], default=(None, needs_ns))


def _in_words(step: WalkStep, reach: Reach, aim: str) -> str:
    if step.verdict == "out of reach":
        return f"no switch leads to {aim}" if reach.searched_all else f"no way to {aim} was found in a bounded search"
    if not step.gestures:
        return f"{aim}: {'nothing to press' if reach.cue.by_foot else 'comes over MIDI'}"
    way = ", ".join(_gesture_in_words(step, i) for i in range(len(step.gestures)))
    if not reach.cue.by_foot:
        aim = f"{aim} comes over MIDI"
    text = aim if reach.cue.is_gesture and len(step.gestures) == 1 else f"{aim}: {way}"
    if step.verdict == "too fast" and step.time_s is not None:
        text = f"{_counted(reach)} in {_down(step.time_s)} s; this foot needs {_up(step.needs_s)} s ({text})"
    if step.passes:
        text += f"; {' and '.join(step.passes)} on the way, for {_up(step.passes_s)} s"
    return text if reach.searched_all else f"{text}; the search was bounded, there may be a shorter way"


def _gesture_in_words(step: WalkStep, i: int) -> str:
    """One of them, with "(ahead)" or "(for bar 18)"."""
    if step.serves[i]:
        return f"{step.gestures[i]} (for {step.serves[i]})"
    return f"{step.gestures[i]} (ahead)" if i < step.ahead else step.gestures[i]


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
        step,
        when=cue.when,
        what=cue.text,
        gestures=(),
        ahead=0,
        serves=(),
        passes=(),
        passes_s=0.0,
        line=line,
        with_next=True,
    )


def _too_late(cue: Cue, lamps: dict[str, bool], end_s: float) -> WalkStep:
    does = "comes" if cue.at_s > end_s else "acts"
    line = f"{cue.when}: {cue.text} {does} after the end of the take"
    return WalkStep(cue.at_s, cue.when, cue.text, (), 0, (), (), 0.0, None, 0.0, "after the end", lamps, line)
