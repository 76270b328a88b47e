"""The radio link on its own: delay, band, and dropouts that belong to the clock."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from chainsim.block import block_type
from tests.blocks.harness import prepared, run

RATE_HZ = 8_000
OPEN = {"low_cut_hz": 10.0, "high_cut_hz": 20_000.0}
OFTEN = {"dropouts_per_minute": 40.0, "dropout_ramp_ms": 0.0}


def gain_of(seconds: float, *, rate_hz: float = RATE_HZ, cuts: tuple[int, ...] = (), **settings: object) -> np.ndarray:
    """The gain of the link over some time."""
    x = np.zeros((1, round(seconds * rate_hz)))
    _, told = run(prepared("radio_link", sample_rate_hz=rate_hz, **settings), x, readings=True, cuts=cuts)
    return told[0]


def spans(gain: np.ndarray) -> np.ndarray:
    """Where gains under 1 begin and end, shape (dropouts, 2)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (gain < 1.0).astype(int), [0]])))
    return edges.reshape(-1, 2)


@pytest.mark.parametrize("transmission_ms", [0.0, 3.0, 50.0])
def test_an_open_link_is_a_delay_bit_by_bit(transmission_ms: float) -> None:
    x = np.random.default_rng(1).standard_normal((2, 3_000))
    block = prepared(
        "radio_link",
        channels=2,
        sample_rate_hz=RATE_HZ,
        transmission_ms=transmission_ms,
        dropouts_per_minute=0.0,
        **OPEN,
    )
    later = round(transmission_ms * RATE_HZ / 1000.0)
    assert block.latency_samples == later
    y = run(block, x, cuts=[1, 20, 777])
    assert y[:, later:].tobytes() == x[:, : 3_000 - later].tobytes()
    assert not y[:, :later].any()


def test_dropouts_come_as_often_and_last_as_long_as_said() -> None:
    """At most one begins in a second, here with a chance of 2 in 3: binomial, four standard deviations."""
    seconds = 150
    found = spans(gain_of(seconds, dropout_shortest_ms=30.0, dropout_longest_ms=200.0, **OFTEN))
    assert abs(len(found) - seconds * 2 / 3) < 4.0 * np.sqrt(seconds * 2 / 9)
    length_ms = (found[:, 1] - found[:, 0]) * 1000.0 / RATE_HZ
    assert 30.0 - 0.13 <= length_ms.min() < 35.0
    assert 195.0 < length_ms.max() <= 200.0
    assert np.mean(length_ms) == pytest.approx(115.0, abs=4.0 * 170.0 / np.sqrt(12.0 * len(found)))
    within = found[:, 0] / RATE_HZ % 1.0
    assert np.mean(within) == pytest.approx(0.5, abs=4.0 / np.sqrt(12.0 * len(found)))
    assert len(np.unique(found[:, 0] // RATE_HZ)) == len(found)


def test_dropouts_come_at_the_same_times_at_every_rate() -> None:
    at_s = [spans(gain_of(30.0, rate_hz=r, **OFTEN)) / r for r in (RATE_HZ, 44_100)]
    assert len(at_s[0]) > 10
    assert np.max(np.abs(at_s[0] - at_s[1])) <= 2.0 / RATE_HZ


def test_what_is_played_changes_no_dropout() -> None:
    block = prepared("radio_link", sample_rate_hz=RATE_HZ, **OFTEN)
    x = np.random.default_rng(1).standard_normal((1, 5 * RATE_HZ))
    _, told = run(block, x, readings=True)
    assert told[0].tobytes() == gain_of(5.0, **OFTEN).tobytes()


def test_a_dropout_falls_and_comes_back_within_its_ramp() -> None:
    """(1 + cos(pi t / ramp)) / 2 down to the floor of -20 dB; half way, -20 dB is 0.1 and 0.55 the middle."""
    ramp = 80
    settings = {"dropout_shortest_ms": 100.0, "dropout_longest_ms": 100.0, "dropout_db": -20.0}
    gain = gain_of(10.0, dropouts_per_minute=40.0, dropout_ramp_ms=ramp * 1000.0 / RATE_HZ, **settings)
    begin, end = spans(gain)[0]
    assert end - begin in (799, 800)  # a gain under 1, for 100 ms
    part = gain[begin:end]
    assert part[ramp - 1 : -ramp + 1] == pytest.approx(0.1, abs=1e-12)
    assert part[ramp // 2 - 1] == pytest.approx(0.55, abs=1e-12)
    assert part == pytest.approx(part[::-1], abs=1e-12)
    assert np.max(np.abs(np.diff(gain))) <= 0.9 * np.pi / (2.0 * ramp)


def test_the_floor_and_how_often_move_in_time() -> None:
    seconds = 120
    rate = np.repeat([0.0, 60.0], seconds // 2 * RATE_HZ)
    moving = {"dropouts_per_minute": rate, "dropout_db": np.repeat([-6.0, -40.0], seconds // 2 * RATE_HZ)}
    block = prepared("radio_link", sample_rate_hz=RATE_HZ, moving=moving, dropout_ramp_ms=0.0)
    _, told = run(block, np.zeros((1, rate.size)), readings=True, moving=moving)
    half = rate.size // 2
    assert np.all(told[0, :half] == 1.0)
    assert len(spans(told[0, half:])) == seconds // 2  # one in every second
    assert told[0, half:].min() == pytest.approx(0.01, rel=1e-9)


def test_lengths_are_in_order() -> None:
    with pytest.raises(ValidationError, match="dropout_shortest_ms = 200 ms, allowed up to dropout_longest_ms = 120"):
        block_type("radio_link").settings_type(dropout_shortest_ms=200.0)
