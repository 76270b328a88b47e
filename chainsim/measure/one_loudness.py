"""One loudness for many sounds by one trim each, true peaks under a ceiling; nothing is compressed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

MOST_TRIM_DB = 30.0
NEAR_DB, MOST_STEPS = 0.001, 20
CEILING_DBTP = -1.0
"""Largest true peak of a programme, EBU R 128."""


@dataclass(frozen=True)
class Aim:
    """Where sounds are to be brought.

    Attributes
    ----------
    loudness_lufs : float
        Integrated loudness, ITU-R BS.1770-5.
    ceiling_dbtp : float
        No true peak goes higher: where one would, all sounds stay so much quieter, still alike.
    """

    loudness_lufs: float
    ceiling_dbtp: float = CEILING_DBTP


@dataclass(frozen=True)
class Level:
    """How loud one sound is before its trim, and what to call it.

    Attributes
    ----------
    name : str
    integrated_lufs, true_peak_dbtp : float
    raised_lufs : callable, optional
        Loudness with a gain in dB; by default it grows by as much, which the absolute gate does not always let it.
    """

    name: str
    integrated_lufs: float
    true_peak_dbtp: float
    raised_lufs: Callable[[float], float] | None = None

    def at(self, trim_db: float) -> float:
        """Loudness with a trim."""
        return self.integrated_lufs + trim_db if self.raised_lufs is None else self.raised_lufs(trim_db)

    def trim_to(self, loudness_lufs: float) -> float:
        """Gain that brings it to a loudness, within 0.001 dB where a gate does not stand in the way."""
        trim_db = loudness_lufs - self.integrated_lufs
        for _ in range(MOST_STEPS):
            step_db = loudness_lufs - self.at(trim_db)
            if not abs(step_db) > NEAR_DB:
                break
            trim_db += step_db
        return trim_db


@dataclass(frozen=True)
class Trims:
    """One trim for each sound, in order; what is to be said of single ones by index, and of all."""

    trims_db: tuple[float, ...]
    reached_lufs: float
    warnings: tuple[tuple[str, ...], ...]
    of_all: tuple[str, ...]


def one_loudness(levels: Sequence[Level], aim: Aim) -> Trims:
    """Find the trims that bring all sounds to one loudness: the one aimed at, or what the ceiling leaves of it."""
    able = [v for v in levels if math.isfinite(v.integrated_lufs) and _is_near(v, aim.loudness_lufs)]
    reached, tightest = aim.loudness_lufs, None
    for level in able:
        under_db = aim.ceiling_dbtp - level.true_peak_dbtp
        if level.trim_to(aim.loudness_lufs) > under_db and level.at(under_db) < reached:
            reached, tightest = level.at(under_db), level
    trims, warnings = [], []
    for level in levels:
        trim, words = _trim(level, reached, aim)
        trims.append(trim)
        warnings.append(words)
    of_all = () if tightest is None else (_held_back(tightest, reached, aim, len(levels)),)
    return Trims(tuple(trims), reached, tuple(warnings), of_all)


def _is_near(level: Level, loudness_lufs: float) -> bool:
    return abs(level.trim_to(loudness_lufs)) <= MOST_TRIM_DB


def _trim(level: Level, reached: float, aim: Aim) -> tuple[float, tuple[str, ...]]:
    if not math.isfinite(level.integrated_lufs):
        return 0.0, ("silence has no loudness to change",)
    wanted, under = level.trim_to(reached), aim.ceiling_dbtp - level.true_peak_dbtp
    if _is_near(level, aim.loudness_lufs):
        return min(wanted, under), ()
    trim = min(math.copysign(MOST_TRIM_DB, wanted), under)
    return trim, (f"{reached:.4g} LUFS would need a trim of {wanted:+.0f} dB, allowed {MOST_TRIM_DB:g} dB",)


def _held_back(tightest: Level, reached: float, aim: Aim, count: int) -> str:
    peak = tightest.true_peak_dbtp + tightest.trim_to(aim.loudness_lufs)
    who, whose = ("all are", f'"{tightest.name}"') if count > 1 else ("it is", "it")
    return (
        f"at {round(aim.loudness_lufs, 1):g} LUFS {whose} would peak at {peak:+.1f} dBTP, over the ceiling of"
        f" {aim.ceiling_dbtp:g}: {who} brought to {reached:.1f} LUFS"
    )
