"""How a sketch goes on in time: each cue and each tap in turn, what it makes of board and tempo.

Cues in bars are placed on the way, since where a bar falls depends on every change of tempo before it.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from chainsim.sketch.cues import WrittenCue
from chainsim.stage.actions import Action
from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue
from chainsim.stage.foot import Foot
from chainsim.stage.gesture import Pace
from chainsim.stage.taps import FURTHEST_S, MOST_TAPS, tempi_of_taps, tempo_of_taps, tempo_so_far

ONE_INSTANT_S = 1e-9
"""Nearer to each other than this a bar and a time in seconds differ by rounding alone."""


@dataclass(frozen=True)
class Moment:
    """From this time on: where the board stands, and the tempo; the cue that led there, if it was one."""

    at_s: float
    position: Position
    tempo_bpm: float
    cue: Cue | None = None


@dataclass(frozen=True)
class Tempi:
    """The sketch's own tempo, and those that patches bring."""

    written_bpm: float
    of_patches: dict[str, float]


class SongTempo:
    """The tempo that holds: the sketch's, or the tapped one instead of it, or the one a patch brings until a tap."""

    def __init__(self, tempi: Tempi) -> None:
        self._tempi = tempi
        self._song_bpm = tempi.written_bpm
        self.bpm = self._song_bpm

    def enter(self, patch: str | None) -> None:
        """Another patch holds now."""
        self.bpm = self._song_bpm if patch is None else self._tempi.of_patches.get(patch, self._song_bpm)

    def tap(self, bpm: float) -> None:
        """A foot has tapped this tempo."""
        self.bpm = self._song_bpm = bpm


class Course:
    """Goes through cues and taps in order of time.

    Parameters
    ----------
    board, foot, tempi
        What cues act on.
    cues : sequence of WrittenCue
        In any order; of two at one time the later in the list comes later, taps before all.
    taps : sequence of rows of tap times in s
    first_beat_s : float
        Where bar 1 begins.
    """

    def __init__(
        self,
        board: Board,
        foot: Foot,
        tempi: Tempi,
        cues: Sequence[WrittenCue],
        taps: Sequence[Sequence[float]] = (),
        first_beat_s: float = 0.0,
    ) -> None:
        self._board, self._pace = board, Pace(board, foot)
        self._tempo = SongTempo(tempi)
        self._position = board.start()
        self._taps: list[float] = []
        self._now_s, self._first_beat_s, self._quarters = 0.0, first_beat_s, 0.0
        self._placed: list[tuple[float, int, Cue]] = []
        tapped = [tempo for row in taps for tempo in tempi_of_taps(row)]
        self._coming: list[tuple[float, int, Cue | float]] = [
            (at_s, number - len(tapped), bpm) for number, (at_s, bpm) in enumerate(tapped)
        ]
        heapq.heapify(self._coming)
        in_bars = [(w.quarters, i, w.cue) for i, w in enumerate(cues) if w.quarters is not None]
        self._in_bars = sorted(in_bars, key=lambda item: item[:2], reverse=True)
        for i, written in enumerate(cues):
            if written.quarters is None:
                self._place(i, written.cue)

    @property
    def numbered(self) -> list[tuple[int, Cue]]:
        """The cues that have their times, in order, each with its number in the list as given."""
        return [(number, cue) for _, number, cue in sorted(self._placed, key=lambda item: item[:2])]

    def moments(self) -> Iterator[Moment]:
        """Yield what holds from each change on, the first at 0; then `numbered` has every cue with its time.

        Raises
        ------
        SettingError
            If a switch is tapped faster than a foot can, or at no tempo that there is.
        """
        yield Moment(0.0, self._position, self._tempo.bpm)
        while self._coming or self._in_bars:
            bar_s = self._next_bar_s()
            if not self._coming or bar_s <= self._coming[0][0]:
                self._go_to(bar_s)
                _, number, in_bar = self._in_bars.pop()
                self._place(number, replace(in_bar, at_s=bar_s))
                continue
            at_s, _, what = heapq.heappop(self._coming)
            self._go_to(at_s)
            cue = what if isinstance(what, Cue) else None
            if isinstance(what, Cue):
                self._apply(what, at_s)
            else:
                self._tempo.tap(what)
            yield Moment(at_s, self._position, self._tempo.bpm, cue)
        self._end_taps()

    def _place(self, number: int, cue: Cue) -> None:
        self._placed.append((cue.at_s, number, cue))
        heapq.heappush(self._coming, (self._pace.acts_at_s(cue), number, cue))

    def _next_bar_s(self) -> float:
        if not self._in_bars:
            return math.inf
        since_s = max(self._now_s, self._first_beat_s)
        bar_s = since_s + max(self._in_bars[-1][0] - self._quarters, 0.0) * 60.0 / self._tempo.bpm
        if self._coming and math.isclose(bar_s, self._coming[0][0], rel_tol=0.0, abs_tol=ONE_INSTANT_S):
            return self._coming[0][0]
        return bar_s

    def _go_to(self, at_s: float) -> None:
        since_s = max(self._now_s, self._first_beat_s)
        self._quarters += max(at_s - since_s, 0.0) * self._tempo.bpm / 60.0
        self._now_s = at_s

    def _apply(self, cue: Cue, at_s: float) -> None:
        before = self._position
        self._position = self._board.apply(before, cue)
        if self._taps_tempo(cue, before):
            self._tapped(at_s)
        elif self._chooses(cue, before):
            self._tempo.enter(self._position.patch)

    def _taps_tempo(self, cue: Cue, position: Position) -> bool:
        action = self._action(cue, position)
        return action is not None and action.kind == "tap"

    def _chooses(self, cue: Cue, before: Position) -> bool:
        """Whether a patch was chosen, be it the same one again."""
        action = self._action(cue, before)
        again = cue.kind == "patch" or (action is not None and action.kind in ("patch", "place"))
        return again or self._position.patch != before.patch

    def _action(self, cue: Cue, position: Position) -> Action | None:
        if cue.kind == "press":
            return self._board.pressed(position, cue.name)
        return self._board.switch(cue.name).hold if cue.kind == "hold" else None

    def _tapped(self, at_s: float) -> None:
        if self._taps and at_s - self._taps[-1] > FURTHEST_S:
            self._end_taps()
        self._taps = [*self._taps, at_s][-MOST_TAPS:]
        if (bpm := tempo_so_far(self._taps)) is not None:
            self._tempo.tap(bpm)

    def _end_taps(self) -> None:
        """A row of taps must have made a tempo in the end; one tap alone makes none and says nothing."""
        if len(self._taps) > 1:
            tempo_of_taps(self._taps)
        self._taps = []
