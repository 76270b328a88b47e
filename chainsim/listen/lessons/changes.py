"""What a block changed, told of those figures alone that it changed audibly."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TypeAlias

import numpy as np

from chainsim.listen.lessons.claims import Outcome, Reading, amount, compared
from chainsim.listen.lessons.excerpt import AFTER_S, Excerpt, Heard
from chainsim.listen.lessons.measures import (
    brightness_hz,
    loudness_lufs,
    peak_dbfs,
    rest_level_dbfs,
    ringing_level_dbfs,
    ringing_s,
    spectrum_db,
)
from chainsim.listen.lessons.model import Claim
from chainsim.listen.lessons.sides import Place, place, side_text
from chainsim.listen.page.model import Figure
from chainsim.measure.sound_distance.places import Apart, Beside

LEAST_LU, LEAST_PEAK_DB, LEAST_REST_DB, LEAST_BAND_DB, LEAST_RING_S, LEAST_MS = 1.0, 2.0, 3.0, 1.0, 0.15, 1.0
LEAST_BRIGHTNESS = 0.08
"""Share of the brightness before."""
LEAST_PLACE_DB, LEAST_MOVE_DB, LEAST_COMMON_PERCENT, LEAST_BETWEEN_DB = 1.5, 4.0, 10.0, 3.0
ONE_SOUND = 0.7
"""Sides that have less in common go to and fro by chance, as in a hall, and not as one sound."""
QUIETEST_REST_DBFS = -75.0
"""Rests that are quieter before and after it nobody hears change."""
REST_FLOOR_DBFS = -90.0
COUNTING_DB = 40.0
"""Bands that lie further under the loudest do not count."""
STILL_RINGS_S = AFTER_S - 0.05

Pair: TypeAlias = tuple[Reading, Reading]


def changes(excerpt: Excerpt, before: Heard, after: Heard) -> tuple[Claim, ...]:
    """One sentence for every figure that differs audibly; one that says so if none does."""
    if np.array_equal(before.audio, after.audio):
        later = tuple(_latency(before, after))
        words = "Beside that it changes nothing on this take." if later else "On this take it changes nothing at all."
        return (*later, Claim(words, (Figure("difference", "none"),), True))
    silent = [math.isinf(peak_dbfs(heard)) for heard in (before, after)]
    if any(silent):
        words = "Before it there is silence." if silent[0] else "On this take nothing comes out of it."
        peak = Reading("peak", peak_dbfs(after if silent[0] else before), "dBFS")
        return (Claim(words, (peak.figure,), True),)
    told = tuple(_audible(excerpt, before, after))
    if told:
        return told
    return (_hard_to_hear(excerpt, before, after),)


def apart(excerpt: Excerpt, before: Heard, after: Heard) -> Apart:
    """How far the sound behind is from that before, at one loudness, and where in the take one hears it."""
    return Beside(before.audio, excerpt.sample_rate_hz, excerpt.audio.size, excerpt.rests).apart(after.audio)


def step_reading(how_far: float) -> Reading:
    """A distance as a figure of a lesson."""
    return Reading("change, where 1 is just audible", how_far, "steps")


def _hard_to_hear(excerpt: Excerpt, before: Heard, after: Heard) -> Claim:
    """What is said where no figure by itself changes audibly."""
    most = Reading("most in a sixth of an octave", abs(_band_change(before, after)[1]), "dB")
    how_far = apart(excerpt, before, after)
    told = step_reading(how_far.total)
    only = f" You hear that only {how_far.only}." if how_far.only else ""
    words = (
        f"No single figure tells it, but all in all the sound changes by {told.text}, of which 1 is just audible.{only}"
        if round(told.value, told.digits) >= 1.0
        else "None of its figures changes by more than the ear just notices."
    )
    return Claim(words, (most.figure, told.figure), True)


def _audible(excerpt: Excerpt, before: Heard, after: Heard) -> Iterator[Claim]:
    yield from _told(
        _pair("loudness", "LUFS", loudness_lufs(before), loudness_lufs(after)),
        LEAST_LU,
        "It is {difference} louder behind it: {second}.",
        "It is {difference} quieter behind it: {second}.",
    )
    yield from _told(
        _pair("peak", "dBFS", peak_dbfs(before), peak_dbfs(after)),
        LEAST_PEAK_DB,
        "Its peaks come up by {difference}, to {second}.",
        "Its peaks come down by {difference}, to {second}.",
    )
    yield from _tone(before, after)
    rests = _pair(
        "level in rests",
        "dBFS",
        rest_level_dbfs(excerpt, before),
        rest_level_dbfs(excerpt, after),
        floor=REST_FLOOR_DBFS,
    )
    told_of_rests: tuple[Claim, ...] = ()
    if max(rest.value for rest in rests) > QUIETEST_REST_DBFS:
        told_of_rests = tuple(
            _told(
                rests,
                LEAST_REST_DB,
                "The rests are louder: {second} at their ends, {first} before it.",
                "The rests are quieter: {second} at their ends, {first} before it.",
            )
        )
    yield from told_of_rests or _between_notes(excerpt, before, after)
    yield from _sides(place(before), place(after))
    ringing = _pair("rings on", "s", ringing_s(excerpt, before), ringing_s(excerpt, after), digits=2)
    longer = (
        f"It still rings when this page stops listening, {AFTER_S:g} s after the take."
        if ringing[1].value >= STILL_RINGS_S
        else "After the take it rings on {difference} longer."
    )
    yield from _told(ringing, LEAST_RING_S, longer, "After the take it rings on {difference} less.")
    yield from _latency(before, after)


def _between_notes(excerpt: Excerpt, before: Heard, after: Heard) -> Iterator[Claim]:
    """What sounds in the rests from their beginning on, against the whole."""
    levels = [ringing_level_dbfs(excerpt, heard) for heard in (before, after)]
    if max(levels) > QUIETEST_REST_DBFS:
        against = [level - loudness_lufs(heard) for level, heard in zip(levels, (before, after), strict=True)]
        yield from _told(
            _pair("between notes", "dB", against[0], against[1]),
            LEAST_BETWEEN_DB,
            "More rings between the notes: {second} against the whole, {first} before it.",
            "Less rings between the notes: {second} against the whole, {first} before it.",
        )


def _sides(before: Place, after: Place) -> Iterator[Claim]:
    """Where it stands, whether it moves, and how wide it is."""
    if after.moves_db - before.moves_db >= LEAST_MOVE_DB and after.common >= ONE_SOUND:
        ends = [side_text(db) for db in (after.left_db, after.right_db)]
        figures = Figure("to one end", ends[0]), Figure("to the other", ends[1])
        yield Claim(f"It moves between the sides: from {ends[0]} to {ends[1]}.", figures, True)
    elif abs(after.middle_db - before.middle_db) >= LEAST_PLACE_DB:
        stands = [side_text(one.middle_db) for one in (before, after)]
        figures = Figure("balance before", stands[0]), Figure("balance after", stands[1])
        yield Claim(f"It stands elsewhere: {stands[1]}; before it, {stands[0]}.", figures, True)
    yield from _told(
        _pair("left and right in common", "%", 100.0 * before.common, 100.0 * after.common, digits=0),
        LEAST_COMMON_PERCENT,
        "It is narrower: left and right have {second} in common, {first} before it.",
        "It is wider: left and right have {second} in common, {first} before it.",
    )


def _latency(before: Heard, after: Heard) -> Iterator[Claim]:
    yield from _told(
        _pair("latency", "ms", 1000.0 * before.latency_s, 1000.0 * after.latency_s),
        LEAST_MS,
        "It comes {difference} later.",
        "It comes {difference} sooner.",
    )


def _tone(before: Heard, after: Heard) -> Iterator[Claim]:
    """The brightness or, where that stays, the band that changes most."""
    bright = _pair("brightness", "Hz", brightness_hz(before), brightness_hz(after), digits=0)
    told = tuple(
        _told(
            bright,
            LEAST_BRIGHTNESS * bright[0].value,
            "It is brighter: the middle of its spectrum moves from {first} to {second}.",
            "It is darker: the middle of its spectrum moves from {first} to {second}.",
        )
    )
    yield from told
    at_hz, change_db = _band_change(before, after)
    if not told and abs(change_db) >= LEAST_BAND_DB:
        way = "raised" if change_db > 0.0 else "lowered"
        most = Reading("most in a sixth of an octave", abs(change_db), "dB")
        text = f"Against the rest of the sound, most is {way} around {amount(at_hz, 'Hz', 0)}: by {most.text}."
        yield Claim(text, (most.figure,), True)


def _band_change(before: Heard, after: Heard) -> tuple[float, float]:
    """Where a sixth of an octave changes most against the middle of all that count: (Hz, dB)."""
    at_hz, before_db = spectrum_db(before)
    after_db = spectrum_db(after)[1]
    counts = before_db > np.max(before_db) - COUNTING_DB
    change = (after_db - before_db)[counts]
    change -= np.median(change)
    most = int(np.argmax(np.abs(change)))
    return float(at_hz[counts][most]), float(change[most])


def _pair(what: str, unit: str, before: float, after: float, digits: int = 1, floor: float = -math.inf) -> Pair:
    return (
        Reading(f"{what} before", before, unit, digits, floor),
        Reading(f"{what} after", after, unit, digits, floor),
    )


def _told(readings: Pair, least: float, more: str, less: str) -> Iterator[Claim]:
    before, after = readings
    if abs(after.value - before.value) >= least:
        expects: Outcome = "more" if after.value > before.value else "less"
        yield compared(before, after, least=least, expects=expects, more=more, less=less, same="")
