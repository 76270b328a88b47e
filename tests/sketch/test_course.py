"""When cues in bars come, and which tempo holds: changes of tempo, meters, taps; expected values by hand.

A quarter lasts 60 / bpm seconds: 0.5 s at 120, 1 s at 60, 2/3 s at 90.
"""

from __future__ import annotations

import pytest

from chainsim.errors import SketchError
from chainsim.sketch import course
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.timeline import timeline
from tests.sketch.timelines import SET, cues, of, sounds, tempi


@pytest.mark.parametrize("bar_first", [True, False])
def test_bars_and_seconds_of_one_instant_too(bar_first: bool) -> None:
    """Bar 3 begins after 8 quarters: at 4 s."""
    by_bar, by_time = 'at_bar = "3"\npatch = "plain"', 'at_s = 4\non = "tone"'
    both = (by_bar, by_time) if bar_first else (by_time, by_bar)
    assert sounds(of(*both))[1:] == [(4.0, "tone hall" if bar_first else "hall")]


@pytest.mark.parametrize("bpm", [97, 133, 171])
def test_and_where_rounding_would_part_them(bpm: int) -> None:
    """Bar 2 at 60 * 4 / bpm s, which no decimal says exactly: to nine places they are one instant."""
    at_s = f"{240 / bpm:.12f}"
    sketch = of(f'at_s = {at_s}\npatch = "plain"', 'at_bar = "2"\npatch = "rough"', head=f"tempo_bpm = {bpm}\n")
    assert [c.text for c in sketch.cues] == ["patch rough"]
    assert len(sketch.warnings) == 1


def test_bars_after_changes_of_tempo() -> None:
    """3/4 from 0.5 s on. Bar 3 is 6 quarters at 120 later: 3.5 s. There the patch brings 60, a bar of 3 s: bar 5 at
    9.5 s, where 120 comes back with a patch that brings none: bar 6, beat 2.5, 4.5 quarters later, at 11.75 s.
    """
    sketch = of(
        'at_bar = "6:2.5"\nmute = true',  # in no order
        'at_bar = "5"\npatch = "rough"',
        'at_bar = "3:1"\npatch = "slow"',
        'at_s = 5\non = "drive"',
        'at_bar = "1"\npatch = "plain"',
        head='meter = "3/4"\nfirst_beat_s = 0.5\n',
    )
    assert [(round(c.at_s, 9), c.text, c.when) for c in sketch.cues] == [
        (0.5, "patch plain", "bar 1"),
        (3.5, "patch slow", "bar 3"),
        (5.0, "drive on", "5 s"),
        (9.5, "patch rough", "bar 5"),
        (11.75, "mute on", "bar 6:2.5"),
    ]
    assert tempi(sketch) == [(0.0, 120.0), (3.5, 60.0), (9.5, 120.0)]


def test_a_tempo_that_changes_between_two_bars() -> None:
    """60 from bar 2 (2 s) to 4.5 s: 2.5 quarters. The other 1.5 of that bar at 120: bar 3 at 5.25 s."""
    sketch = of('at_bar = "2"\npatch = "slow"', 'at_s = 4.5\npatch = "plain"', 'at_bar = "3"\npatch = "rough"')
    assert [c.at_s for c in sketch.cues] == pytest.approx([2.0, 4.5, 5.25], abs=1e-12)


def test_a_bar_before_the_tempo_changes_is_not_moved_by_it() -> None:
    sketch = of('at_bar = "2"\npatch = "rough"', 'at_s = 2.1\npatch = "slow"', 'at_bar = "2:2"\nmute = true')
    # 0.1 s after bar 2 are 0.2 quarters; the other 0.8 at 60 take 0.8 s
    assert [c.at_s for c in sketch.cues] == pytest.approx([2.0, 2.1, 2.9], abs=1e-12)


def test_a_tempo_before_the_first_beat_counts_no_bars() -> None:
    """60 from 1 s on; bar 1 at 2 s, bar 2 four seconds later."""
    sketch = of('at_s = 1\npatch = "slow"', 'at_bar = "2"\nmute = true', head="first_beat_s = 2\n")
    assert [c.at_s for c in sketch.cues] == [1.0, 6.0]


@pytest.mark.parametrize(
    ("meter", "place", "at_s"),
    # eighths of half a quarter; 7/8: bar 2 after 7 eighths; 2/2: beats of two quarters
    [("6/8", "2:4", 2.25), ("7/8", "2", 1.75), ("2/2", "1:2.5", 1.5), ("1/1", "3", 4.0), ("12/16", "2", 1.5)],
)
def test_bars_of_other_meters(meter: str, place: str, at_s: float) -> None:
    sketch = of(f'at_bar = "{place}"\nmute = true', head=f'meter = "{meter}"\n')
    assert sketch.cues[0].at_s == pytest.approx(at_s, abs=1e-12)


