"""Convolver: a room, a horn's loudspeaker or anything else that was measured, out of a file with its impulse response.

    y[n] = dry x[n] + wet sum over k of h[k] x[n - D - k]                                                        (1)

Where a response has one channel, every channel goes through it; two are left and right; four go from left to left, from
left to right, from right to left and from right to right. A mono sound counts as one that is the same on both sides.
Nothing is late (`chainsim.dsp.partitioned_convolution`). A file of another rate is brought to the take's rate
(`chainsim.dsp.response_rate`) with its level and its tone kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.blocks._impulse_response import at_even_level, from_onset, read_response, tail_samples, taps_at
from chainsim.blocks.blender import blend
from chainsim.dsp.partitioned_convolution import PartitionedConvolution, Path
from chainsim.errors import SettingError
from chainsim.settings import Settings, choice, fixed, flag, level, words
from chainsim.units import Array, db_to_gain, ms_to_samples


class ConvolverSettings(Settings):
    file: str = words("", "sound file with the impulse response, in the sketch's own folder: WAV, AIFF or FLAC")
    response_level: Literal["even", "as recorded"] = choice(
        "even", "even: noise comes back as loud as it went in, whatever the file's level; or the level of the file"
    )
    begin_at_onset: bool = flag(
        True, "cut off the silence before the response: in the file it would be an echo's delay"
    )
    pre_delay_ms: float = fixed(0.0, 0.0, 500.0, "ms", "time from the dry sound to where the response begins")
    stereo: bool = flag(True, "comes out stereo, whatever goes in; false keeps a mono sound mono")
    dry_db: float = level(0.0, -96.0, 24.0, "level of the sound as it came")
    wet_db: float = level(-12.0, -96.0, 24.0, "level of the sound that went through the response")


@register("convolver")
class Convolver(Block[ConvolverSettings]):
    """Puts the sound into a room, a loudspeaker or a tube that was recorded as an impulse response."""

    rings = True
    reads_files = True
    latency_probe = LatencyProbe({"dry_db": 0.0, "wet_db": "off"})
    source = "W. G. Gardner, Efficient Convolution without Input-Output Delay, JAES 43(3), 1995"

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 2 if settings.stereo else channels["in"]

    def prepare(self, context: Context) -> None:
        rate_hz, inputs, outputs = float(context.sample_rate_hz), context.channels["in"], context.out_channels
        taps = self._taps(context)
        if len(taps) > 1 and outputs == 1:
            raise SettingError(f"stereo = false, allowed true where the response has {len(taps)} channels")
        if len(taps) == 4 and inputs == 1:
            taps = taps[:2] + taps[2:]
        paths = paths_of(len(taps), inputs)
        self._through = 1 + max(path.target for path in paths)
        self._convolution = PartitionedConvolution(taps, paths, inputs, self._through)
        wet, dry = db_to_gain(context.extremes["wet_db"][1]), db_to_gain(context.extremes["dry_db"][0])
        self.tail_s = tail_samples(taps, rate_hz, dry, wet) / rate_hz

    def _taps(self, context: Context) -> Array:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        if not chosen.file:
            raise SettingError("file: a convolver needs one with an impulse response, in the sketch's own folder")
        response = read_response(context.assets.path(chosen.file))
        if chosen.response_level == "even":
            response = at_even_level(response)
        if chosen.begin_at_onset:
            response = from_onset(response)
        return np.pad(taps_at(response, rate_hz), ((0, 0), (round(ms_to_samples(chosen.pre_delay_ms, rate_hz)), 0)))

    def reset(self) -> None:
        self._convolution.reset()

    def process(self, io: Io) -> None:
        through = np.zeros((self._through, io.frames))
        self._convolution.add_to(io.n0, io.x, through)
        blend(io.x, through, io.moving.dry_db, io.moving.wet_db, 1.0, io.y)


def paths_of(responses: int, inputs: int) -> list[Path]:
    """What goes where through which response; of what would come out the same on both sides, one."""
    if responses == 4:
        return [Path(i, o, 2 * i + o) for o in range(2) for i in range(2)]
    return [Path(min(o, inputs - 1), o, min(o, responses - 1)) for o in range(max(responses, inputs))]
