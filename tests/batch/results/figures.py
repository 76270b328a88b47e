"""Figures to keep, without rendering anything."""

from __future__ import annotations

import math

from chainsim.batch.sounds.sound_figures import SoundFigures

FIGURES = SoundFigures(
    sample_rate_hz=48_000.0,
    channels=2,
    frames=9_600,
    latency_ms=1.25,
    integrated_lufs=-23.4,
    true_peak_dbtp=-3.1,
    rests_dbfs=-71.5,
    gate_openings=None,
    tail_s=0.8,
    centroid_hz=1234.5,
    warnings=("the tail never ends",),
)
SILENCE = SoundFigures(
    sample_rate_hz=48_000.0,
    channels=1,
    frames=10,
    latency_ms=0.0,
    integrated_lufs=-math.inf,
    true_peak_dbtp=-math.inf,
    rests_dbfs=-math.inf,
    gate_openings=0,
    tail_s=math.nan,
    centroid_hz=math.nan,
)
