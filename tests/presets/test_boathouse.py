"""The impulse response beside the presets is what its script makes of the boathouse's measures."""

from __future__ import annotations

import runpy

import numpy as np
import pyroomacoustics
import pytest
import soundfile

from chainsim.resources import preset_paths


def test_the_file_is_what_the_script_makes() -> None:
    path = preset_paths()["boathouse"]
    made = runpy.run_path(str(path.with_suffix(".py")))["response"]()
    kept, rate_hz = soundfile.read(path.with_suffix(".flac"))
    assert kept.shape == made.shape
    assert np.max(np.abs(kept - made)) <= 2.0**-15  # a step of 16 bits
    assert path.with_suffix(".flac").stat().st_size < 150_000
    # Eyring's formula for its walls gives 0.73 s; a long shed whose sound keeps to its length rings somewhat longer.
    for side in kept.T:
        assert pyroomacoustics.experimental.measure_rt60(side, fs=rate_hz, decay_db=30) == pytest.approx(0.98, abs=0.05)
