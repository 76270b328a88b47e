"""A signal to send through a box, made so that each figure of `measure_pair` can be read from it.

Parts, with rests between: an even sweep through all frequencies (response, latency, echoes, decay), a burst of noise
(decay), noise whose level rises and falls slowly by 60 dB (gate, compressor), and noise that stays (modulation).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from chainsim.audio.whole import PartFile
from chainsim.units import Array

RATE_HZ = 48_000
PEAK = 0.5
FADE_S = 0.005
SWEEP_S, SWEEP_HZ = 4.0, (20.0, 20_000.0)
SEED = 1977


def probe_signal() -> Array:
    """The signal, shape (frames,), at RATE_HZ."""
    random = np.random.default_rng(SEED)
    t = np.arange(round(SWEEP_S * RATE_HZ)) / RATE_HZ
    ratio = np.log(SWEEP_HZ[1] / SWEEP_HZ[0])
    # Exponential sweep (A. Farina, AES 108th convention, 2000).
    sweep = np.sin(2.0 * np.pi * SWEEP_HZ[0] * SWEEP_S / ratio * np.expm1(t / SWEEP_S * ratio))
    ramp_db = np.concatenate([np.linspace(-60.0, 0.0, 4 * RATE_HZ), np.linspace(0.0, -60.0, 4 * RATE_HZ)])
    parts = [
        _rest(1.0), _faded(sweep), _rest(3.0), _faded(_noise(random, 0.5)), _rest(3.0),
        _faded(_noise(random, 8.0) * 10.0 ** (ramp_db / 20.0)), _rest(2.0), _faded(_noise(random, 6.0)), _rest(3.0),
    ]  # fmt: skip
    return PEAK * np.concatenate(parts)


def write_probe_signal(path: str | Path) -> float:
    """Write the signal as a WAV of 24 bits; returns its length in seconds.

    Raises
    ------
    AudioError
        If the file cannot be written.
    """
    import soundfile

    signal = probe_signal()
    with PartFile(path) as part:
        soundfile.write(part, signal, RATE_HZ, subtype="PCM_24", format="WAV")
    return signal.size / RATE_HZ


def _rest(seconds: float) -> Array:
    return np.zeros(round(seconds * RATE_HZ))


def _noise(random: np.random.Generator, seconds: float) -> Array:
    """Noise of even density between -1 and 1: its peaks stay where its level says."""
    return random.uniform(-1.0, 1.0, round(seconds * RATE_HZ))


def _faded(x: Array) -> Array:
    fade = np.sin(0.5 * np.pi * (np.arange(round(FADE_S * RATE_HZ)) + 0.5) / (FADE_S * RATE_HZ)) ** 2
    y = x.copy()
    y[: fade.size] *= fade
    y[-fade.size :] *= fade[::-1]
    return y