def test_taps_make_the_tempo_until_a_patch_brings_its_own() -> None:
    """Taps 2/3 s apart: 90 from the second on. `slow` brings 60; `plain`, which brings none, has the tapped one."""
    sketch = parse_sketch(
        SET
        + "[[taps]]\nat_s = [1, 1.666666666667, 2.333333333333]\n"
        + cues('at_s = 3\npatch = "slow"', 'at_s = 5\npatch = "plain"')
    )
    found = timeline(sketch)
    assert [at_s for at_s, _ in found][1:] == pytest.approx([5 / 3, 7 / 3, 3.0, 5.0], abs=1e-9)
    assert [s.tempo_bpm for _, s in found] == pytest.approx([120.0, 90.0, 90.0, 60.0, 90.0], abs=1e-6)


def test_taps_move_the_bars_that_follow() -> None:
    """4 quarters at 120 until the second tap at 2 s, then 60: bar 3 is 4 quarters on, at 6 s."""
    sketch = parse_sketch(SET + "[[taps]]\nat_s = [1, 2]\n" + cues('at_bar = "3"\nmute = true'))
    assert sketch.cues[0].at_s == 6.0


def test_a_tap_at_the_time_of_a_patch_comes_before_it() -> None:
    """Tapped 90 at 3 s, where `slow` brings 60; `plain` has what was tapped."""
    text = SET + "[[taps]]\nat_s = [2.3333333333, 3]\n" + cues('at_s = 3\npatch = "slow"', 'at_s = 4\npatch = "plain"')
    assert [s.tempo_bpm for _, s in timeline(parse_sketch(text))] == pytest.approx([120, 60, 90], abs=1e-6)


def test_a_switch_taps() -> None:
    """60 from the second tap on."""
    sketch = of(*(f'at_s = {t}\npress = "tap"' for t in (1, 2, 3)))
    assert tempi(sketch) == [(0.0, 120.0), (2.0, 60.0)]


def test_more_than_three_seconds_later_another_row_of_taps_begins() -> None:
    """60 from 2 s on; the tap at 5.5 s begins anew, and makes 120 with the one at 6 s."""
    sketch = of(*(f'at_s = {t}\npress = "tap"' for t in (1, 2, 5.5, 6)))
    assert tempi(sketch) == [(0.0, 120.0), (2.0, 60.0), (6.0, 120.0)]


def test_taps_of_a_switch_and_taps_of_a_list_make_one_tempo() -> None:
    """Two close taps (500 bpm) say nothing yet; the others make 120."""
    times = (1.0, 1.12, 1.62, 2.12, 2.62)
    by_list = parse_sketch(f"{SET}[[taps]]\nat_s = {list(times)}\n")
    by_switch = of(*(f'at_s = {t}\npress = "tap"' for t in times))
    assert tempi(by_switch) == tempi(by_list)
    assert tempi(by_switch)[-1][1] == 120.0


@pytest.mark.parametrize(
    ("times", "line"),
    [
        ((1.0, 1.05), "cues: taps[0] = 1 s and taps[1] = 1.05 s are 50 ms apart, allowed 100 ... 3000 ms"),
        ((1.0, 1.12), "cues: taps: their tempo = 500 bpm, allowed 20 ... 400 bpm"),
        ((1.0, 1.12, 9.0, 9.5), "cues: taps: their tempo = 500 bpm"),
    ],
)
def test_a_switch_that_is_tapped_too_fast_is_told(times: tuple[float, ...], line: str) -> None:
    with pytest.raises(SketchError) as caught:
        of(*(f'at_s = {t}\npress = "tap"' for t in times))
    assert len(caught.value.faults) == 1
    assert line in caught.value.faults[0]


def test_one_may_tap_through_a_whole_tune() -> None:
    """More than the 256 taps of which one row may be."""
    sketch = of(*(f'at_s = {0.6 * k:.1f}\npress = "tap"' for k in range(258)))
    assert timeline(sketch)[-1][1].tempo_bpm == pytest.approx(100.0, abs=1e-9)


def test_the_oldest_taps_are_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 20 beats at 100 and 20 at 150 the last 16 tell."""
    monkeypatch.setattr(course, "MOST_TAPS", 16)
    times = [0.6 * k for k in range(20)] + [12.0 + 0.4 * k for k in range(20)]
    sketch = of(*(f'at_s = {t:.1f}\npress = "tap"' for t in times))
    assert timeline(sketch)[-1][1].tempo_bpm == pytest.approx(150.0, abs=1e-9)
