"""An impulse response of a real venue, parted into its direct sound and what the venue gave back.

What comes in the first 5 ms after the onset is the direct sound, as for the early lateral energy of ISO 3382-1 (A.2.4).
Its energy says how loud the response is meant: at its distance r it must be 1 / r^2 of that at 1 m.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.audio.reading import open_take
from chainsim.block import Assets
from chainsim.dsp.partitioned_convolution import PartitionedConvolution, Path
from chainsim.dsp.response_rate import response_at_rate
from chainsim.errors import AudioError, SettingError, SketchError
from chainsim.house.late_field import EARS, middle_energy, onset
from chainsim.units import Array, Audio

DIRECT_S = 0.005
FADE_S = 0.001
"""How long the rest is faded in, after the direct sound."""
ONSET = 0.1
"""Share of its peak at which a recorded response begins: 20 dB under it (ISO 3382-1, 5.3), over any noise."""
LONGEST_S = 30.0


class MeasuredResponse:
    """What a venue gives back.

    Parameters
    ----------
    name : str
        File in the sketch's folder.
    distance_m : float
        Between source and microphone when it was taken.
    assets : Assets
    sample_rate_hz : float
        To which it is brought.

    Attributes
    ----------
    late : ndarray, shape (2, frames)
        What comes after the direct sound, for a direct sound of energy 1 at 1 m.
    energy : float
        Of that, 500 Hz to 1 kHz.

    Raises
    ------
    SketchError
        If there is no such file, it is no sound, is too long, or holds nothing but a direct sound.
    """

    def __init__(self, name: str, distance_m: float, assets: Assets, sample_rate_hz: float) -> None:
        response = response_at_rate(*_read(name, assets), sample_rate_hz)
        begin = onset(response, ONSET)
        end = begin + round(DIRECT_S * sample_rate_hz)
        fade = max(1, round(FADE_S * sample_rate_hz))
        late = response[:, end:].copy()
        direct_energy = middle_energy(response[:, begin:end], sample_rate_hz)
        ramp = np.sin(0.5 * np.pi * (np.arange(fade) + 0.5) / fade)[: late.shape[1]]
        late[:, : len(ramp)] *= ramp
        if direct_energy == 0.0 or not late.any():
            raise SketchError(f"house.impulse_response: {name} holds no more than a direct sound")
        self.late = np.repeat(late, EARS // len(late), axis=0) / (distance_m * math.sqrt(direct_energy))
        self.energy = middle_energy(self.late, sample_rate_hz)


class Convolution:
    """A measured response as a venue's sound field: left through left, right through right."""

    begins = 0

    def __init__(self, response: MeasuredResponse, sample_rate_hz: float, channels: int) -> None:
        paths = [Path(min(ear, channels - 1), ear, ear) for ear in range(EARS)]
        self._convolution = PartitionedConvolution(response.late, paths, channels, EARS)
        self.energy = response.energy
        self.tail_s = response.late.shape[1] / sample_rate_hz

    def process(self, n0: int, x: Audio) -> Audio:
        """What comes back."""
        y = np.zeros((EARS, x.shape[1]))
        self._convolution.add_to(n0, x, y)
        return y


def _read(name: str, assets: Assets) -> tuple[Array, float]:
    """The file's samples (channels, frames), and their rate in Hz."""
    try:
        with open_take(assets.path(name)) as file:
            seconds = file.frames / file.sample_rate_hz
            if seconds > LONGEST_S:
                raise AudioError(f"{name}: {seconds:.0f} s, a response has at most {LONGEST_S:g} s")
            return file.read(0, file.frames), file.sample_rate_hz
    except (AudioError, SettingError) as error:
        raise SketchError(f"house.impulse_response: {error}") from error
