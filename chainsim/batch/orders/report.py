"""What became of the orders of a chain: every order, the groups that sound alike, and what exchanges do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from chainsim.batch.orders.grouping import Group, Identical
from chainsim.batch.orders.relations import Common
from chainsim.batch.orders.swaps import Swap
from chainsim.batch.orders.variants import Variant
from chainsim.batch.sounds.sound_figures import SoundFigures
from chainsim.units import Array


@dataclass(frozen=True)
class Order:
    """One order of the blocks.

    Attributes
    ----------
    variant : Variant
        Its name, its units, and the sketch that renders it.
    group : int
        Which group it is in.
    figures : tuple of SoundFigures
        One for each take.
    """

    variant: Variant
    group: int
    figures: tuple[SoundFigures, ...]

    @property
    def name(self) -> str:
        """Its units in series: "gate > drive > plate"."""
        return self.variant.name


@dataclass(frozen=True)
class OrderGroup:
    """Orders that sound alike.

    Attributes
    ----------
    group : Group
        Its members, the one that represents them, and how far they are apart.
    common : Common
        What they have in common and others have not.
    files : tuple of str or None
        The representative's sound, one for each take, None for one that could not be written; empty where no folder
        was given.
    trims_db : tuple of float
        What brought these to one loudness.
    sketch_sha256 : str or None
        Hash of the representative's sketch as it was written into the folder; None if it was not.
    """

    group: Group
    common: Common
    files: tuple[str | None, ...] = ()
    trims_db: tuple[float, ...] = ()
    sketch_sha256: str | None = None

    @property
    def members(self) -> tuple[int, ...]:
        """Which orders."""
        return self.group.members

    @property
    def representative(self) -> int:
        """The most central of them, to be heard for all."""
        return self.group.representative


@dataclass(frozen=True)
class Orders:
    """What `compare_orders` found.

    Attributes
    ----------
    title : str
    takes : tuple of str
        Those that could be read, each recording once.
    orders : tuple of Order
        The one as written first, where it is among them.
    groups : tuple of OrderGroup
        The one with the order as written first, then by size.
    identical : tuple of Identical
        Orders that null against each other on every take; every order is in one of them.
    swaps, forks : tuple of Swap
        What it does to exchange two neighbours, and to set units side by side; the most audible first, one step being
        audible whatever the groups' threshold.
    distances : ndarray, shape (orders, orders)
        In steps, of which one is just audible: the largest over the takes.
    residuals_db : ndarray, shape (orders, orders)
        What is left of two orders when one is taken from the other, the largest over the takes.
    threshold_steps : float
    possible : int
        How many orders the rules allow; more than `orders` where these are a sample.
    notes : tuple of str
        What was taken for granted of the rules.
    left_out : dict of str
        Orders that cannot be built, by name, with the reason.
    failed : tuple of str
        What went wrong with takes, and with orders that can be built and yet could not be rendered or written.
    block_runs, single_block_runs : int
        Blocks that ran, and that would have run if each order had been rendered alone; of what was not there already.
    rendered, reused : int
        Sounds made, and sounds that the folder had already.
    warnings : tuple of str
    take_hashes : tuple of str
        SHA-256 of each take.
    """

    title: str
    takes: tuple[str, ...]
    orders: tuple[Order, ...] = field(repr=False)
    groups: tuple[OrderGroup, ...] = field(repr=False)
    identical: tuple[Identical, ...] = field(repr=False)
    swaps: tuple[Swap, ...] = field(repr=False)
    forks: tuple[Swap, ...] = field(repr=False)
    distances: Array = field(repr=False)
    residuals_db: Array = field(repr=False)
    threshold_steps: float
    possible: int
    notes: tuple[str, ...]
    left_out: Mapping[str, str]
    failed: tuple[str, ...]
    block_runs: int
    single_block_runs: int
    rendered: int
    reused: int
    warnings: tuple[str, ...]
    take_hashes: tuple[str, ...] = field(default=(), repr=False)

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        return {
            "title": self.title,
            "takes": list(self.takes),
            "take_sha256": list(self.take_hashes),
            "threshold_steps": self.threshold_steps,
            "possible": self.possible,
            "notes": list(self.notes),
            "block_runs": self.block_runs,
            "single_block_runs": self.single_block_runs,
            "rendered": self.rendered,
            "reused": self.reused,
            "orders": [
                {
                    "name": order.name,
                    "as_written": order.variant.as_written,
                    "group": order.group + 1,
                    "figures": [figures.to_dict() for figures in order.figures],
                }
                for order in self.orders
            ],
            "groups": [self._group(group) for group in self.groups],
            "identical": [
                {"orders": self._names(one.members), "worst_null_db": one.worst_null_db}
                for one in self.identical
                if len(one.members) > 1
            ],
            "swaps": [asdict(swap) for swap in self.swaps],
            "side_by_side": [asdict(fork) for fork in self.forks],
            "distances_steps": self.distances.tolist(),
            "left_out": dict(self.left_out),
            "failed": list(self.failed),
            "warnings": list(self.warnings),
        }

    def _group(self, found: OrderGroup) -> dict[str, Any]:
        group = found.group
        return {
            "orders": self._names(group.members),
            "sounds": group.sounds,
            "representative": self.orders[group.representative].name,
            "in_common": found.common.text,
            "others_alike": found.common.others,
            "radius_steps": group.radius_steps,
            "diameter_steps": group.diameter_steps,
            "nearest": None if group.nearest is None else group.nearest + 1,
            "nearest_steps": group.nearest_steps,
            "gap_steps": group.gap_steps,
            "files": list(found.files),
            "trims_db": list(found.trims_db),
            "sketch_sha256": found.sketch_sha256,
        }

    def _repr_html_(self) -> str:
        """The groups, each with its representative's sounds where files of them are there, for notebooks."""
        from chainsim.listen.notebook import player_of_file, table_html

        files = sum(file is not None for group in self.groups for file in group.files)
        heard = any(group.files for group in self.groups)
        takes = [f"sound of {Path(take).stem}" for take in self.takes] if heard else []
        rows = []
        for k, found in enumerate(self.groups, start=1):
            name = self.orders[found.representative].name
            label = f"group {k}: {name}"
            players = ["no file" if f is None else player_of_file(f, label, among=files) for f in found.files]
            rows.append([str(k), str(len(found.members)), name, found.common.text, *players])
        caption = f"{self.title}: {len(self.orders)} orders, {len(self.groups)} groups that sound alike"
        head = ["group", "orders", "heard for all", "in common", *takes]
        return table_html(caption, head, rows, (*self.failed, *self.warnings))

    def _names(self, members: tuple[int, ...]) -> list[str]:
        return [self.orders[i].name for i in members]
