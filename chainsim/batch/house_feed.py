"""What reaches the house: the last box through a direct box, or straight, into a microphone or a line input."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chainsim.measure.electrical import loading_db, sum_of_powers_db, turns_db
from chainsim.sketch.levels import Levels

HOUSE_NOMINAL_DBU = 4.0
"""Line level inside a desk: what an engineer turns the gain up to; common practice, no source."""


@dataclass(frozen=True)
class Feed:
    """What comes out of the chain."""

    nominal_dbu: float
    peak_dbu: float
    noise_dbu: float


@dataclass(frozen=True)
class Way:
    """One way to the house, and what arrives.

    Attributes
    ----------
    name : str
    arrives : bool
        False where a box has no supply.
    nominal_dbu, peak_dbu : float
        At the input of the house; minus infinity where nothing arrives.
    headroom_db : float
        From the peaks to where the box or the input clips first; `clips_first` says which.
    noise_dbu : float
        Of chain, box and input together, as at the input.
    gain_db : float
        What brings the nominal level to +4 dBu.
    """

    name: str
    arrives: bool
    nominal_dbu: float
    peak_dbu: float
    headroom_db: float
    clips_first: str
    noise_dbu: float
    gain_db: float

    @property
    def signal_to_noise_db(self) -> float:
        """From nominal level to noise."""
        return self.nominal_dbu - self.noise_dbu


def ways_to_the_house(feed: Feed, levels: Levels) -> tuple[Way, ...]:
    """The ways side by side: active box with and without its supply, passive box, no box."""
    settings, active, passive = levels.settings, levels.active_box, levels.passive_box
    microphone, line = levels.microphone_input, levels.line_input
    into_active_db = loading_db(settings.source_ohms, active.input_ohms)
    active_db = into_active_db + active.gain_db + loading_db(active.output_ohms, microphone.input_ohms)
    # The input's load, seen through the transformer, loads the last box.
    seen_ohms = microphone.input_ohms * passive.turns_ratio**2
    into_passive_db = loading_db(settings.source_ohms, seen_ohms) - passive.pad_db
    passive_db = into_passive_db + turns_db(passive.turns_ratio)
    straight_db = loading_db(settings.source_ohms, line.input_ohms)
    box = "active box, microphone input"
    noises_dbu = (active.noise_dbu, microphone.noise_dbu)
    powered = _way(
        f"{box}, phantom on", feed, active_db, into_active_db, active.clip_dbu, microphone.clip_dbu, noises_dbu
    )
    unpowered = Way(f"{box}, no phantom", False, -math.inf, -math.inf, math.inf, "", -math.inf, math.inf)
    ratio = f"passive box {passive.turns_ratio:g}:1, microphone input"
    through = _way(
        ratio, feed, passive_db, into_passive_db, passive.clip_dbu, microphone.clip_dbu, (microphone.noise_dbu,)
    )
    straight = _way("no box, line input", feed, straight_db, 0.0, math.inf, line.clip_dbu, (line.noise_dbu,))
    active_ways = (powered, unpowered) if settings.phantom else (unpowered, powered)
    return *active_ways, through, straight


def _way(
    name: str,
    feed: Feed,
    loss_db: float,
    into_box_db: float,
    box_clip_dbu: float,
    input_clip_dbu: float,
    noises_dbu: tuple[float, ...],
) -> Way:
    nominal_dbu, peak_dbu = feed.nominal_dbu + loss_db, feed.peak_dbu + loss_db
    in_box_db, in_input_db = box_clip_dbu - feed.peak_dbu - into_box_db, input_clip_dbu - peak_dbu
    return Way(
        name=name,
        arrives=True,
        nominal_dbu=nominal_dbu,
        peak_dbu=peak_dbu,
        headroom_db=min(in_box_db, in_input_db),
        clips_first="the box" if in_box_db < in_input_db else "the input",
        noise_dbu=sum_of_powers_db((feed.noise_dbu + loss_db, *noises_dbu)),
        gain_db=HOUSE_NOMINAL_DBU - nominal_dbu,
    )
