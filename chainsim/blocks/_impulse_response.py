"""Impulse responses from files: read with care, cut where the sound begins, brought to a level and a rate."""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.fft import next_fast_len
from scipy.signal import lfilter

from chainsim.dsp.response_rate import response_at_rate
from chainsim.errors import SettingError
from chainsim.units import Array

LONGEST_S = 30.0
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000.0, 192_000.0
CHANNELS = (1, 2, 4)
FORMATS = ("WAV", "WAVEX", "RF64", "W64", "AIFF", "FLAC")

QUIETEST, LOUDEST = 1e-9, 1e3
"""Peaks that a file may have: below -180 dBFS it is silent, above 60 dBFS it is no recording."""

ONSET = 0.01
"""A response begins where it first exceeds this share, -40 dB, of its peak; ISO 3382-1 says at least 20 dB below it."""

BAND_HZ = (20.0, 20_000.0)
"""Over which the level of a response is measured: what lies above nobody hears, and only some files have it."""

FLOOR_DB, SPARE_DB = -90.0, 4.0
"""Where a tail has ended; and how much further down its energy has to be, as its last peaks stand above its rms."""

RUMBLE_HZ = 20.0
"""Below it no noise of a horn grows louder."""


class ImpulseResponse(NamedTuple):
    """A response file: taps of shape (channels, frames), in the file's own level and rate."""

    taps: Array
    rate_hz: float


def read_response(path: Path) -> ImpulseResponse:
    """Read an impulse response, trusting nothing about the file.

    Raises
    ------
    SettingError
        If it is no sound file of `FORMATS`, has not 1, 2 or 4 channels, lies outside 8 to 192 kHz, is longer than
        `LONGEST_S`, silent, louder than `LOUDEST`, damaged, or holds a sample that is not a finite number.
    """
    import soundfile

    def fault(text: str) -> SettingError:
        return SettingError(f'file "{path.name}": {text}')

    try:
        # By its number: of a name the library would believe the suffix, and ask for what a .raw file lacks.
        with path.open("rb") as file, soundfile.SoundFile(file.fileno(), closefd=False) as sound:
            rate_hz, channels = float(sound.samplerate), int(sound.channels)
            if sound.format not in FORMATS:
                raise fault(f"of format {sound.format}, allowed WAV, AIFF and FLAC")
            if channels not in CHANNELS:
                raise fault(f"{channels} channels, allowed 1 (mono), 2 (left, right) or 4 (LL, LR, RL, RR)")
            if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
                raise fault(f"sample rate {rate_hz:g} Hz, allowed {LOWEST_RATE_HZ:g} ... {HIGHEST_RATE_HZ:g} Hz")
            if sound.frames > LONGEST_S * rate_hz:
                raise fault(f"{sound.frames / rate_hz:.1f} s long, allowed up to {LONGEST_S:g} s")
            taps = sound.read(int(LONGEST_S * rate_hz), dtype="float64", always_2d=True)
    except (soundfile.LibsndfileError, OSError) as error:
        raise fault("not a sound file that can be read; allowed WAV, AIFF and FLAC") from error
    if not np.isfinite(taps).all():
        raise fault("holds a sample that is not a finite number")
    peak = float(np.max(np.abs(taps), initial=0.0))
    if peak < QUIETEST:
        raise fault("is silent")
    if peak > LOUDEST:
        raise fault(f"peak {peak:.3g} of full scale, allowed up to {LOUDEST:g}")
    return ImpulseResponse(np.ascontiguousarray(taps.T), rate_hz)


def from_onset(response: ImpulseResponse) -> ImpulseResponse:
    """The response without what lies before its sound; its channels keep their times to each other."""
    size = np.max(np.abs(response.taps), axis=0)
    onset = int(np.argmax(size >= ONSET * np.max(size)))
    return response._replace(taps=np.ascontiguousarray(response.taps[:, onset:]))


def at_even_level(response: ImpulseResponse) -> ImpulseResponse:
    """The response at the level at which white noise of the audible band comes back as loud as it went in.

    That is so on average over the outputs, for noise that is a different one at each input: all channels get one gain.
    Above the band of a file of a low rate it counts as silent: as loud as the same response in a file of a high rate.
    """
    taps = response.taps
    frames = next_fast_len(max(taps.shape[1], math.ceil(response.rate_hz / BAND_HZ[0])), real=True)
    step_hz = response.rate_hz / frames
    low, high = (math.ceil(edge_hz / step_hz) for edge_hz in BAND_HZ)
    audible, highest = 0.0, 0.0
    for response_taps in taps:  # one by one: a long one takes memory enough
        power = np.abs(np.fft.rfft(response_taps, frames)) ** 2
        audible += float(np.sum(power[low:high])) / (high - low) / min(len(taps), 2)
        highest = max(highest, float(np.max(power)))
    if audible < 1e-9 * highest:
        raise SettingError('response_level: the file has nothing from 20 Hz to 20 kHz, allowed "as recorded"')
    return response._replace(taps=taps / math.sqrt(audible))


def taps_at(response: ImpulseResponse, rate_hz: float) -> Array:
    """Taps (channels, frames) for a take's rate."""
    return response_at_rate(response.taps, response.rate_hz, rate_hz)


def tail_samples(taps: Array, rate_hz: float, dry: float, wet: float) -> int:
    """How long what came in stays above `FLOOR_DB` of the loudest, for taps (channels, frames) and gains of the mix.

    It is the last of three: where the impulse response itself falls below; where noise that has ended does; and noise
    that falls by 6 dB an octave above `RUMBLE_HZ`. What noise leaves n samples after its end has the energy of
    h[n], h[n + 1], ... sent backwards through the filter that colours it, a one-pole with coefficient a:

        g[k] = h[k] + a g[k + 1],   E[n] = sum over k >= n of g[k]^2 + a^2 g[n]^2 / (1 - a^2)                     (1)
    """
    if wet == 0.0:
        return 0
    heard = wet * taps
    heard[:, 0] += dry
    floor = 10.0 ** (FLOOR_DB / 20.0)
    longest = 0
    for h in heard:
        longest = max(longest, _last_over(np.abs(h), floor))
        for a in (0.0, math.exp(-2.0 * math.pi * RUMBLE_HZ / rate_hz)):
            back = lfilter([1.0], [1.0, -a], h[::-1])
            energy = (np.cumsum(back**2) + back**2 * a**2 / (1.0 - a**2))[::-1]
            longest = max(longest, _last_over(np.sqrt(energy), floor * 10.0 ** (-SPARE_DB / 20.0)))
    return longest


def _last_over(size: Array, floor: float) -> int:
    over = np.flatnonzero(size > floor * np.max(size))
    return int(over[-1]) if over.size else 0
