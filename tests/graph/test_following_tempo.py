"""What follows the tempo, written, tapped or brought by a patch: against closed forms and the grid of beats."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.graph.rendering import Rendering, render
from chainsim.sketch.loading import parse_sketch
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)
from tests.graph.driven_values import CLOSE, FS, HEAD, Row, cues, rows_of, smoothed


def test_a_lane_in_bars_bends_with_the_tempo() -> None:
    """120 until the patch brings 240 at 0.5 s, bar 1:2: bar 2 of 4 beats, 3 beats later, is at 1.25 s."""
    text = f"""{HEAD}[controllers.c]
type = "breakpoints"
points = [["1", 0], ["2", 1], ["2:3", 0.5]]
drives = [{{ setting = "v.amount", low = 0, high = 1 }}]
[patches.fast]
tempo_bpm = 240
{cues((0.5, "fast"))}
"""
    beat = np.interp(np.arange(round(2.0 * FS)) / FS, [0.0, 0.5, 2.0], [0.0, 1.0, 7.0])
    position = np.interp(beat, [0.0, 4.0, 6.0], [0.0, 1.0, 0.5])
    assert position[round(1.25 * FS)] == pytest.approx(1.0, abs=1e-9)
    assert np.abs(rows_of(text, 2.0)["amount"] - smoothed(position, 5.0)).max() < CLOSE


def test_an_lfo_follows_a_tapped_tempo() -> None:
    """100 as written; the second tap at 0.9 s says 150 (0.4 s), and a half is 2 beats from then on too."""
    text = f"""tempo_bpm = 100
{HEAD}[[taps]]
at_s = [0.5, 0.9, 1.3]
[controllers.c]
type = "lfo"
note = "1/2"
drives = [{{ setting = "v.amount", low = -1, high = 1 }}]
"""
    n = np.arange(round(3.0 * FS))
    beat = np.where(n < 7_200, n * 100.0, 7_200 * 100.0 + (n - 7_200) * 150.0) / (60.0 * FS)
    assert np.abs(rows_of(text, 3.0)["amount"] - smoothed(np.sin(np.pi * beat), 5.0)).max() < CLOSE


ECHO = """
tempo_bpm = 100
chain = ["echo"]
[blocks.echo]
type = "delay"
note = "1/8 dotted"
on_time_change = "crossfade"
feedback_percent = 0
low_cut_hz = 10
high_cut_hz = 18000
dry_db = "off"
wet_db = 0
[patches.slow]
tempo_bpm = 60
[patches.plain]
"""


def impulses(*at_s: float, fs: int = 48_000, seconds: float = 6.0) -> Row:
    x = np.zeros(round(seconds * fs))
    x[[round(t * fs) for t in at_s]] = 1.0
    return x


def test_a_delay_by_note_follows_tempi_of_every_kind() -> None:
    """A dotted eighth is 45 / bpm s: 0.45 at 100, as written; 0.3 at the tapped 150, from 0.9 s on; 0.75 in the patch
    that brings 60; and 0.3 again in the one that brings none. Each within one sample.
    """
    text = ECHO + "[[taps]]\nat_s = [0.5, 0.9]\n" + cues((2, "slow"), (4, "plain"))
    sent = {0.1: 0.45, 1.1: 0.3, 2.2: 0.75, 4.2: 0.3}
    y = render(parse_sketch(text), impulses(*sent), 48_000).audio[:, 0]
    for at_s, after_s in sent.items():
        near = slice(round((at_s + after_s - 0.02) * 48_000), round((at_s + after_s + 0.02) * 48_000))
        found = near.start + int(np.argmax(np.abs(y[near])))
        assert abs(found - (at_s + after_s) * 48_000) <= 1.0
        assert abs(y[found]) > 0.9
    assert np.count_nonzero(np.abs(y) > 0.5) == len(sent)


def clicks(rendered: Rendering) -> Row:
    """The samples at which a beat begins."""
    return np.flatnonzero(rendered.audio[:, 0] > 0.05)


def test_cues_in_bars_fall_on_the_beats_of_the_grid() -> None:
    """Clicks on every beat from 0.3 s on, through a tapped tempo and patches that bring theirs; bar 1 has beats 0 to 2.

    The grid counts samples, the cues count seconds: each change may part them by half a sample, four by two.
    """
    text = """
tempo_bpm = 113
meter = "3/4"
first_beat_s = 0.3
chain = ["click"]
[blocks.click]
type = "test_pulse"
[patches.slow]
tempo_bpm = 71
[patches.fast]
tempo_bpm = 167
[patches.plain]
[[taps]]
at_s = [1.0, 1.45, 1.9]
"""
    places = {"3": "slow", "4:3": "plain", "6": "fast", "8:2": "plain", "10": "slow"}
    text += "".join(f'[[cues]]\nat_bar = "{place}"\npatch = "{patch}"\n' for place, patch in places.items())
    sketch = parse_sketch(text)
    beats = clicks(render(sketch, np.zeros(round(20.0 * FS)), FS))
    assert abs(beats[0] - 0.3 * FS) <= 1.0
    for due in sketch.cues:
        bar, _, beat = due.bar.partition(":")
        number = 3 * (int(bar) - 1) + int(beat or 1) - 1
        assert abs(beats[number] - due.at_s * FS) <= 2.0, due
    spans = np.diff(beats)[[0, 3 * 2 + 1, 3 * 5 + 1, -2]] / FS
    assert 60.0 / spans == pytest.approx([113.0, 71.0, 167.0, 71.0], rel=0.005)
