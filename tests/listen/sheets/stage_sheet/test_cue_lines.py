"""Cues on the stage sheet: when, by which presses, and what is too fast, worked by hand."""

from __future__ import annotations

from tests.listen.sheets.stage_sheet.sketches import CUES, IN_BARS, SET, sheet


def test_cues_with_their_presses_and_what_is_too_fast() -> None:
    told = sheet(SET + CUES).cues
    assert [(c.when, c.what) for c in told] == [
        ("0 s", "plain"), ("4 s", "press B"), ("4.2 s", "plain"), ("9 s", "loose"), ("12 s", "chorale"),
        ("12 s", "mute on"),
    ]  # fmt: skip
    assert told[1].gestures == ("B",)
    # from B to A the foot takes 0.45 s; and A, which also has a hold, acts when it is let go, 0.12 s later
    assert told[2].gestures == ("A",)
    assert told[2].caution == "TOO FAST: 0.2 s, this foot needs 0.57 s"
    assert told[3].caution == "no switch leads there"
    assert told[4].gestures == ("with the next",)
    assert told[5].gestures[0] == "D ahead"  # a bank is opened in silence
    assert set(told[5].gestures[1:]) == {"hold A", "A"}


def test_cues_without_switches_stand_alone() -> None:
    told = sheet('chain = ["gain"]\n[patches.loud]\n[[cues]]\nat_bar = "3:2"\npatch = "loud"\n').cues
    assert [(c.when, c.what, c.gestures, c.caution) for c in told] == [("bar 3:2", "loud", (), "")]


def test_cues_in_seconds_among_bars() -> None:
    told = sheet(IN_BARS).cues
    assert [(c.when, c.in_take) for c in told] == [
        ("0.5 s", ""),  # before the first beat
        ("bar 1:2.5", "1.74 s"),  # 0.74 s at 120 are 1.48 beats
        ("bar 3", "4.00 s"),  # six beats of half a second after the first
        ("bar 3:3", "6.00 s"),  # two beats of a second
        ("bar 5:3.5", "10.00 s"),  # 1.5 beats more until the second tap, then five of half a second: 6 + 3.5 + 5
    ]


def test_seconds_stay_where_no_bars_are_counted() -> None:
    told = sheet(SET + CUES).cues
    assert {c.in_take for c in told} == {""}
    assert told[2].when == "4.2 s"
