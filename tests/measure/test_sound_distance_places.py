"""Where two sounds are apart, on a take whose rests are known."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.measure.sound_distance.measuring import measure_distance
from chainsim.measure.sound_distance.places import Apart, Beside, Rests, rests_of
from chainsim.units import Array

RATE_HZ = 16_000
PLAYING = 4 * RATE_HZ
T = np.arange(5 * RATE_HZ) / RATE_HZ
BEFORE, BETWEEN, AFTER = T < 0.8, (T >= 2.0) & (T < 2.8), T >= 4.0


def hiss(level_db: float) -> Array:
    return 10.0 ** (level_db / 20.0) * np.random.default_rng(5).standard_normal(T.size)


def note() -> Array:
    """Two notes, from 0.8 to 2 and from 2.8 to 4 s."""
    tone = sum(np.sin(2.0 * np.pi * 220.0 * k * T) / k for k in range(1, 6))
    return 0.15 * tone * ~(BEFORE | BETWEEN | AFTER)


PLAIN = (note() + hiss(-55.0) * ~AFTER)[:, np.newaxis]


def beside(first: Array, latency_frames: int = 0) -> Beside:
    return Beside(first, RATE_HZ, PLAYING, rests_of(PLAIN[:PLAYING], RATE_HZ), latency_frames)


def apart(changed: Array, latency_frames: tuple[int, int] = (0, 0)) -> Apart:
    return beside(PLAIN, latency_frames[0]).apart(changed, latency_frames[1])


@pytest.mark.parametrize(
    ("changed", "only"),
    [
        (BEFORE, "before the first note"),
        (BETWEEN, "in the rests"),
        (BEFORE | BETWEEN, "in the rests"),
        ((T >= 1.0) & (T < 1.5), ""),
        (BEFORE | ((T >= 1.0) & (T < 1.5)), ""),
        (AFTER, "after the take"),
        (BETWEEN | AFTER, "in the rests and after the take"),
    ],
)
def test_where_it_is_heard(changed: Array, only: str) -> None:
    """20 dB of hiss more, also under the note, where it lies 20 dB under it."""
    found = apart(PLAIN + (hiss(-35.0) * changed)[:, np.newaxis])
    assert found.only == only
    assert found.total > 2.0
    assert (found.playing < 1.0) == bool(only)


def test_of_a_take_without_rests_it_is_told_what_comes_after_it() -> None:
    changed = PLAIN + (hiss(-35.0) * AFTER)[:, np.newaxis]
    assert Beside(PLAIN, RATE_HZ, PLAYING, Rests((), ())).apart(changed).only == "after the take"


def test_loudness_channels_and_latency_are_no_matter() -> None:
    silent = PLAIN * ~BEFORE[:, np.newaxis]
    late = np.concatenate([np.zeros((700, 2)), 4.0 * np.repeat(silent, 2, axis=1)])
    found = [apart(silent), apart(late, (0, 700)), beside(late, 700).apart(PLAIN), beside(silent).apart(PLAIN)]
    assert {each.only for each in found} == {"before the first note"}
    assert [each.total for each in found] == pytest.approx([found[0].total] * 4, abs=0.1)
    assert max(each.playing for each in found) < 0.3


def test_the_whole_is_the_distance() -> None:
    changed = PLAIN * np.where(BETWEEN, 2.0, 1.0)[:, np.newaxis]
    whole = measure_distance(PLAIN, changed, RATE_HZ, playing_frames=PLAYING)
    assert apart(changed).total == pytest.approx(whole.total, abs=1e-9)


def test_what_is_alike_or_silent_is_nowhere() -> None:
    assert apart(PLAIN) == Apart(0.0, 0.0, "")
    assert apart(np.zeros_like(PLAIN)).only == ""
