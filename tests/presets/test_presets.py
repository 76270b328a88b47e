"""Every preset is sound as it is: no warning that it doesn't explain, no clipping, the horn in front, and it ends."""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile

from chainsim import load_sketch, render
from chainsim.measure.loudness import measure_loudness
from chainsim.resources import preset_paths, take_paths

PRESETS = preset_paths()


@pytest.fixture(scope="module")
def take() -> tuple[np.ndarray, float]:
    audio, rate_hz = soundfile.read(next(iter(take_paths().values())), frames=6 * 48_000)
    return audio, float(rate_hz)


@pytest.mark.parametrize("name", PRESETS)
def test_preset(name: str, take: tuple[np.ndarray, float]) -> None:
    audio, rate_hz = take
    sketch = load_sketch(PRESETS[name])
    assert sketch.title != "untitled"
    assert "invented" in sketch.text
    heard = render(sketch, audio, rate_hz)
    # a pitch shifter beside the dry horn is late by nature: then the sketch tells what that means
    combs = [w for w in heard.warnings if "a comb with its first notch" in w]
    assert heard.warnings == combs
    assert not combs or ("pitch_shifter" in sketch.text and "comb" in sketch.text)
    assert np.abs(heard.audio).max() < 1.0
    before = measure_loudness(audio, rate_hz).integrated_lufs
    after = measure_loudness(heard.audio[: len(audio)], rate_hz).integrated_lufs
    assert math.isfinite(after)
    # a mono take feeds both channels of a stereo result, which BS.1770 sums: +3 dB at unity gain
    assert abs(after - before - (3.0 if heard.audio.shape[1] == 2 else 0.0)) < 4.0
    assert np.abs(heard.audio[-64:]).max() < 1e-3
