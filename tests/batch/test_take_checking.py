"""What a sketch and its gates do to a take, where the answer follows from how both were made."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.audio.reading import TakeArray
from chainsim.batch import take_checking
from chainsim.batch.take_checking import TakeReport, check_take
from chainsim.sketch.loading import parse_sketch
from tests.cli.running import notes

RATE_HZ = 16_000


def checked(text: str, x: np.ndarray) -> TakeReport:
    return check_take(parse_sketch(text), TakeArray(x, RATE_HZ))


def gate_after(gain_db: float, more: str = "") -> str:
    return f"""
chain = ["lift", "gate"]
[blocks.lift]
type = "gain"
gain_db = {gain_db}
latency_ms = 40
[blocks.gate]
type = "noise_gate"
threshold_db = -40
{more}
"""


def test_the_threshold_is_suggested_for_the_place_where_the_detector_listens() -> None:
    # Noise at -50 dBFS rms: its peaks, not the 60 dB under the notes, decide. A gain moves all of it alike.
    x = notes(RATE_HZ, noise=10 ** (-50 / 20))
    plain, lifted = (checked(gate_after(g), x).gates[0].suggested_threshold_db for g in (0.0, 12.0))
    assert lifted - plain == pytest.approx(12.0, abs=0.01)
    before = [checked(gate_after(g, 'listens_to = "input"'), x).gates[0] for g in (0.0, 12.0)]
    assert before[0].hears == "input"
    assert before[0].suggested_threshold_db == before[1].suggested_threshold_db


def test_latency_before_a_gate_is_not_counted_as_a_cut() -> None:
    gating = checked(gate_after(0.0), notes(RATE_HZ)).gates[0].gating
    assert (gating.openings, gating.swallowed_s) == (4, ())
    # 40 ms of latency lie before the gate; the notes rise in 10 ms and the gate's attack is 2 ms
    assert gating.cut_notes == 0 or gating.worst_cut_ms < 10.0


def test_a_slow_attack_cuts_beginnings() -> None:
    # Two equal one-poles that reach 1 - 1/e after 60 ms have a time constant of 60 / 2.146 = 27.96 ms; half of the
    # way, 0.5012 = -6 dB, is reached after 1.680 of these: 47.0 ms after the gate opens, some ms after the note begins.
    gating = checked(gate_after(0.0, "attack_ms = 60\nfloor_db = -96"), notes(RATE_HZ)).gates[0].gating
    assert gating.cut_notes == 4
    assert gating.median_cut_ms == pytest.approx(47.0, abs=6.0)


def test_noise_over_the_threshold_holds_the_gate_open() -> None:
    gating = checked(gate_after(0.0), notes(RATE_HZ, noise=0.02)).gates[0].gating
    assert gating.rests_open > 0.95
    assert gating.closes_per_note == 0.0


def test_a_gate_that_only_a_patch_engages_is_played_there() -> None:
    text = gate_after(0.0, "engaged = false") + '[patches.solo]\nengage = ["gate"]\n'
    (gate,) = checked(text, notes(RATE_HZ)).gates
    assert (gate.name, gate.state) == ("gate", "solo")
    assert checked(gate_after(0.0, "engaged = false"), notes(RATE_HZ)).gates == ()


def test_the_level_that_comes_out() -> None:
    played = checked('chain = ["gain"]\n[blocks.gain]\ngain_db = 9', notes(RATE_HZ)).played
    assert played.louder_by_lu == pytest.approx(9.0, abs=0.02)
    # 0.4 x 10^(9/20) = 1.127: +1.04 dBFS
    report = checked('chain = ["gain"]\n[blocks.gain]\ngain_db = 9', notes(RATE_HZ))
    assert report.played.true_peak_dbtp == pytest.approx(1.04, abs=0.05)
    assert any("over full scale" in line for line in report.cautions)
    assert any("ears" in line for line in report.cautions)
    assert checked("chain = []", notes(RATE_HZ)).cautions == ()


def test_the_fold_loses_the_difference() -> None:
    random = np.random.default_rng(3)
    apart = 0.1 * random.standard_normal((4 * RATE_HZ, 2))
    # left and right without relation: half of the energy lies in the difference, 3.01 dB
    fold = checked('feed = "mono"\nchain = []', apart).played.fold
    assert fold is not None
    assert fold.lost_share == pytest.approx(0.5, abs=0.01)
    assert fold.quieter_db == pytest.approx(3.01, abs=0.1)
    opposite = np.stack([apart[:, 0], -apart[:, 0]], axis=1)
    fold = checked('feed = "mono"\nchain = []', opposite).played.fold
    assert fold is not None
    assert (fold.lost_share, fold.quieter_db) == (1.0, math.inf)
    assert checked('feed = "mono"\nchain = []', apart[:, :1]).played.fold is None
    assert checked("chain = []", apart).played.fold is None


def test_only_the_beginning_of_a_long_take_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(take_checking, "LONGEST_ANALYSED_S", 2.0)
    report = checked("chain = []", notes(RATE_HZ))
    assert report.analysed_s == 2.0
    assert report.fitness.notes == 2
    assert report.warnings == ("only the first 2 s of 4 s are looked at",)
    monkeypatch.setattr(take_checking, "MOST_ANALYSED_SAMPLES", RATE_HZ)
    assert checked("chain = []", notes(RATE_HZ, channels=2)).analysed_s == 0.5
