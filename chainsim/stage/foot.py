"""How fast one foot is: the player's own figures."""

from __future__ import annotations

from chainsim.settings import Settings, fixed


class Foot(Settings):
    """Times of one foot on the switches.

    The defaults are common practice, no source: measure your own, over a minute of playing and not at your best.
    """

    same_switch_ms: float = fixed(250.0, 20.0, 5000.0, "ms", "from one press of a switch to its next")
    other_switch_ms: float = fixed(450.0, 20.0, 5000.0, "ms", "from a press of one switch to a press of another")
    hold_ms: float = fixed(600.0, 50.0, 5000.0, "ms", "how long a switch is held until its hold acts")
    release_ms: float = fixed(
        120.0, 10.0, 2000.0, "ms", "how long a press lasts: a switch that also has a hold acts when it is let go"
    )
