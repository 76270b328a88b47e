"""Residuals: count sketches against what is left in truth, and chains whose orders null or do not."""

from __future__ import annotations

import functools
import itertools
import math

import numpy as np
import pytest

from chainsim.errors import AudioError
from chainsim.graph.rendering import render
from chainsim.measure import null
from chainsim.measure.null import NULL_DB, NullMeter, residual_db, residual_matrix
from chainsim.sketch.loading import parse_sketch
from chainsim.units import Array
from tests.measure.pair_sounds import RATE_HZ, horn

NOISE = np.random.default_rng(1).standard_normal((2, 96_000))
SKETCH_DB = 0.6
"""Four times the standard deviation of equation (2) is 9 % of the power, or 0.4 dB; and a little."""

BLOCKS = """
[blocks.tone]
type = "equalizer"
bands = [{ shape = "bell", freq_hz = 900, gain_db = 6, q = 1.5 }]
[blocks.echo]
type = "delay"
[blocks.torn]
type = "drive"
[blocks.sweep]
type = "envelope_filter"
"""


def sketch_of(audio: Array, latency_frames: int = 0, at: tuple[int, ...] = ()) -> Array:
    meter = NullMeter(latency_frames)
    x = np.atleast_2d(audio)
    for a, b in itertools.pairwise([0, *at, x.shape[1]]):
        meter.add(np.ascontiguousarray(x[:, a:b]))
    return meter.result()


def left_db(x: Array, y: Array) -> float:
    """Equation (1) of the sounds themselves, of which the shorter one is silent where it has ended."""
    frames = max(x.shape[-1], y.shape[-1])
    a, b = (np.pad(np.broadcast_to(s, (2, s.shape[-1])), ((0, 0), (0, frames - s.shape[-1]))) for s in (x, y))
    left = float(np.sum((a - b) ** 2))
    return 10.0 * math.log10(left / max(float(np.sum(a**2)), float(np.sum(b**2)))) if left > 0.0 else -math.inf


@functools.cache
def played(*order: str) -> Array:
    chain = ", ".join(f'"{name}"' for name in order)
    return render(parse_sketch(f"chain = [{chain}]\n" + BLOCKS), horn()[:96_000], RATE_HZ).audio[:, 0]


def test_orders_that_commute_null_and_others_do_not() -> None:
    # Linear and time-invariant blocks commute; all that is left is rounding, a few 1e-16 of each sample.
    assert left_db(played("tone", "echo"), played("echo", "tone")) < -250.0
    assert residual_db(sketch_of(played("tone", "echo")), sketch_of(played("echo", "tone"))) < -250.0
    for pair in (("torn", "sweep"), ("tone", "torn")):
        one, other = played(*pair), played(*pair[::-1])
        true_db = left_db(one, other)
        assert true_db > -40.0 > NULL_DB
        assert residual_db(sketch_of(one), sketch_of(other)) == pytest.approx(true_db, abs=SKETCH_DB)


@pytest.mark.parametrize("wanted_db", [-280.0, -200.0, -120.0, -60.0, -20.0])
def test_the_sketch_tells_the_true_residual(wanted_db: float) -> None:
    # Closed form: what is added has the wanted level against the rest, and is all that is left.
    x, added = NOISE[0], NOISE[1]
    y = x + added * 10.0 ** (wanted_db / 20.0) * np.linalg.norm(x) / np.linalg.norm(added)
    assert left_db(x, y) == pytest.approx(wanted_db, abs=0.5)
    assert residual_db(sketch_of(x), sketch_of(y)) == pytest.approx(wanted_db, abs=SKETCH_DB)


def test_how_far_sketches_stray() -> None:
    # Equation (2), 300 draws: the standard deviation of a deviation is known to 1 / sqrt(600), 4 %; four of these.
    rng = np.random.default_rng(2)
    ratios = []
    for _ in range(300):
        x = rng.standard_normal(6_000)
        ratios.append(np.sum(sketch_of(x) ** 2) / (2.0 * np.sum(x**2)))
    expected = math.sqrt(2.0 / null.PLACES)
    assert np.mean(ratios) == pytest.approx(1.0, abs=4.0 * expected / math.sqrt(300.0))
    assert np.std(ratios) == pytest.approx(expected, rel=0.17)


def test_same_bits_for_any_cuts() -> None:
    x = NOISE[:, :5_000]
    for at in (tuple(range(1, 5_000, 7)), (64, 509, 4_000), (0, 1, 4_999)):
        assert sketch_of(x, 100, at).tobytes() == sketch_of(x, 100).tobytes()


def test_latency_is_taken_out_and_one_channel_is_two() -> None:
    x = NOISE[0]
    late = np.concatenate([np.zeros(123), x])
    assert residual_db(sketch_of(x), sketch_of(late, 123)) == -math.inf
    apart_db = residual_db(sketch_of(x), sketch_of(late))
    assert apart_db == pytest.approx(3.0, abs=SKETCH_DB)  # nothing in common: twice the power is left
    both = np.stack([x, x])
    assert residual_db(sketch_of(x), sketch_of(both)) == -math.inf
    one_side = np.stack([x, -x])
    wanted_db = 10.0 * math.log10(4.0 / 2.0)
    assert residual_db(sketch_of(x), sketch_of(one_side)) == pytest.approx(wanted_db, abs=SKETCH_DB)


def test_a_matrix_of_many() -> None:
    x = NOISE[0, :8_000]
    sounds = [x, 1.001 * x, x + 0.1 * NOISE[1, :8_000], np.zeros(8_000), x]
    matrix = residual_matrix(np.stack([sketch_of(s) for s in sounds]))
    np.testing.assert_array_equal(matrix, matrix.T)
    assert np.all(np.diagonal(matrix) == -math.inf)
    assert matrix[0, 4] == -math.inf
    assert matrix[0, 3] == pytest.approx(0.0, abs=1e-9)
    assert matrix[0, 1] == pytest.approx(20.0 * math.log10(0.001 / 1.001), abs=1e-6)  # both sketches by the same draw
    for i, j in itertools.combinations(range(3), 2):
        assert matrix[i, j] == pytest.approx(left_db(sounds[i], sounds[j]), abs=SKETCH_DB)
    assert residual_matrix(np.zeros((2, null.PLACES)))[0, 1] == -math.inf


def test_refusals() -> None:
    with pytest.raises(AudioError, match=r"shape \(3, 8\), wanted"):
        NullMeter().add(np.zeros((3, 8)))
    meter = NullMeter()
    meter.add(np.full((1, 8), np.inf))
    with pytest.raises(AudioError, match="not finite"):
        meter.result()
    for shape in ((2, 4095), (2, 0), (4096,)):
        with pytest.raises(ValueError, match=r"shape \(.*, wanted \(sounds, 4096\)"):
            residual_matrix(np.zeros(shape))
    broken = np.zeros((3, null.PLACES))
    broken[1, 5] = np.nan
    with pytest.raises(ValueError, match="sketch 1 holds a value that is not finite"):
        residual_matrix(broken)
    with pytest.raises(ValueError, match="sketch 0 holds a value that is not finite"):
        residual_db(np.full(null.PLACES, np.inf), broken[0])
    assert null.sketch_samples.signature_count == 1
