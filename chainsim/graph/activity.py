"""When an edge is open: a curve of straight pieces over absolute samples."""

from __future__ import annotations

from dataclasses import dataclass, field

NEVER = 2**62


@dataclass
class Activity:
    """A gain over time: constant until a piece begins, then straight to that piece's end, then constant again.

    Attributes
    ----------
    pieces : list of (start, end, to)
        In order of time; start == end is a step. The gain before the first piece is `before`.
    """

    before: float = 1.0
    pieces: list[tuple[int, int, float]] = field(default_factory=list)

    def at(self, n: int) -> float:
        """The gain at sample n."""
        return self.piece(n)[0]

    def piece(self, n: int) -> tuple[float, int, int, float, float]:
        """Return the gain at n and the straight line it lies on, as (gain, start, end, from, to)."""
        value = self.before
        for start, end, to in self.pieces:
            if n < start:
                break
            if n < end:
                return value + (to - value) * ((n - start) / (end - start)), start, end, value, to
            value = to
        return value, n, n, value, value

    def move(self, start: int, length: int, to: float) -> None:
        """Go to another gain from `start` on; whatever was to come after `start` is dropped."""
        now = self.at(start)
        kept = [piece for piece in self.pieces if piece[0] < start]
        if kept and kept[-1][1] > start:
            kept[-1] = (kept[-1][0], start, now)
        if now != to:
            kept.append((start, start + length, to))
        self.pieces = kept

    @property
    def last(self) -> float:
        """The gain at the end of time."""
        return self.pieces[-1][2] if self.pieces else self.before

    def end_of_motion(self) -> int:
        """First sample from which nothing changes any more."""
        return self.pieces[-1][1] if self.pieces else 0

    def events(self) -> list[int]:
        """Samples at which the curve bends."""
        return [n for s, e, _ in self.pieces for n in (s, e)]
