"""Settings that controllers move: against closed forms, sample by sample.

A driven setting is its controller's position, bent along the drive's curve between two ends in the domain of the
setting's law, and then smoothed by one pole, s[n] = (1 - a) t[n] + a s[n-1] with a = exp(-1 / (tau fs)), here computed
by `scipy.signal.lfilter`. Within 1e-7 of its target the setting takes the target itself.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chainsim.graph.rendering import render
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.timeline import timeline
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)
from tests.graph.driven_values import CLOSE, FS, HEAD, Row, cues, rows_of, smoothed

CURVES = {
    "linear": lambda u: u,
    "log": lambda u: np.log10(1.0 + 9.0 * u),  # fast at first: half of the way at a quarter of the pedal's
    "s": lambda u: u * u * (3.0 - 2.0 * u),
}


def between(position: Row, low: float, high: float, curve: str = "linear") -> Row:
    return np.asarray(low + (high - low) * CURVES[curve](position))


POINTS = "points = [[0, 0], [0.5, 1], [0.75, 0.25], [1, 0.25]]"


def pedal(seconds: float) -> Row:
    return np.interp(np.arange(round(seconds * FS)) / FS, [0.0, 0.5, 0.75, 1.0], [0.0, 1.0, 0.25, 0.25])


@pytest.mark.parametrize("curves", [("linear", "log", "s", "linear"), ("s", "linear", "log", "s")])
@pytest.mark.parametrize("up", [True, False])
def test_one_pedal_moves_four_settings_each_in_its_own_way(curves: tuple[str, ...], up: bool) -> None:
    ends = {"level_db": (-30.0, 6.0), "cutoff_hz": (2500.0, 80.0), "amount": (-1.0, 0.5), "time_ms": (400.0, 2.0)}
    ends = ends if up else {name: (high, low) for name, (low, high) in ends.items()}
    drives = ", ".join(
        f'{{ setting = "v.{name}", low = {low}, high = {high}, curve = "{curve}" }}'
        for (name, (low, high)), curve in zip(ends.items(), curves, strict=True)
    )
    rows = rows_of(f'{HEAD}[controllers.c]\ntype = "breakpoints"\n{POINTS}\ndrives = [{drives}]', 1.2)
    u = pedal(1.2)
    gain = 10.0 ** (between(u, *ends["level_db"], curves[0]) / 20.0)
    octaves = between(u, *np.log(ends["cutoff_hz"]), curves[1])
    assert np.abs(rows["level"] - smoothed(gain, 10.0)).max() < CLOSE
    assert np.abs(rows["cutoff"] / np.exp(smoothed(octaves, 20.0)) - 1.0).max() < CLOSE
    assert np.abs(rows["amount"] - smoothed(between(u, *ends["amount"], curves[2]), 5.0)).max() < CLOSE
    assert np.abs(rows["time"] - between(u, *ends["time_ms"], curves[3])).max() < CLOSE * 500.0


def test_a_pedal_may_end_in_silence() -> None:
    """The way to "off" is even in dB, down to -120, and silence is reached at its end alone."""
    drives = 'drives = [{ setting = "v.level_db", low = 0, high = "off" }]'
    rows = rows_of(f'{HEAD}[controllers.c]\ntype = "breakpoints"\npoints = [[0, 0], [1, 1]]\n{drives}', 1.2)
    u = np.minimum(np.arange(round(1.2 * FS)) / FS, 1.0)
    gain = np.where(u < 1.0, 10.0 ** (-6.0 * u), 0.0)
    assert np.abs(rows["level"] - smoothed(gain, 10.0)).max() < CLOSE
    assert rows["level"][-1] == 0.0


def test_a_moving_frequency_stays_below_what_the_rate_carries() -> None:
    """0.45 of 8 kHz is 3600 Hz: there it stops."""
    text = f'{HEAD}[controllers.c]\ntype = "breakpoints"\n{POINTS}\n'
    text += 'drives = [{ setting = "v.cutoff_hz", low = 100, high = 5000 }]'
    octaves = np.minimum(between(pedal(1.0), *np.log([100.0, 5000.0])), np.log(3600.0))
    assert np.abs(rows_of(text, 1.0)["cutoff"] / np.exp(smoothed(octaves, 20.0)) - 1.0).max() < CLOSE


def test_what_a_pedal_drives_in_one_patch_goes_over_to_the_next_without_a_step() -> None:
    """Four patches: driven, driven the other way by another controller, left alone, and driven again.

    The target jumps where the patch changes, the setting does not: one pole goes on through all four; only a level that
    comes to rest goes there on a straight line of 10 ms.
    """
    text = f"""{HEAD}amount = 0.3
