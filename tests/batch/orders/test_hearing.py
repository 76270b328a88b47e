"""Figures of two sounds in words."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from chainsim.batch.orders.hearing import beside
from chainsim.batch.sounds.sound_figures import SoundFigures

PLAIN = SoundFigures(
    sample_rate_hz=48_000.0, channels=1, frames=96_000, latency_ms=0.0, integrated_lufs=-20.0, true_peak_dbtp=-3.0,
    rests_dbfs=-70.0, gate_openings=3, tail_s=1.0, centroid_hz=1000.0,
)  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, ""),
        ({"centroid_hz": 1100.0}, "brighter"),
        ({"centroid_hz": 900.0}, "darker"),
        ({"centroid_hz": 1050.0, "integrated_lufs": -20.5, "tail_s": 1.05, "rests_dbfs": -71.0}, ""),
        ({"integrated_lufs": -17.9}, "2.1 LU louder as it comes"),
        ({"integrated_lufs": -25.0}, "5.0 LU softer as it comes"),
        # BS.1770-5 adds the powers of the channels: the same sound on both reads 10 log10(2) = 3.01 LU more.
        ({"integrated_lufs": -16.99, "channels": 2}, ""),
        ({"integrated_lufs": -20.0, "channels": 2}, "3.0 LU softer as it comes"),
        ({"tail_s": 1.5}, "rings 0.5 s longer"),
        ({"tail_s": 0.0}, "rings 1.0 s shorter"),
        ({"rests_dbfs": -60.0}, "rests 10 dB louder"),
        ({"rests_dbfs": -200.0}, "rests 50 dB quieter"),  # what is under -120 dBFS is silence
        ({"rests_dbfs": -math.inf}, "rests 50 dB quieter"),
        ({"gate_openings": 5}, "its gate opens 2 x more"),
        ({"gate_openings": None}, ""),
        ({"centroid_hz": 2000.0, "tail_s": 2.0}, "brighter, rings 1.0 s longer"),
        ({"integrated_lufs": -math.inf, "tail_s": math.nan, "centroid_hz": math.nan, "rests_dbfs": math.nan}, ""),
    ],
)
def test_words_go_by_what_can_be_told_apart(changes: dict[str, float | None], words: str) -> None:
    assert beside(replace(PLAIN, **changes), PLAIN) == words
