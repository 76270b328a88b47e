"""Noise: the floor of a microphone, a preamplifier or a box, and the hum of the mains, added to what passes.

    y[n] = x[n] + g (white or pink noise) + h (hum)                                                              (1)

The level of noise is that between 20 Hz and 20 kHz, unweighted, as an rms relative to full scale: at -60 dB it is
0.001, and 57 dB under a full-scale sine. Its density is the same at every sample rate:

    white: P(f) = 1 / 19980 Hz,   pink: P(f) = 1 / (f ln 1000)                                                   (2)

at an rms of 1, so a take of 96 kHz has more noise than one of 48 kHz, where nobody hears it. Noise is Gaussian, and
each channel has its own; hum is the same in all channels and all blocks, for they hang on one mains: in absolute time

    hum(t) = sum over k of k^(-slope / 6.02 dB) sin(2 pi k f t),   its rms brought to 1                          (3)
"""

from __future__ import annotations

import math
from typing import Any, Literal

import numpy as np

from chainsim.block import Block, Context, Io, register
from chainsim.dsp.biquad import biquad_df2t, sections
from chainsim.dsp.gaussian_noise import gaussian_noise
from chainsim.dsp.pink_filter import HIGHEST_HZ, LOWEST_HZ, pink_sections
from chainsim.kernel import kernel
from chainsim.settings import Settings, choice, fixed, level, whole
from chainsim.units import Array, Audio


class NoiseSettings(Settings):
    colour: Literal["white", "pink"] = choice(
        "white",
        "white as a microphone's and a resistor's; pink as that of old boxes and of wind, 3 dB an octave darker",
    )
    level_db: float = level(
        -75.0, -160.0, 0.0, "rms of the noise from 20 Hz to 20 kHz, unweighted, relative to full scale (rms 1.0)"
    )
    hum_db: float = level(
        -math.inf, -160.0, 0.0, "rms of the mains hum, all harmonics together, relative to full scale"
    )
    hum_hz: float = fixed(50.0, 40.0, 70.0, "Hz", "frequency of the mains: 50 or 60")
    hum_harmonics: int = whole(10, 1, 40, "how many harmonics the hum has, the mains frequency being the first")
    hum_slope_db: float = fixed(6.0, 0.0, 24.0, "dB", "how much weaker the hum's harmonics are, an octave up")


@kernel
def hum_wave(n0: int, turns_per_sample: float, sizes: Array, y: Array) -> None:
    """Fill y (frames,) with equation (3), for harmonics of amplitudes `sizes`, from absolute sample n0 on."""
    for i in range(y.shape[0]):
        turns = (n0 + i) * turns_per_sample
        angle = 2.0 * math.pi * (turns - math.floor(turns))
        now, before, twice, total = math.sin(angle), 0.0, 2.0 * math.cos(angle), 0.0
        for k in range(sizes.shape[0]):
            total += sizes[k] * now
            now, before = twice * now - before, now
        y[i] = total


@kernel
def add_floor(x: Audio, noise: Audio, level: Array, hum: Array, hum_level: Array, y: Audio) -> None:
    """Fill y (channels, frames) with equation (1)."""
    for c in range(x.shape[0]):
        for i in range(x.shape[1]):
            y[c, i] = x[c, i] + (level[i] * noise[c, i] + hum_level[i] * hum[i])


@register("noise")
class Noise(Block[NoiseSettings]):
    """Adds the noise floor of a microphone or a device, and mains hum, at stated levels."""

    source = "Box and Muller 1958 (Gaussian noise); spectral factorization of a fitted 1 / f (pink noise)"

    @classmethod
    def is_seeded(cls, settings: Any) -> bool:
        return True

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        self._seed = context.seed
        if chosen.colour == "white":
            density = 1.0 / (HIGHEST_HZ - LOWEST_HZ)
            filters = [(np.array([1.0, 0.0, 0.0]), np.array([1.0, 0.0, 0.0]))]
        else:
            density = 1.0 / math.log(HIGHEST_HZ / LOWEST_HZ)
            filters = pink_sections(rate_hz)
        # Noise of variance 1 has a density of 2 / fs.
        gain = math.sqrt(0.5 * rate_hz * density)
        self._sections = sections([(gain * filters[0][0], filters[0][1]), *filters[1:]])
        self._z = np.zeros((context.out_channels, len(self._sections), 2))
        self._turns = chosen.hum_hz / rate_hz
        sizes = np.arange(1, chosen.hum_harmonics + 1) ** (-chosen.hum_slope_db / (20.0 * math.log10(2.0)))
        self._sizes = sizes / math.sqrt(0.5 * float(np.sum(sizes**2)))

    def reset(self) -> None:
        self._z.fill(0.0)

    def process(self, io: Io) -> None:
        noise, hum = np.empty(io.y.shape), np.empty(io.frames)
        gaussian_noise(self._seed, io.n0, noise)
        biquad_df2t(self._sections, self._z, noise)
        hum_wave(io.n0, self._turns, self._sizes, hum)
        add_floor(io.x, noise, io.moving.level_db, hum, io.moving.hum_db, io.y)