[controllers.c]
type = "breakpoints"
{POINTS}
drives = [{{ setting = "v.amount", low = -1, high = 1 }}, {{ setting = "v.level_db", low = "off", high = 6 }}]
[controllers.d]
type = "lfo"
rate_hz = 2
[patches.driven]
[patches.turned.controllers]
c = {{ drives = [{{ setting = "v.level_db", low = 0, high = -20, curve = "s" }}] }}
d = {{ drives = [{{ setting = "v.amount", low = 0.8, high = -0.2 }}] }}
[patches.still.controllers.c]
drives = []
{cues((0, "driven"), (0.3, "turned"), (0.55, "still"), (0.8, "driven"))}
"""
    rows = rows_of(text, 1.2)
    n = np.arange(round(1.2 * FS))
    u, lfo = pedal(1.2), 0.5 + 0.5 * np.sin(2.0 * np.pi * 2.0 * n / FS)
    turned, still = (n >= 2_400) & (n < 4_400), (n >= 4_400) & (n < 6_400)
    amount = np.select([turned, still], [between(lfo, 0.8, -0.2), 0.3], between(u, -1.0, 1.0))
    in_db = between(u, -120.0, 6.0)
    driven_db = np.select([turned, still], [between(u, 0.0, -20.0, "s"), 0.0], in_db)
    gain = np.where(driven_db > -120.0, 10.0 ** (driven_db / 20.0), 0.0)
    assert np.abs(rows["amount"] - smoothed(amount, 5.0)).max() < CLOSE
    level = smoothed(gain, 10.0)
    level[4_400:6_400] = 1.0
    level[4_400:4_480] = level[4_399] + (1.0 - level[4_399]) * np.arange(80) / 80
    level[6_399:] = smoothed(np.r_[1.0, gain[6_400:]], 10.0)
    assert np.abs(rows["level"] - level).max() < CLOSE
    # A jump of the whole way, 2, moves the setting by no more than (1 - a) 2 a sample.
    most = 2.0 * (1.0 - np.exp(-1.0 / (0.005 * FS)))
    assert np.abs(np.diff(rows["amount"])).max() < most
    assert np.abs(np.diff(amount)).max() > 10.0 * most / 2.0


def steady(text: str, at: dict[float, float], **more: Any) -> None:
    """Check `amount` at some times, where it has long arrived."""
    row = rows_of(text, max(at) + 0.1, **more)["amount"]
    assert [row[round(t * FS)] for t in at] == pytest.approx(list(at.values()), abs=2e-3)


def test_a_controller_hears_what_is_left_of_the_block_it_listens_to() -> None:
    """A steady 0.1, -20 dB; behind the gain of -20 dB, -40. Between -60 and 0 dB that is 2/3 and 1/3 of the way.

    Left out by a patch the gain is a wire; where it is not in the chain at all, there is nothing to hear.
    """
    text = f"""
chain = ["soft", "v"]
[blocks.soft]
type = "gain"
gain_db = -20
[blocks.v]
type = "test_values"
[controllers.breath]
type = "envelope"
listens_to = "soft"
low_db = -60
high_db = 0
attack_ms = 1
release_ms = 20
drives = [{{ setting = "v.amount", low = 0, high = 1 }}]
[patches.soft]
[patches.straight]
engage = ["v"]
[patches.bare]
chain = ["v"]
{cues((0, "soft"), (0.5, "straight"), (1, "soft"), (1.5, "bare"))}
"""
    steady(text, {0.45: 1 / 3, 0.95: 2 / 3, 1.45: 1 / 3, 1.95: 0.0}, x=0.1)


def test_of_two_cues_on_one_sample_the_later_holds() -> None:
    """At 8 kHz 1.00001 s is the sample of 1 s."""
    text = f"{HEAD}[patches.a.blocks.v]\namount = 0.1\n[patches.b.blocks.v]\namount = 0.9\n"
    row = rows_of(text + cues((1, "a"), (1.00001, "b")), 1.3)["amount"]
    assert row[FS - 1] == 0.5
    assert np.abs(row - smoothed(np.where(np.arange(row.size) < FS, 0.5, 0.9), 5.0)).max() < CLOSE


def test_a_set_that_is_muted_to_the_end_is_silent() -> None:
    """No output hears its patches, one of which makes a second instance of a block because of its order."""
    text = """
