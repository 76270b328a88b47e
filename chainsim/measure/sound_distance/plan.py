"""How much of a sound is compared, and how it is cut into frames and blocks; and so the shapes of its features."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chainsim.measure.sound_distance.frames import frame_size
from chainsim.measure.sound_distance.modulation import OCTAVES_HZ, modulation_windows
from chainsim.measure.sound_distance.pitch_scale import PitchBands
from chainsim.measure.sound_distance.scale import EarBands

COMPARED_S, COMPARED_TAIL_S = 60.0, 10.0
"""What is compared at most, of the playing and of the tail."""
FRAMES_S = (0.085, 0.021, 0.011, 0.17)
"""Long frames tell partials apart, short ones hear when things happen; shorter yet, they would follow the swings of a
low note, whose phases do not matter. The longest tell pitch."""
BANDS: tuple[EarBands | PitchBands, ...] = (EarBands(46), EarBands(23), EarBands(8), PitchBands())
PART_FRAMES = 6
"""Long frames of a quarter of a second. Two such parts are a block: a note that comes 10 ms late, about the limen,
moves its means by some 1 dB. Of a tail, which may be short, each is one."""


@dataclass(frozen=True)
class Plan:
    """Cuts of the sounds of one take.

    Attributes
    ----------
    sample_rate_hz : float
    playing_frames : int
        Length of the take.
    """

    sample_rate_hz: float
    playing_frames: int

    @property
    def sizes(self) -> tuple[int, ...]:
        """Samples of the frames of each kind; from one to the next it is half of that."""
        return tuple(frame_size(seconds, self.sample_rate_hz) for seconds in FRAMES_S)

    @property
    def played(self) -> tuple[int, ...]:
        """Frames of each kind, while it plays, that are compared."""
        samples = round(min(self.playing_frames, COMPARED_S * self.sample_rate_hz))
        return tuple(-(-samples // (size // 2)) for size in self.sizes)

    @property
    def tail(self) -> tuple[int, int]:
        """Which long frame is the first of the tail, and how many of them are compared."""
        hop = self.sizes[0] // 2
        return -(-self.playing_frames // hop), math.ceil(COMPARED_TAIL_S * (self.sample_rate_hz / hop))

    def shapes(self, channels: int) -> dict[str, tuple[int, ...]]:
        """Shapes of the features of a sound of so many channels, by their names."""
        long, middle, short, longest = self.played
        bands = [each.count for each in BANDS]
        blocks = max(1, part_count(long) - 1)
        windows, _ = modulation_windows(middle, self.sample_rate_hz / (self.sizes[1] // 2))
        shapes = {
            "spectrum": (channels, blocks, bands[0]),
            "tail": (channels, part_count(self.tail[1]), bands[0]),
            "middle": (channels, middle, bands[1]),
            "short": (channels, short, bands[2]),
            "pitch": (channels, max(1, pitch_part_count(longest) - 1), bands[3]),
            "modulation": (channels, windows, len(OCTAVES_HZ), bands[1]),
        }
        return shapes if channels == 1 else {**shapes, "width": (blocks, bands[0])}


def part_count(frames: int) -> int:
    """In how many parts of about `PART_FRAMES` so many long frames are gathered."""
    return max(1, round(frames / PART_FRAMES))


def pitch_part_count(frames: int) -> int:
    """The same for the longest frames."""
    return max(1, round(2.0 * frames / PART_FRAMES))
