"""The part of `chainsim check` about levels: the plan along the chain, and what reaches the house."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from chainsim.cli.common import number, table

if TYPE_CHECKING:
    from chainsim.batch.house_feed import Way
    from chainsim.batch.level_plan import LevelPlan, Point, StateLevels

PHANTOM = (
    "Caution: phantom supply is switched with the fader down, and only onto what its maker allows it for; mains,"
    " supplies and earth: makers' manuals, local codes, licensed people."
)


def level_lines(plan: LevelPlan) -> Iterator[str]:
    """The level plan of a sketch over a take."""
    first, last = plan.analysed_s
    out = "" if plan.output_dbu == plan.input.full_scale_dbu else f", {plan.output_dbu:+.1f} dBu coming out"
    full_dbu = plan.input.full_scale_dbu
    yield f"\nLevels: 0 dBFS is {full_dbu:+.1f} dBu going in{out}; take from {first:.1f} to {last:.1f} s"
    if plan.input.estimate is not None:
        yield f"({plan.input.estimate})"
    yield from (f"warning: {line}" for line in plan.input.warnings)
    written, *patches = plan.states
    head = ("nominal dBu", "peak dBu", "clips dBu", "headroom dB", "noise dBu", "at rest dBu")
    yield table(("", *head), [_row(point.name, point) for point in written.points])
    if any(math.isnan(point.noise_playing_dbu) for state in plan.states for point in state.points):
        yield "(where voices follow the pitch, noise can't be told from them while they play: see at rest)"
    yield from _warning_lines(written, "")
    if patches:
        yield "\nWhat comes out, patch by patch:"
        yield table(("patch", *head), [_row(state.name, state.points[-1]) for state in patches])
        for state in patches:
            yield from _warning_lines(state, f"{state.name}: ")
    loudest = f' ("{plan.loudest}", the loudest)' if patches else ""
    yield f"\nTo the house{loudest}:"
    yield table(
        ("", "nominal dBu", "peak dBu", "headroom dB", "noise dBu", "S/N dB", "gain to +4 dBu"),
        [_way(way) for way in plan.ways],
    )
    if not plan.phantom:
        yield "warning: the house has no phantom supply here: an active box needs its own, or take the passive one"
    yield from (f"warning: {line}" for line in _clipping(plan.ways))
    yield PHANTOM


def _row(name: str, point: Point) -> tuple[str, ...]:
    clip, headroom = point.clip_dbu, point.headroom_db
    return (
        name,
        number(point.nominal_dbu),
        number(point.peak_dbu),
        "" if clip is None else number(clip),
        "" if headroom is None else number(headroom),
        number(point.noise_playing_dbu),
        number(point.noise_resting_dbu),
    )


def _warning_lines(state: StateLevels, place: str) -> Iterator[str]:
    yield from (f"warning: {place}{line}" for line in state.warnings)


def _way(way: Way) -> tuple[str, ...]:
    if not way.arrives:
        return (way.name, "nothing", *["-"] * 5)
    headroom = "-" if math.isinf(way.headroom_db) else f"{way.headroom_db:.1f} ({way.clips_first})"
    return (
        way.name,
        number(way.nominal_dbu),
        number(way.peak_dbu),
        headroom,
        number(way.noise_dbu),
        number(way.signal_to_noise_db),
        number(way.gain_db),
    )


def _clipping(ways: tuple[Way, ...]) -> Iterator[str]:
    for way in ways:
        if way.arrives and way.headroom_db < 0.0:
            over_db = -way.headroom_db
            yield f"{way.name}: {way.clips_first} would clip by {over_db:.1f} dB; switch in a pad, or send less"
