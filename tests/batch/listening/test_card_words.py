"""What a card says of its version: what its chain does beside the first one's, how far it is, and its figures."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from chainsim.batch.listening.chain_words import chain_beside
from chainsim.batch.listening.figures import differs, figures_of, told_of_first
from chainsim.batch.listening.made import MadeVersion
from chainsim.batch.sounds.sound_figures import SoundFigures
from chainsim.measure.sound_distance.places import Apart
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch

SET = """
key = "C major"
chain = ["level", "echo", "hall"]
[blocks.level]
type = "gain"
[blocks.echo]
type = "delay"
[blocks.hall]
type = "reverb"
[blocks.twin]
type = "delay"
[blocks.voices]
type = "following_synth"
voices = [{ waveform = "saw" }]
[blocks.third]
type = "delay"
[blocks.lilt]
type = "tremolo"
[blocks.choir]
type = "pitch_shifter"
voices = [{ interval = "M3 above" }, { interval = "P5 above" }]
[patches.plain]
[patches.louder]
blocks.level.gain_db = 6
[patches.voiced]
chain = ["level", "voices", "hall"]
blocks.level.gain_db = 6
[patches.slow]
blocks.echo.time_ms = 700
blocks.level.gain_db = 6
[patches.other]
chain = ["level", "twin", "hall"]
[patches.turned]
chain = ["level", "hall", "echo"]
[patches.twice]
chain = ["level", "echo", "twin", "hall"]
[patches.sung]
chain = ["level", "echo", "hall", "choir"]
[patches.thrice]
chain = ["level", "echo", "twin", { lanes = [["third"], []] }, "hall"]
blocks.twin.time_ms = 100
[patches.dry]
blocks.hall.engaged = false
[patches.swapped]
chain = ["level", "hall", "echo"]
blocks.level.gain_db = 6
[patches.later]
chain = ["level", "hall", "echo"]
blocks.echo.time_ms = 700
[patches.abreast]
chain = ["level", { lanes = [["echo"], ["hall"]] }]
[patches.beside]
chain = ["level", { lanes = ["dry", ["echo", "hall"]] }]
[patches.one_lane]
chain = ["level", { lanes = [["echo", "hall"]] }]
[patches.quick]
tempo_bpm = 140
[patches.quick_eighths]
tempo_bpm = 140
blocks.echo.note = "1/8"
[patches.swaying]
chain = ["level", "echo", "hall", "lilt"]
tempo_bpm = 140
[patches.swaying_on_the_beat]
chain = ["level", "echo", "hall", "lilt"]
tempo_bpm = 140
blocks.lilt.note = "1/4"
"""
MOVED = """
chain = ["level"]
[blocks.level]
type = "gain"
[controllers.swell]
type = "lfo"
{rate}
drives = [{{ setting = "level.gain_db", low = -6, high = 0 }}]
[patches.slow]
[patches.quick]
tempo_bpm = 140
"""
FORKS = """
chain = [{ lanes = [{ chain = ["near"], level_db = -6 }, ["far"]] }]
[blocks.near]
type = "delay"
[blocks.far]
type = "reverb"
[patches.plain]
[patches.turned]
chain = [{ lanes = [["far"], { chain = ["near"], level_db = -6 }] }]
[patches.louder]
chain = [{ lanes = [["near"], ["far"]] }]
[patches.to_the_left]
chain = [{ lanes = [{ chain = ["near"], level_db = -6, pan = -1 }, ["far"]] }]
[patches.aligned]
chain = [{ lanes = [{ chain = ["near"], level_db = -6 }, ["far"]], align = true }]
[patches.in_series]
chain = ["near", "far"]
"""
LANES = """
chain = [{ lanes = [["near"], ["far"]] }]
[blocks.near]
type = "gain"
[blocks.far]
type = "gain"
latency_ms = 20
"""


def far(steps: float) -> Apart:
    """Also while it is played."""
    return Apart(steps, steps, "")


def version(sketch: Sketch, rests_dbfs: float = -80.0) -> MadeVersion:
    figures = SoundFigures(48_000.0, 1, 48_000, 0.0, -20.0, -3.0, rests_dbfs, None, 0.5, 1_000.0)
    return MadeVersion("a version", Path("none.wav"), figures, sketch=sketch)


@pytest.mark.parametrize(
    ("patch", "said"),
    [
        ("plain", ""),
        ("louder", "otherwise set: gain"),
        ("voiced", "adds 1 synth voice; without delay"),
        ("slow", "otherwise set: delay"),
        ("other", ""),
        ("turned", "another order"),
        ("twice", "adds delay"),
        ("sung", "adds 2 shifted voices (M3 above, P5 above)"),
        ("thrice", "adds delay (2)"),
        ("dry", "without reverb"),
        ("swapped", "another order"),
        ("later", "another order; otherwise set: delay"),
        ("abreast", "side by side"),
        ("beside", "with the dry horn beside"),
        ("one_lane", "lanes otherwise set"),
        ("quick", ""),
        ("quick_eighths", "otherwise set: delay; 140 bpm"),
        ("swaying", "adds tremolo"),
        ("swaying_on_the_beat", "adds tremolo; 140 bpm"),
    ],
)
def test_a_chain_is_told_by_what_it_adds_and_lacks(patch: str, said: str) -> None:
    """Gains are told of where nothing else is; a delay of another name that is set alike is the same delay."""
    whole = parse_sketch(SET)
    assert chain_beside(whole.alone(patch), whole.alone("plain")) == said


@pytest.mark.parametrize(
    ("patch", "said"),
    [
        ("turned", ""),
        ("louder", "lanes otherwise set"),
        ("to_the_left", "lanes otherwise set"),
        ("aligned", "lanes otherwise set"),
        ("in_series", "in series"),
    ],
)
def test_forks_are_told_by_their_lanes(patch: str, said: str) -> None:
    """Lanes are summed: which is written first is not heard."""
    whole = parse_sketch(FORKS)
    assert chain_beside(whole.alone(patch), whole.alone("plain")) == said


@pytest.mark.parametrize(("rate", "said"), [("rate_hz = 2", ""), ('note = "1/4"', "140 bpm")])
def test_a_tempo_is_told_where_a_controller_follows_it(rate: str, said: str) -> None:
    whole = parse_sketch(MOVED.format(rate=rate))
    assert chain_beside(whole.alone("quick"), whole.alone("slow")) == said


def test_of_a_first_one_with_cues_its_beginning_counts() -> None:
    whole = parse_sketch(f'{SET}[[cues]]\nat_s = 0\npatch = "voiced"\n[[cues]]\nat_s = 1\npatch = "plain"\n')
    assert chain_beside(whole.alone("voiced"), whole) == "version 1 begins like this"
    assert chain_beside(whole.alone("plain"), whole) == "adds delay; without 1 synth voice"
    assert chain_beside(whole, whole.alone("plain")) == "changes by its cues"
    both = [version(whole), version(whole.alone("plain"))]
    assert told_of_first(both).startswith("changes by its cues; ")
    assert told_of_first(both[1:]) == told_of_first(both[:1]) == ""


def test_how_far_it_is_stands_last() -> None:
    whole = parse_sketch(SET)
    plain, voiced = (version(whole.alone(name)) for name in ("plain", "voiced"))
    assert differs(voiced, plain, far(18.4)) == "adds 1 synth voice; without delay; 18.4 steps from the first"
    assert differs(plain, plain, far(0.2)) == "hardly told apart from it"
    assert differs(plain, version(whole, -60.0), far(0.2)) == "rests 20 dB quieter; otherwise hardly told apart from it"
    where = Apart(4.1, 0.0, "before the first note")
    assert differs(plain, plain, where) == "4.1 steps from the first, only before the first note"


def test_the_list_and_the_table_say_the_same_steps() -> None:
    plain = version(parse_sketch(SET).alone("plain"))
    for steps in (1.0, 1.24, 1.25, 2.96):
        told = {figure.label: figure.text for figure in figures_of(plain, far(steps))}["beside the first"]
        assert differs(plain, plain, far(steps)) == f"{told} from the first"


def test_latency_by_both_ways_and_rests_that_are_silent() -> None:
    """One lane comes 20 ms late, and nothing aligns them; under -120 dBFS nothing is heard."""
    figures = {figure.label: figure.text for figure in figures_of(version(parse_sketch(LANES), -286.0), None)}
    assert figures["latency"] == "0.0 to 20.0 ms"
    assert figures["level in the rests"] == "silent"
    for floor_dbfs, said in ((-math.inf, "silent"), (-119.0, "-119 dBFS")):
        own = figures_of(version(parse_sketch("chain = []"), floor_dbfs), None)
        assert {figure.label: figure.text for figure in own}["level in the rests"] == said
