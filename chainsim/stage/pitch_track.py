"""The pitch track as a control: what the tracker knows of the horn's pitch, held from one estimate to the next."""

from __future__ import annotations

import numpy as np

from chainsim.block import Block, Context, Io
from chainsim.dsp.pitch_rows import ROWS
from chainsim.dsp.pitch_tracker import HIGHEST_HZ, HIGHEST_OF_RATE, LOWEST_HZ, PitchTracker
from chainsim.music.horns import ANY_HORN_HZ
from chainsim.settings import Settings, fixed


class PitchTrackSettings(Settings):
    low_hz: float = fixed(ANY_HORN_HZ[0], LOWEST_HZ, HIGHEST_HZ, "Hz", "lowest pitch to look for")
    high_hz: float = fixed(ANY_HORN_HZ[1], LOWEST_HZ, HIGHEST_HZ, "Hz", "highest pitch to look for")


class PitchTrack(Block[PitchTrackSettings]):
    """Rows as `chainsim.dsp.pitch_rows` names them; of several channels the mean is heard."""

    type_name = "pitch_track"
    settings_type = PitchTrackSettings
    rows = ROWS
    source = "see chainsim.dsp.pitch_tracker"

    def prepare(self, context: Context) -> None:
        high_hz = min(self.settings.high_hz, HIGHEST_OF_RATE * context.sample_rate_hz)
        self._tracker = PitchTracker(self.settings.low_hz, high_hz, context.sample_rate_hz)
        self.age_samples = float(self._tracker.hop_samples)
        self.response_s = self._tracker.response_s

    def reset(self) -> None:
        self._tracker.reset()

    def process(self, io: Io) -> None:
        x = io.x[0] if io.x.shape[0] == 1 else np.ascontiguousarray(io.x.mean(axis=0))
        self._tracker.process(io.n0, x, io.y)
