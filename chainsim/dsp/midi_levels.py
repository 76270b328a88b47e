"""Levels as 7-bit numbers, for velocity and the breath controller: one law both ways.

    level_db = FULL_DB + 40 log10(v / 127)                                (1)

0 is silence.

Source: the response to volume and expression that General MIDI recommends, 40 log10(v / 127) dB.
"""

from __future__ import annotations

import math

from chainsim.dsp.pitch_rows import SILENT_DB
from chainsim.kernel import kernel

FULL_DB = -9.0
"""Rms level of 127: that of a horn whose waves, about 9 dB higher than their rms, reach full scale."""


@kernel
def seven_bit_of_level(level_db: float) -> int:
    """Nearest 7-bit number, 0 ... 127, of a level in dB: equation (1) solved for v."""
    v = math.floor(127.0 * 10.0 ** ((level_db - FULL_DB) / 40.0) + 0.5)
    return int(min(max(v, 0.0), 127.0))


def level_of_seven_bit(value: int) -> float:
    """Level in dB of a 7-bit number: equation (1); `SILENT_DB` for 0."""
    return FULL_DB + 40.0 * math.log10(value / 127.0) if value > 0 else SILENT_DB
