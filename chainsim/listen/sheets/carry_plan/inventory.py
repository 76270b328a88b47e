"""An inventory: the gear a player may carry, what feeds it, and what it may come to. All figures are the user's."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, TypeAlias, get_args

from pydantic import Field, field_validator

from chainsim.block import block_type
from chainsim.errors import SettingError
from chainsim.settings import Settings, choice, fixed, flag, whole, words

Current: TypeAlias = Literal["DC", "AC"]
Measure: TypeAlias = Literal["boxes", "mass", "price"]
"""What is to be small: how many items are carried, their mass in g, what is spent on them."""
Polarity: TypeAlias = Literal["centre minus", "centre plus", "none"]

MEASURES: tuple[Measure, ...] = get_args(Measure)
MOST_GEAR = 60
MOST_SUPPLIES = 12
MOST_OUTLETS = 64
"""Of one supply."""


class _Carried(Settings):
    """What is known of everything that is carried; what no limit asks for may be left out."""

    name: str | None = words(None, "what you call it")
    width_mm: float | None = fixed(None, 1.0, 3000.0, "mm", "from its left to its right side, plugs included")
    depth_mm: float | None = fixed(None, 1.0, 3000.0, "mm", "from its front to its back, plugs included")
    height_mm: float | None = fixed(None, 1.0, 3000.0, "mm", "from the board to its top")
    mass_g: float | None = fixed(None, 0.0, 200_000.0, "g", "what it weighs, with what belongs to it")
    price: float | None = fixed(None, 0.0, 1e7, "1", "what it costs, in the currency of the budget")
    owned: bool = flag(True, "whether it is yours already: then its price does not count")
    on_board: bool = flag(True, "whether it lies on the board; false for what hangs below or stands beside")


class Gear(_Carried):
    """One box."""

    makes: list[str] = Field([], description="types of blocks that it makes", json_schema_extra={"unit": "1"})
    at_once: int = whole(1, 1, 200, "how many blocks it makes at one time")
    programs: int = whole(1, 1, 100_000, "settings it recalls by foot; 1: it stays as its knobs are set")
    follows_tempo: bool = flag(False, "whether its note values go by a tapped tempo or a clock, not by a knob")
    keeps_dry: bool = flag(False, "whether it passes the straight sound beside its own, at a level of its own")
    splits: int = whole(0, 0, 64, "lanes into which it splits the sound, each on a socket of its own")
    mixes: int = whole(0, 0, 64, "lanes that it sums, each with a level of its own")
    loops: int = whole(0, 0, 64, "other boxes it takes into its loops, in an order that a press changes")
    front: bool | None = flag(
        None, "whether a foot presses it, so that it lies in front; left out: if it has loops or recalls settings"
    )
    pedal_inputs: int = whole(0, 0, 64, "pedals that can move its settings at one time")
    latency_ms: float = fixed(0.0, 0.0, 500.0, "ms", "how late the sound leaves it")
    power: Literal["outlet", "battery", "mains", "none"] = choice("outlet", "what feeds it")
    voltage_v: float | None = fixed(None, 0.5, 48.0, "V", "voltage it takes, as its plate says")
    current_ma: float | None = fixed(None, 0.0, 20_000.0, "mA", "most current it draws, as its plate says")
    current: Current = choice("DC", "direct or alternating")
    polarity: Polarity = choice("centre minus", "how its plug is poled, as its plate says; none: either way round")

    @field_validator("makes")
    @classmethod
    def _blocks_there_are(cls, makes: list[str]) -> list[str]:
        for type_name in makes:
            if type_name == "blender":
                raise ValueError(
                    'take "blender" out: it is a fork of two lanes, no effect; what forks has splits = 2 and mixes = 2'
                )
            try:
                block_type(type_name)
            except SettingError as error:
                raise ValueError(str(error)) from None
        return makes


class Outlet(Settings):
    """Outlets of one kind. Each feeds one box: what a splitting cable may do is not reckoned with."""

    voltage_v: float | None = fixed(None, 0.5, 48.0, "V", "voltage it gives")
    current_ma: float | None = fixed(None, 0.0, 20_000.0, "mA", "most current that each of them gives")
    count: int = whole(1, 1, 64, "how many of them")
    current: Current = choice("DC", "direct or alternating")
    polarity: Polarity = choice("centre minus", "how its plug is poled; none: either way round, as AC is")


class Supply(_Carried):
    """What feeds boxes."""

    outlets: list[Outlet] = Field([], description="its outlets, by kind", json_schema_extra={"unit": "1"})

    @field_validator("outlets")
    @classmethod
    def _not_too_many(cls, outlets: list[Outlet]) -> list[Outlet]:
        if (count := sum(outlet.count for outlet in outlets)) > MOST_OUTLETS:
            raise ValueError(f"{count} of them in all, allowed up to {MOST_OUTLETS}")
        return outlets


class Limits(Settings):
    """What it may come to; what is left out is no limit."""

    board_width_mm: float | None = fixed(None, 1.0, 5000.0, "mm", "from the left to the right edge of the board")
    board_depth_mm: float | None = fixed(None, 1.0, 5000.0, "mm", "from its front to its back edge")
    height_mm: float | None = fixed(None, 1.0, 3000.0, "mm", "room under the lid")
    gap_mm: float = fixed(0.0, 0.0, 500.0, "mm", "between two boxes, for plugs and fingers")
    mass_g: float | None = fixed(None, 0.0, 1e6, "g", "boxes and supplies together, without board, case and cables")
    budget: float | None = fixed(None, 0.0, 1e9, "1", "what may be spent on what is not yours yet")
    latency_ms: float | None = fixed(None, 0.0, 5000.0, "ms", "along the longest way through the boxes")

    @property
    def has_board(self) -> bool:
        """Whether there is a board that all must find room on."""
        return self.board_width_mm is not None and self.board_depth_mm is not None


class InventoryHeader(Settings):
    """The settings at the top of an inventory."""

    format: int = whole(1, 1, 1, "version of the inventory format")
    title: str = words("inventory", "what it is called")
    currency: str = words("", "what prices are in")
    made_elsewhere: list[str] = Field(
        ["noise"],
        description="blocks, by name or type, that no box has to make: a microphone's noise, what the engineer does",
        json_schema_extra={"unit": "1"},
    )


@dataclass(frozen=True)
class Inventory:
    """A checked inventory.

    Attributes
    ----------
    header : InventoryHeader
    gear : sequence of Gear
    supplies : sequence of Supply
    limits : Limits
    """

    header: InventoryHeader
    gear: Sequence[Gear]
    supplies: Sequence[Supply]
    limits: Limits

    @property
    def items(self) -> tuple[Gear | Supply, ...]:
        """All that may be carried: the gear, then the supplies."""
        return (*self.gear, *self.supplies)


def name_of(item: Gear | Supply) -> str:
    """What an item of a checked inventory is called."""
    return item.name or ""


def is_pressed(item: Gear | Supply) -> bool:
    """Whether a foot presses it while it is played."""
    if isinstance(item, Supply):
        return False
    return item.loops > 0 or item.programs > 1 if item.front is None else item.front


def cost(item: Gear | Supply) -> float:
    """What it adds to what is spent."""
    return 0.0 if item.owned else item.price or 0.0


def weight(item: Gear | Supply, by: Measure) -> float:
    """What one item adds to a measure; a figure that is not known counts nothing, and is told so where it is used."""
    return {"boxes": 1.0, "mass": item.mass_g or 0.0, "price": cost(item)}[by]


def total(items: Iterable[Gear | Supply], by: Measure) -> Decimal:
    """A measure of several items, without rounding: the sum of the figures as they are written."""
    return sum((Decimal(str(weight(item, by))) for item in items), Decimal(0))


def not_known(items: Sequence[Gear | Supply], by: Measure) -> list[str]:
    """Items whose figure for a measure is not given."""
    return [
        name_of(item)
        for item in items
        if (by == "mass" and item.mass_g is None) or (by == "price" and not item.owned and item.price is None)
    ]


def goals_of(inventory: Inventory, by: Measure) -> list[Measure]:
    """What is to be small, one after the other; what is not known of every item cannot decide between equals.

    Raises
    ------
    SettingError
        If the first is not known of every item.
    """
    if unknown := not_known(inventory.items, by):
        figure = "mass_g" if by == "mass" else "price"
        raise SettingError(f"the least {by} cannot be found: {figure} is missing for {', '.join(unknown)}")
    return [by, *(other for other in MEASURES if other != by and not not_known(inventory.items, other))]


def plug_text(item: Gear | Outlet) -> str:
    """How a plug is poled; alternating current has no poles."""
    return item.polarity if item.current == "DC" else ""


def feeds(outlet: Outlet, box: Gear) -> bool:
    """Whether an outlet may feed a box: equal voltage, kind and polarity, and current enough."""
    return (
        outlet.voltage_v == box.voltage_v
        and outlet.current == box.current
        and (box.current == "AC" or outlet.polarity == box.polarity)
        and (outlet.current_ma or 0.0) >= (box.current_ma or 0.0)
    )
