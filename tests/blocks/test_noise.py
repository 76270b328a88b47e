"""The noise block on its own: what it leaves alone, what is independent of what, what the mains have in common."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import parse_sketch
from tests.blocks.harness import prepared, run

FS = 48_000


def floor(frames: int, channels: int = 1, rate_hz: float = FS, **settings: object) -> np.ndarray:
    """What is added to silence."""
    return run(
        prepared("noise", channels=channels, sample_rate_hz=rate_hz, **settings), np.zeros((channels, frames)), cuts=[7]
    )


@pytest.mark.parametrize("colour", ["white", "pink"])
def test_off_passes_bit_by_bit(colour: str) -> None:
    x = np.random.default_rng(1).standard_normal((2, 3_000))
    assert run(prepared("noise", channels=2, colour=colour, level_db="off"), x).tobytes() == x.tobytes()


def test_it_adds_to_what_passes() -> None:
    x = np.random.default_rng(1).standard_normal((1, 3_000))
    noisy = run(prepared("noise", level_db=-40.0, hum_db=-50.0), x)
    assert np.max(np.abs(noisy - x - floor(3_000, level_db=-40.0, hum_db=-50.0))) < 1e-15


@pytest.mark.parametrize("colour", ["white", "pink"])
def test_channels_have_noise_of_their_own(colour: str) -> None:
    left, right = floor(10 * FS, 2, colour=colour, level_db=-20.0)
    # of white noise, four standard deviations: 4 / sqrt(480000) = 0.006; pink noise has fewer independent samples
    assert abs(np.corrcoef(left, right)[0, 1]) < (0.006 if colour == "white" else 0.06)


def test_blocks_of_other_names_have_noise_of_their_own_and_the_same_hum() -> None:
    def rendered(name: str, settings: str) -> np.ndarray:
        sketch = parse_sketch(f'chain = ["{name}"]\n[blocks.{name}]\ntype = "noise"\n{settings}')
        return render_graph(build_graph(sketch, FS), np.zeros((1, FS)))["out"][0]

    one, again, other = (rendered(name, "level_db = -20\n") for name in ("horn", "horn", "box"))
    assert one.tobytes() == again.tobytes()
    assert abs(np.corrcoef(one, other)[0, 1]) < 0.02
    hum = 'level_db = "off"\nhum_db = -30\n'
    assert rendered("horn", hum).tobytes() == rendered("box", hum).tobytes()


def test_its_level_moves_without_steps() -> None:
    moving = {"level_db": np.linspace(-60.0, -20.0, FS)}
    y = run(prepared("noise", moving=moving), np.zeros((1, FS)), moving=moving)[0]
    rms = np.sqrt(np.mean(y.reshape(20, -1) ** 2, axis=1))
    assert np.all(np.diff(20.0 * np.log10(rms)) > 1.0)  # 2 dB from one to the next, within the spread of 2400 samples


@pytest.mark.parametrize("slope_db", [0.0, 6.0, 12.0])
def test_hum_has_its_level_and_its_slope(slope_db: float) -> None:
    y = floor(FS, level_db="off", hum_db=-30.0, hum_hz=60.0, hum_harmonics=8, hum_slope_db=slope_db)[0]
    assert 20.0 * math.log10(np.sqrt(np.mean(y**2))) == pytest.approx(-30.0, abs=1e-6)
    spectrum = np.abs(np.fft.rfft(y))  # bins of 1 Hz
    lines = spectrum[60 : 60 * 9 : 60].copy()
    octaves = np.log2(np.arange(1, 9))
    assert np.max(np.abs(20.0 * np.log10(lines / lines[0]) + slope_db * octaves)) < 1e-6
    spectrum[60 : 60 * 9 : 60] = 0.0
    assert np.max(spectrum) < 1e-9 * lines[0]
