"""What is to be thought of a block that was fitted to a box: how near it is, and which type might come nearer."""

from __future__ import annotations

import math

from chainsim.batch.pair.report import PairReport

SAME_DB, NEAR_DB = -40.0, -20.0
NOISE_ROOM_DB = 1.5
SAME_LEVELS_DB, NEAR_LEVELS_DB = 2.0, 4.0


def verdict_on(residual_db: float, noise_db: float, levels_off_db: float) -> tuple[str, bool]:
    """Words for how near a block comes, and whether it is near at all.

    Parameters
    ----------
    residual_db : float
        Energy that it leaves unexplained, under all of the wet sound's.
    noise_db : float
        The box's own noise, under the same; NaN if unknown.
    levels_off_db : float
        Mean distance of levels in third octaves and time; infinite for blocks that are compared wave by wave.
    """
    if residual_db < SAME_DB:
        return f"as good as the same (under {SAME_DB:g} dB)", True
    if residual_db < noise_db + NOISE_ROOM_DB:
        return "all that is left is the box's noise", True
    if residual_db < NEAR_DB:
        return f"near ({SAME_DB:g} to {NEAR_DB:g} dB)", True
    if levels_off_db < NEAR_LEVELS_DB:
        how = "as good as the same" if levels_off_db < SAME_LEVELS_DB else "near"
        return f"{how} in levels ({levels_off_db:.1f} dB apart on average); its waves can't be told", True
    if math.isfinite(levels_off_db):
        return f"poor (levels {levels_off_db:.1f} dB apart on average): this type is not what the box does", False
    return f"poor (over {NEAR_DB:g} dB): this type is not what the box does", False


def start_notes(type_name: str, report: PairReport) -> list[str]:
    """What a search began with for want of anything better."""
    if type_name == "delay" and not report.echoes.delay_ms.found:
        return ["no delay time was found, so time_ms is a guess"]
    if type_name == "reverb" and not report.tail.decay_s.found:
        return ["no decay time was found, so decay_s began as a guess"]
    return []


def pointing_notes(type_name: str, report: PairReport) -> list[str]:
    """Types that the measured figures point to, other than the one that was fitted."""
    found = {
        "delay": report.echoes.delay_ms.found,
        "reverb": report.tail.decay_s.found,
        "tremolo": report.modulation == "tremolo",
        "vibrato": report.modulation == "vibrato",
        "noise_gate": report.gating.threshold_db.found,
        "compressor": report.compression.ratio.found,
    }
    likely = [name for name, there in found.items() if there and name != type_name]
    if not likely:
        return []
    return [f"what was measured points to {' or '.join(likely)}: --write {likely[0]} may come nearer"]
