"""The pitch shifter: its loops beside plain C, and how many times faster than real time two voices are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.dsp.harmonic_tables import GUARD, keep_table, read_voice, take_away
from chainsim.dsp.period_harmonics import fold_two_periods
from chainsim.dsp.period_marks import likeness
from chainsim.horn.phrases import PHRASES
from chainsim.horn.play import play
from chainsim.kernel import kernel
from chainsim.units import Array
from tests.benchmarks.bench import best_ns, best_speed, call_c, compile_c, needs_cc
from tests.dsp.tracked import harmonics, mellow

FS = 48_000.0
FRAMES = 4_096
POINTS = 1_024
C_FILE = Path(__file__).parent / "c" / "pitch_shifter.c"

SKETCH = """
instrument = "alto sax"
chain = ["shift"]
[blocks.shift]
type = "pitch_shifter"
voices = [{ interval = "M3 above" }, { interval = "P5 above" }]
"""


def two_tables() -> tuple[np.ndarray, np.ndarray]:
    """Two periods of a tone, a little apart."""
    made = []
    for even in (1.0, 0.8):
        table = np.zeros(POINTS + GUARD)
        keep_table(np.ascontiguousarray(harmonics(FS / POINTS, mellow(220.0, even), POINTS / FS)), POINTS, 1.0, table)
        made.append(table)
    return made[0], made[1]


@needs_cc
@pytest.mark.bench
@pytest.mark.parametrize("loop", ["voice", "rest"])
def test_reading_agrees_with_c(loop: str) -> None:
    early, late = two_tables()
    ratio, ours, theirs = np.full(FRAMES, 1.498307), np.ones(FRAMES), np.ones(FRAMES)
    tables = (early, POINTS, late, POINTS)
    # From one mark to the next in all of it, at 220 Hz.
    place = (5, 2.25, 1.0 / (FRAMES + 8))
    library = compile_c(C_FILE)

    def here() -> None:
        if loop == "voice":
            read_voice(*tables, *place, ratio, 220.0 / FS, 0.3, 0, FRAMES, ours)
        else:
            take_away(*tables, *place, 7.5, 220.0 / FS, 0, FRAMES, ours)

    def in_c() -> None:
        if loop == "voice":
            call_c(library.read_voice, *tables, *place, ratio, 220.0 / FS, 0.3, 0, FRAMES, theirs)
        else:
            call_c(library.take_away, *tables, *place, 7.5, 220.0 / FS, 0, FRAMES, theirs)

    here()
    in_c()
    assert np.ptp(ours) > 0.1
    assert np.max(np.abs(ours - theirs)) < 1e-9
    a, b = best_ns(here, FRAMES), best_ns(in_c, FRAMES)
    print(f"pitch_shifter, {loop}: {a:.2f} ns, C {b:.2f} ns a sample, ratio {a / b:.2f}")


@kernel
def likenesses(line: Array, begin: int, lag: int, length: int, y: Array) -> None:
    """Likeness at four lags, as a search asks for."""
    for k in range(y.shape[0]):
        y[k] = likeness(line, begin, lag + k, length)


@needs_cc
@pytest.mark.bench
def test_marks_and_folding_agree_with_c() -> None:
    size = 2_048
    x = harmonics(220.0, mellow(220.0), size / FS)
    line = np.ascontiguousarray(np.tile(x, 2)[np.newaxis])
    ours, theirs = np.empty(4), np.empty(4)
    p, c_p = np.empty(256), np.empty(256)
    library = compile_c(C_FILE)
    marks = (400.3, 618.5, 836.6)

    def here() -> None:
        likenesses(line, 300, 217, 219, ours)
        fold_two_periods(line[0], size, *marks, 256, p)

    def in_c() -> None:
        call_c(library.search_and_fold, line, size, 300, 217, 219, *marks, 256, theirs, c_p)

    here()
    in_c()
    assert ours.max() > 0.99
    assert np.max(np.abs(ours - theirs)) < 1e-9
    assert np.max(np.abs(p - c_p)) < 1e-9
    a, b = best_ns(here, 218), best_ns(in_c, 218)
    print(f"pitch_shifter, a mark's search and folding: {a:.2f} ns, C {b:.2f} ns a sample, ratio {a / b:.2f}")


@pytest.mark.bench
def test_speed_of_tracker_and_two_voices(capsys: pytest.CaptureFixture[str]) -> None:
    """One graph, one core, an alto saxophone's range at 48 kHz, a third and a fifth; target 180 x real time."""
    best = best_speed(SKETCH, play(PHRASES["lantern waltz"], "alto sax").audio[np.newaxis], FS, 5)
    with capsys.disabled():
        print(
            f"\npitch tracker and two-voice pitch shifter, alto sax: {best:.0f} x real time (target 180), "
            f"{1e9 / (best * FS):.0f} ns a sample"
        )
