"""What stands on the carry plan: what to carry, what each box makes, what feeds it, where it lies, what is left."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from chainsim.listen.sheets.carry_plan.choice import Unsettled
from chainsim.listen.sheets.carry_plan.inventory import Measure
from chainsim.listen.sheets.carry_plan.packing import Place
from chainsim.listen.sheets.carry_plan.power import Feed

CAUTIONS = (
    "Every figure here is yours, from your inventory. Before you plug in, read the plates: voltage, polarity and"
    " current are what the makers say there, and a wrong one can destroy a box or start a fire.",
    "Mains: local codes and the makers' manuals say what is safe. Outside, keep supplies and plugs dry.",
    "Lifting: bend the knees, and split what is heavy over two cases or two people.",
    "Mono or stereo is not reckoned with: a box with one socket folds two channels into one, and what comes after it is"
    " mono; two channels need two of each socket and cable.",
    "Whether a box reaches the settings of the sketch, and sounds as it, only your ears can tell: try it before.",
)


@dataclass(frozen=True)
class Work:
    """What a box makes, and in which patches; None where it is all of them."""

    block: str
    patches: tuple[str, ...] | None


@dataclass(frozen=True)
class Carried:
    """An item to carry.

    Attributes
    ----------
    name : str
    is_supply : bool
    work : tuple of Work
    roles : tuple of str
        What else it does: splits, sums, changes the order.
    settings_held : int
        How many settings it recalls; 0 for what makes no block.
    turned_by_hand : bool
        Whether its knobs are turned between patches.
    mass_g, price : float or None
    owned : bool
    latency_ms : float
    """

    name: str
    is_supply: bool
    work: tuple[Work, ...]
    roles: tuple[str, ...]
    settings_held: int
    turned_by_hand: bool
    mass_g: float | None
    price: float | None
    owned: bool
    latency_ms: float


@dataclass(frozen=True)
class MadePatch:
    """A patch that can be made: its boxes with what each makes, and how late the longest way through them is."""

    name: str
    boxes: tuple[tuple[str, tuple[str, ...]], ...]
    latency_ms: float


@dataclass(frozen=True)
class LostPatch:
    """A patch that cannot be made, and why.

    Attributes
    ----------
    name : str
    alone : bool
        Whether it cannot even by itself, not only beside those that can.
    ways : tuple of tuple of str
        Any one of them, mended, would do; of each, all lines are in the way together.
    """

    name: str
    alone: bool
    ways: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Left:
    """An item that stays at home, and why."""

    name: str
    reason: str


@dataclass(frozen=True)
class Spare:
    """What is left to play without one item: all of it, with others in its place, or not these patches."""

    name: str
    instead: tuple[str, ...]
    lost: tuple[str, ...]
    settled: bool = True
    """False: there were too many ways to try."""


@dataclass(frozen=True)
class Total:
    """What all of it comes to, and what it may."""

    what: str
    value: float
    limit: float | None
    unit: str
    at_least: bool = False
    """Whether a figure that belongs to it is not known."""


@dataclass(frozen=True)
class Laid:
    """Where an item lies on the board."""

    name: str
    is_supply: bool
    place: Place
    front: bool = False
    """Whether a foot presses it."""


@dataclass(frozen=True)
class CarryPlan:
    """What stands on the plan; `as_text` and `page` lay it out."""

    title: str
    inventory: str
    goals: tuple[Measure, ...]
    """What was to be small, one after the other."""
    made: tuple[MadePatch, ...]
    lost: tuple[LostPatch, ...]
    carried: tuple[Carried, ...]
    totals: tuple[Total, ...]
    feeds: tuple[Feed, ...]
    unplugged: tuple[tuple[str, str], ...]
    """Boxes that take no outlet, and what feeds them instead."""
    board_mm: tuple[float, float] | None
    layout: tuple[Laid, ...]
    passed_over: bool
    """Whether a smaller choice was put aside because no layout of it was found, though there may be one."""
    unsettled: Unsettled | None
    """What was not settled when the time was up."""
    beside: tuple[str, ...]
    """Items that do not lie on the board."""
    pedals: tuple[str, ...]
    elsewhere: tuple[str, ...]
    left: tuple[Left, ...]
    spares: tuple[Spare, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for programs."""
        return asdict(self)
