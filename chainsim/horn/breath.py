"""Breath: air noise that the reed or lip chops with the tone, rung by the bore, and coloured by mouthpiece and bell."""

from __future__ import annotations

import math

import numpy as np

from chainsim.horn.model import HornModel
from chainsim.kernel import kernel
from chainsim.units import Array, db_to_gain

_CHOPPED = 0.75
"""Share of the air that passes in pulses once the tone has risen."""


@kernel
def bore_comb(x: Array, delay_samples: Array, feedback: float, ring: Array, y: Array) -> None:
    """y[n] = x[n] + g y[n - D[n]], between two samples by a line; arrays (1, samples), ring (1, most delay + 2)."""
    size = ring.shape[1]
    head = 0
    for i in range(x.shape[1]):
        d = delay_samples[0, i]
        whole = int(d)
        w = d - whole
        late = ring[0, (head - whole) % size] * (1.0 - w) + ring[0, (head - whole - 1) % size] * w
        out = x[0, i] + feedback * late
        if abs(out) < 1e-30:
            out = 0.0
        ring[0, head] = out
        y[0, i] = out
        head = head + 1 if head + 1 < size else 0


def breath_noise(
    white: Array, gain: Array, f0_hz: Array, phase: Array, chopped: Array, horn: HornModel, sample_rate_hz: float
) -> Array:
    """Breath noise of unit gain against the loudest tone's RMS; all arrays (samples,).

    Parameters
    ----------
    white : ndarray
        Random samples of unit variance.
    gain, f0_hz, phase : ndarray
        Amplitude, resonance of the bore, and the tone's phase in cycles.
    chopped : ndarray, 0 to 1
        How far the tone has risen.
    """
    pulse = (0.5 + 0.5 * np.cos(2.0 * np.pi * phase)) ** 2 / 0.375 - 1.0
    x = white * gain * (1.0 + _CHOPPED * chopped * pulse)
    stopped = horn.even_db < 0.0
    delay = np.maximum(sample_rate_hz / f0_hz * (0.5 if stopped else 1.0), 2.0) - 1.0
    feedback = -horn.breath_ring if stopped else horn.breath_ring
    y = np.empty((1, x.size))
    ring = np.zeros((1, int(delay.max()) + 3))
    bore_comb(np.ascontiguousarray(x[None]), np.ascontiguousarray(delay[None]), feedback, ring, y)
    coloured = coloured_noise(
        y[0], 0.7 * horn.cutoff_hz, 2500.0 + horn.cutoff_hz, sample_rate_hz, [f.centre_hz for f in horn.formants]
    )
    noise: Array = math.sqrt(1.0 - horn.breath_ring**2) * coloured
    return noise


def coloured_noise(
    x: Array, low_hz: float, high_hz: float, sample_rate_hz: float, peaks_hz: list[float] | None = None
) -> Array:
    """White noise through a band of first-order edges and gentle peaks; unit variance stays unit variance."""
    from scipy.signal import bilinear, freqz_zpk, lfilter, tf2zpk

    limit_hz = 0.4 * sample_rate_hz
    sections = []
    for numerator, corner_hz in (([1.0, 0.0], low_hz), ([1.0], high_hz)):
        w = 2.0 * sample_rate_hz * math.tan(math.pi * min(corner_hz, limit_hz) / sample_rate_hz)
        scale = 1.0 if len(numerator) == 2 else w
        sections.append(bilinear([scale * c for c in numerator], [1.0, w], sample_rate_hz))
    for peak_hz in peaks_hz or []:
        w = 2.0 * sample_rate_hz * math.tan(math.pi * min(peak_hz, limit_hz) / sample_rate_hz)
        boost = db_to_gain(7.0)
        sections.append(bilinear([1.0, boost * w / 2.5, w * w], [1.0, w / 2.5, w * w], sample_rate_hz))
    power = np.ones(4096)
    for b, a in sections:
        _, response = freqz_zpk(*tf2zpk(b, a), worN=4096)
        power *= np.abs(response) ** 2
        x = lfilter(b, a, x)
    y: Array = x / math.sqrt(float(np.mean(power)))
    return y