chain = ["v", "gain"]
[blocks.v]
type = "test_values"
[blocks.gain]
[patches.a]
[patches.b]
chain = ["gain", "v"]
[[cues]]
at_s = 0
mute = true
"""
    rendered = render(parse_sketch(text + cues((0.2, "a"), (0.3, "b"), (0.4, "a"))), np.ones(FS), FS)
    assert rendered.audio.shape == (FS, 1)
    assert not rendered.audio.any()


CUT_SHORT = """
chain = ["a", "b", "c"]
[blocks.a]
type = "gain"
gain_db = -2
[blocks.b]
type = "gain"
gain_db = 3
[blocks.c]
type = "gain"
gain_db = -3
[[cues]]
at_s = 0.1
dry = true
[[cues]]
at_s = 0.1
off = "b"
[[cues]]
at_s = 0.102
dry = false
"""


def test_a_change_taken_back_within_its_ramp_has_no_step() -> None:
    """All leave the sound, and 2 ms later two of three come back: the third has a ramp of its own until then.

    At DC 1 the levels are -2, 0 and -5 dB; a ramp of 10 ms between the furthest two is 0.44 / 80 a sample.
    """
    y = render(parse_sketch(CUT_SHORT), np.ones(4_000), FS).audio[:, 0]
    assert y[0] == pytest.approx(10 ** (-2 / 20), rel=1e-12)
    assert y[-1] == pytest.approx(10 ** (-5 / 20), rel=1e-12)
    assert np.abs(np.diff(y)).max() < (1.0 - 10 ** (-5 / 20)) / 80 * 1.5


SETTLED = """
tempo_bpm = 120
chain = ["a", { lanes = ["dry", ["b", "c"], { chain = ["d"], level_db = -6 }] }, { blender = "mix", wet = ["e"] }]
[blocks.a]
type = "gain"
gain_db = -2
[blocks.b]
type = "gain"
gain_db = -4
[blocks.c]
type = "gain"
switching = "free_standing"
when_off = "silent"
[blocks.d]
type = "gain"
switching = "always_on"
[blocks.e]
type = "gain"
gain_db = -5
[blocks.mix]
type = "blender"
[patches.p.blocks.a]
gain_db = -7
[patches.q]
chain = ["c", { blender = "mix", wet = ["b", "d"] }, "a"]
[patches.r]
engage = ["a", "mix"]
[rooms.yard.blocks.b]
engaged = false
"""
DUE = st.sampled_from(
    ['patch = "p"', 'patch = "q"', 'patch = "r"', "mute = true", "mute = false", "dry = true", "dry = false"]
    + [f'{on} = "{block}"' for on in ("on", "off") for block in "abce"]
)
WHEN = st.one_of(st.integers(0, 400), st.sampled_from([0, 100, 101, 105, 109, 110, 200]))


@settings(max_examples=40, derandomize=True, deadline=None, database=None)
@given(st.lists(st.tuples(WHEN, DUE), min_size=1, max_size=9), st.sampled_from([None, "yard"]))
def test_whatever_was_cued_it_arrives_at_the_last_state_without_a_step(
    due: list[tuple[int, str]], room: str | None
) -> None:
    """At DC 1, by blocks without memory: 20 ms after the last cue the sound is that of the last state alone.

    Each state's level lies below 4, and a ramp of 10 ms takes 1/80 of the way between two a sample; a mute, a lane
    and a level may move at once.
    """
    text = "".join(f"[[cues]]\nat_s = {ms / 1000}\n{what}\n" for ms, what in due)
    sketch = parse_sketch(SETTLED + text)
    sketch = sketch if room is None else sketch.in_room(room)
    x, end = np.ones(3_600), slice(3_360, 3_600)
    y = render(sketch, x, FS).audio[: x.size]
    last = timeline(sketch)[-1][1]
    alone = render(replace(sketch.alone(), base=replace(last, muted=False)), x, FS).audio[: x.size]
    expected = np.zeros_like(alone) if last.muted else alone
    assert np.abs(y[end] - expected[end]).max() < 1e-12
    assert np.abs(np.diff(y[:, 0])).max() < 3 * 4.0 / 80


@pytest.mark.parametrize(
    ("tails", "patch", "filled_s"),
    # It would sleep from 0.11 s on, and listen from then on again. Cut off, it hears nothing before it is wanted.
    [("by_kind", "full", 0.0), ("by_kind", "soft", 0.17), ("cut", "full", 0.19), ("cut", "soft", 0.19)],
)
def test_a_latency_that_is_not_filled_yet_is_no_step(tails: str, patch: str, filled_s: float) -> None:
    """60 ms of latency, left at 0.1 s and wanted again at 0.13: hearing the same, or a half of it.

    At DC 1 a ramp of 10 ms moves the sound by 1/80 a sample at the most.
    """
    text = f"""
chain = ["gain", "frames"]
[blocks.gain]
gain_db = -6.0206
[blocks.frames]
type = "test_frames"
gain = 1.0
tails = "{tails}"
[patches.bare]
engage = []
[patches.full]
engage = ["frames"]
[patches.soft]
{cues((0, "full"), (0.1, "bare"), (0.13, patch))}
"""
    y = render(parse_sketch(text), np.ones(FS), FS).audio[:, 0]
    level, arrived = 0.5 if patch == "soft" else 1.0, max(filled_s, 0.13) + 0.01
    assert np.abs(y[round(arrived * FS) : FS] - level).max() < 1e-4
    assert np.abs(np.diff(y[800:FS])).max() <= 1.0 / 80 + 1e-12
    if filled_s > 0.13:
        assert np.abs(y[round(0.14 * FS) : round(filled_s * FS)]).max() < 1e-12  # it has nothing to give yet
    else:
        assert np.abs(y[480:FS] - 1.0).max() < 1e-12
