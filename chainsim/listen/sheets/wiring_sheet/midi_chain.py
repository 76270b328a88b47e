"""How MIDI is plugged: one way through all boxes, and a merger before it where there are several senders."""

from __future__ import annotations

from dataclasses import dataclass

MERGER = "MIDI merger"
CHANNELS = 16
"""Of one MIDI cable (MIDI 1.0, table of channel messages)."""


@dataclass(frozen=True)
class MidiChain:
    """What sends, and what listens, one box behind the other.

    Attributes
    ----------
    senders : tuple of str
    boxes : tuple of str
        In the order of the chain; from each to the next goes a cable, from thru to in.
    """

    senders: tuple[str, ...]
    boxes: tuple[str, ...]

    @property
    def merged(self) -> bool:
        """Whether it needs a merger: a box has one MIDI input."""
        return len(self.senders) > 1

    @property
    def cables(self) -> int:
        """One into each box; where there is a merger, one from each sender into it, too."""
        return len(self.boxes) + (len(self.senders) if self.merged else 0)

    def into(self, sender: str) -> str:
        """Where the cable of a sender goes."""
        return f"{MERGER}, in {self.senders.index(sender) + 1}" if self.merged else f"{self.boxes[0]}, MIDI in"
