"""The pitch tracker: its periodicity beside plain C, and how many times faster than real time it is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from chainsim.dsp.pitch_periods import FLOOR_POWER, Band, add_products, periodicity, push
from chainsim.dsp.pitch_tracker import HIGH_WINDOW_S, LOW_WINDOW_S, OVERLAP, SPLIT_HZ, PitchTracker
from chainsim.kernel import kernel
from chainsim.music.horns import HORNS
from tests.benchmarks.bench import best_ns, best_speed, call_c, compile_c, needs_cc
from tests.dsp.tracked import FULL_RANGE_HZ, harmonics, notes, with_noise

FS = 48_000.0
HOP = 96
FRAMES = 500 * HOP

BANDS = {
    "low": (4, Band(FS / 4.0, FULL_RANGE_HZ[0], SPLIT_HZ * OVERLAP, HOP // 4, LOW_WINDOW_S)),
    "high": (1, Band(FS, SPLIT_HZ / OVERLAP, FULL_RANGE_HZ[1], HOP, HIGH_WINDOW_S)),
}
"""How many samples a sample of the band stands for, and the band."""

SKETCH = """
tempo_bpm = 120
lowest_hz = 40
highest_hz = 1600
chain = ["lead"]
[blocks.lead]
type = "following_synth"
voices = [{ interval = "P5 above" }, { interval = "P8 below" }]
"""


def take(seconds: float) -> np.ndarray:
    """Notes of a quarter of a second over three octaves, with some noise."""
    pitches = [110.0 * 2.0 ** (k / 12.0) for k in (0, 7, 12, 24, 19, 31, 36, 15)]
    phrase = notes(pitches, 0.25, 0.05)
    return with_noise(np.tile(phrase, 1 + int(seconds * FS / phrase.size))[: round(seconds * FS)], 30.0)


@kernel
def over_hops(
    x: np.ndarray,
    hop: int,
    step: int,
    shortest: int,
    kept: int,
    groups: npt.NDArray[np.int64],
    newest: np.ndarray,
    energy: np.ndarray,
    products: np.ndarray,
    at: npt.NDArray[np.int64],
    rho: np.ndarray,
    steady_groups: npt.NDArray[np.int64],
    steady_rho: np.ndarray,
) -> None:
    """What the tracker does with a band, hop by hop; rho is that of the last."""
    for i in range(0, x.shape[0], hop * step):
        push(x[i : i + hop * step], step, kept, newest, energy, at)
        add_products(hop, shortest, newest, products, at, rho.shape[0])
        periodicity(hop, shortest, groups, energy, products, at, rho)
        periodicity(hop, shortest, steady_groups, energy, products, at, steady_rho)


@needs_cc
@pytest.mark.bench
@pytest.mark.parametrize(("name", "f0_hz"), [("low", 220.0), ("high", 880.0)])
def test_periodicity_agrees_with_c(name: str, f0_hz: float) -> None:
    step, band = BANDS[name]
    hop, x = HOP // step, with_noise(harmonics(f0_hz, 12, FRAMES / FS), 30.0)
    band.reset()
    state = (band.newest_first, band.energy, band.products, band.at, band.rho, band.steady_rho)
    c_state = [s.copy() for s in state]
    function = compile_c(Path(__file__).parent / "c" / "pitch_tracker.c").periodicity

    def here() -> None:
        over_hops(x, hop, step, *band.arrays())

    def in_c() -> None:
        sizes = (FRAMES // HOP, hop, step, band.shortest, band.rho.size, band.kept, band.energy.size)
        windows = (band.groups, len(band.groups), band.steady_groups, len(band.steady_groups), len(band.products))
        call_c(function, x, *sizes, *windows, FLOOR_POWER, *c_state)

    here()
    in_c()
    assert band.rho.max() > 0.9
    assert np.max(np.abs(band.rho - c_state[4])) < 1e-9
    assert np.max(np.abs(band.steady_rho - c_state[5])) < 1e-9
    ours, theirs = best_ns(here, FRAMES), best_ns(in_c, FRAMES)
    print(f"periodicity, {name} band: {ours:.2f} ns, C {theirs:.2f} ns a sample, ratio {ours / theirs:.2f}")


@pytest.mark.bench
@pytest.mark.parametrize(
    ("name", "range_hz", "target"),
    [("40 ... 1600 Hz", FULL_RANGE_HZ, 250)]
    + [(name, HORNS[name].search_hz(), 400) for name in ("alto sax", "tenor sax", "trombone", "flute")],
)
def test_speed(name: str, range_hz: tuple[float, float], target: int, capsys: pytest.CaptureFixture[str]) -> None:
    x = take(4.0)
    tracker = PitchTracker(*range_hz, FS)
    rows = np.empty((5, x.size))
    ns = best_ns(lambda: tracker.process(0, x, rows), x.size, repeats=5)
    assert np.any(rows[1] > 0.0)
    with capsys.disabled():
        print(f"\npitch tracker, {name}: {ns:.1f} ns a sample, {1e9 / (ns * FS):.0f} x real time (target {target})")


@pytest.mark.bench
def test_speed_of_tracker_and_two_voices(capsys: pytest.CaptureFixture[str]) -> None:
    """One graph, one core, synth with its filter; target 150 x real time."""
    best = best_speed(SKETCH, take(20.0)[np.newaxis], FS, 3)
    with capsys.disabled():
        print(f"\npitch tracker and two-voice following synth: {best:.0f} x real time (target 150)")
