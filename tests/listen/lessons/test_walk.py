"""The walk through any sketch: words for every type, the wires of every preset, and what is told of changes."""

from __future__ import annotations

import math
import re
from contextlib import suppress
from dataclasses import replace
from typing import Literal, get_args, get_origin
from xml.etree import ElementTree

import numpy as np
import pytest
from pydantic import ValidationError
from pydantic.fields import FieldInfo

from chainsim.block import block_type, block_type_names
from chainsim.errors import SketchError
from chainsim.listen.drawing.layout import lay_out
from chainsim.listen.lessons.block_words.all_words import WORDS, words_for
from chainsim.listen.lessons.block_words.second_questions import SECOND_QUESTIONS
from chainsim.listen.lessons.changes import apart, changes
from chainsim.listen.lessons.course import StepDraft
from chainsim.listen.lessons.excerpt import Excerpt, Heard, excerpt
from chainsim.listen.lessons.page import lesson_page
from chainsim.listen.lessons.sides import place
from chainsim.listen.lessons.walk import block_places, walk_steps, walk_through, wires_of
from chainsim.resources import preset_paths
from chainsim.sketch.loading import load_sketch, parse_sketch

RATE_HZ = 16_000
OFF = -math.inf
CHAIN = """
title = "<b>low</b> & slow"
chain = ["quiet", { lanes = ["dry", { chain = ["echo", "left"], level_db = -3 }] }, "off_now", "guard"]
[blocks.quiet]
type = "gain"
gain_db = -6
[blocks.echo]
type = "delay"
time_ms = 200
dry_db = "off"
[blocks.left]
type = "pan"
pan = -0.5
[blocks.off_now]
type = "gain"
engaged = false
[blocks.guard]
type = "limiter"
look_ahead_ms = 5
"""


def take() -> Excerpt:
    """Two notes of half a second with half a second of hiss around each."""
    rng = np.random.default_rng(7)
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    sounding = ((t % 1.0) >= 0.5) * np.minimum(1.0, ((t % 1.0) - 0.5) * 50.0).clip(0.0)
    tone = sum(np.sin(2.0 * np.pi * 220.0 * k * t) / k for k in range(1, 6))
    return excerpt(0.15 * sounding * tone + 3e-4 * rng.standard_normal(t.size), RATE_HZ, "two notes")


def steps_of(text: str) -> list[StepDraft]:
    sketch = parse_sketch(text)
    return walk_steps(sketch, wires_of(sketch, take()), take())


def test_every_registered_type_has_words() -> None:
    assert set(WORDS) == set(block_type_names())
    assert len(WORDS) > 20


@pytest.mark.parametrize("type_name", block_type_names())
def test_words_are_two_sentences_a_thing_to_hear_a_question_and_an_answer(type_name: str) -> None:
    words = WORDS[type_name](block_type(type_name).settings_type())
    assert words.does.count(". ") + words.does.count(": ") >= 1
    assert words.does.endswith(".")
    assert words.question.endswith("?")
    assert words.listen_for
    assert words.answer
    assert "{" not in "".join((words.does, words.listen_for, words.question, words.answer))
    assert "-inf" not in words.does
    assert "None" not in words.does


@pytest.mark.parametrize(
    ("type_name", "settings", "told"),
    [
        ("gain", {"gain_db": -6.0}, "it makes it 6 dB quieter"),
        ("noise_gate", {"threshold_db": -44.0}, "passes \N{MINUS SIGN}44 dBFS"),
        ("delay", {"time_ms": 123.0, "dry_db": float("-inf")}, "after 123 ms"),
        ("delay", {"note": "1/8 dotted"}, "after a 1/8 dotted note"),
        ("reverb", {"space": "plate", "decay_s": 1.2}, "a hanging metal plate, falling by 60 dB in 1.2 s"),
        ("equalizer", {"bands": [{"shape": "high_pass", "freq_hz": 90.0}]}, "cuts what lies below 90 Hz"),
        ("pitch_shifter", {"voices": [{"interval": "P5 above"}]}, "along with you, P5 above"),
        ("pan", {"pan": -0.25}, "25 % to the left"),
        ("compressor", {"ratio": 5.0}, "1 dB more for every 5 dB more"),
        ("limiter", {"look_ahead_ms": 3.0}, "looks 3 ms ahead"),
        ("gain", {"gain_db": 0.0}, "leaves the level as it is"),
        ("drive", {"wet_db": 9.0}, "comes out of it about 9 dB louder"),
        ("compressor", {"make_up_db": 12.0}, "Then it is made 12 dB louder"),
        ("delay", {"wet_db": OFF}, "the echoes are turned off"),
        ("noise_gate", {"floor_db": OFF}, "Shut, it lets nothing through"),
        ("frequency_divider", {"octave_down_db": OFF, "two_octaves_down_db": -6.0, "dry_db": OFF},
         "makes a square two octaves down out of every fourth one, at \N{MINUS SIGN}6 dB. Nothing of what came in"),
        ("flanger", {"flip_wet": True}, "Where it is whole waves late it takes away"),
        ("following_synth", {"voices": [{"pitch": "E3"}]}, "always on E3, whatever you play"),
        ("pitch_shifter", {"voices": [{"interval": "tenth below"}, {"pitch": "E2"}]},
         "along with you, tenth below; always on E2"),
        ("wandering_bass", {"interval": "P15 below"}, "seen from your note: P15 below"),
    ],
)  # fmt: skip
def test_values_stand_in_the_words(type_name: str, settings: dict[str, object], told: str) -> None:
    made = block_type(type_name).settings_type.model_validate(settings)
    assert told in WORDS[type_name](made).does


def test_a_ring_modulator_that_follows_does_not_ask_about_a_sine_that_stands_still() -> None:
    words = WORDS["ring_modulator"](block_type("ring_modulator").settings_type(follows="pitch"))
    assert "stay in tune" in words.listen_for
    assert "goes along" in words.question


TRAPS = re.compile(
    r"\boff of\b|\bat off\b|\bhas off\b|\bby off\b|off, at|\bby 0\b|  |None|\binf\b|nan|\{|"
    r"\b(?:echoes|others) is\b|\b1 (?:\w+ )?(?:notches|bands|players|times|notes)\b|\bat \w+ (?:above|below)\b"
)


def values_of(field: FieldInfo) -> list[object]:
    """Every choice of a setting, and where a level can be off or nothing, that."""
    if get_origin(field.annotation) is Literal:
        return list(get_args(field.annotation))
    if field.annotation is bool:
        return [True, False]
    if field.annotation is int:
        return [1, 2]
    return [OFF, 0.0, 1.0] if field.annotation is float else []


@pytest.mark.parametrize("type_name", block_type_names())
def test_words_are_grammatical_for_every_choice_and_for_what_is_off(type_name: str) -> None:
    settings = block_type(type_name).settings_type
    tried = 0
    for name, field in settings.model_fields.items():
        for value in values_of(field):
            with suppress(ValidationError):
                words = WORDS[type_name](settings.model_validate({name: value}))
                tried += 1
                for text in (words.does, words.listen_for, words.question, words.answer):
                    assert TRAPS.search(text) is None, (name, value, text)
    assert tried


HOLDS_OF_ANY_CHAIN = re.compile(
    r"(You|It opens|It is never late|The sine stands still|The path around is off\.|Blend it|"
    r"Two \w+ (stand in a chain|play))"
)
"""How a sentence may begin that leads to a question: what the player does, how the block itself is set, and, at the
second block of a type, that there are two."""


@pytest.mark.parametrize("type_name", block_type_names())
def test_a_question_takes_nothing_for_granted_that_may_not_be_in_the_chain(type_name: str) -> None:
    """A walk told players without a compressor that one stands before their filter."""
    settings = block_type(type_name).settings_type
    asked = {WORDS[type_name](settings()).question, SECOND_QUESTIONS.get(type_name, ("",))[0]}
    for name, field in settings.model_fields.items():
        for value in values_of(field):
            with suppress(ValidationError):
                asked.add(WORDS[type_name](settings.model_validate({name: value})).question)
    for question in asked:
        for said in re.findall(r"[^.?]+\.", question):
            assert HOLDS_OF_ANY_CHAIN.match(said.strip()), question
    assert "another lane" not in WORDS[type_name](settings()).does


@pytest.mark.parametrize("name", preset_paths())
def test_every_block_of_every_preset_has_words_and_wires(name: str) -> None:
    sketch = load_sketch(preset_paths()[name])
    for patch in (None, *sketch.patches):
        state = sketch.alone(patch).base
        wires = set(lay_out(state).wire_names)
        places = list(block_places(state.chain, state))
        assert {block for block, _ in places} == set(state.engaged)
        for block, before in places:
            assert {block, before} <= wires, (patch, block)
            assert words_for(state.blocks[block]).does


def test_what_follows_forks_in_forks_hears_the_sum_that_drawings_number() -> None:
    text = """chain = [{ blender = "mix", wet = [{ lanes = ["dry", ["a"]] }] },
        { lanes = ["dry", ["b", { lanes = ["dry", ["c"]] }, "d"]] }, "e"]"""
    blocks = "".join(f'\n[blocks.{name}]\ntype = "gain"' for name in "abcde")
    for engaged, first in (("true", ("a", "input")), ("false", ("b", "input"))):
        state = parse_sketch(f'{text}{blocks}\n[blocks.mix]\ntype = "blender"\nengaged = {engaged}').base
        places = list(block_places(state.chain, state))
        assert (places[0], dict(places)["d"], dict(places)["e"]) == (first, "sum 2", "sum 3")
        assert lay_out(state).wire_names[-2:] == ("sum 3", "e")


def test_a_walk_goes_through_engaged_blocks_in_order_each_after_what_it_hears() -> None:
    steps = steps_of(CHAIN)
    told = [(step.heading, *(heard.name for heard in step.heard)) for step in steps]
    assert told == [
        ("quiet: gain", "the horn alone", "after quiet"),
        ("echo: delay", "after quiet", "after echo"),
        ("left: pan", "after echo", "after left"),
        ("guard: limiter", "after sum 1", "after guard"),
        ("The whole chain", "the horn alone", "after guard"),
    ]
    quieter = steps[0].claims[0]
    assert quieter.text.startswith("It is 6.0 LU quieter behind it: ")
    assert steps[0].answer.endswith(f"Measured here: i{quieter.text[1:]}")
    latency = [claim.text for claim in steps[3].claims if "later" in claim.text]
    assert latency == ["It comes 5.0 ms later."]  # look_ahead_ms, to the sample at 16 kHz
    assert "rests are louder" in " ".join(claim.text for claim in steps[1].claims)


def test_what_is_late_is_heard_in_time() -> None:
    before, after = steps_of(CHAIN)[3].heard
    difference = np.abs(before.audio - after.audio)[: round(2.4 * RATE_HZ)]
    assert np.max(difference) < 1e-3 * np.max(np.abs(after.audio))


def test_what_stands_in_a_blender_that_is_out_of_the_chain_has_no_step() -> None:
    state = parse_sketch("""
chain = [{ blender = "mix", wet = ["inside"] }, "guard"]
[blocks.mix]
type = "blender"
engaged = false
[blocks.inside]
type = "gain"
[blocks.guard]
type = "limiter"
""").base
    assert list(block_places(state.chain, state)) == [("guard", "input")]


def test_a_chain_with_nothing_in_it_is_refused() -> None:
    with pytest.raises(SketchError, match="no block is engaged"):
        wires_of(parse_sketch('chain = ["a"]\n[blocks.a]\ntype = "gain"\nengaged = false'), take())


def test_the_lesson_draws_the_whole_with_its_sounds_on_the_wires() -> None:
    lesson = walk_through(parse_sketch(CHAIN), take())
    keys = {sound.key for sound in lesson.sounds}
    assert lesson.title == "<b>low</b> & slow"
    assert len(keys) == len(lesson.sounds) == 7  # the horn, four blocks, the lane behind its level, the sum
    assert {sound.channels for sound in lesson.sounds} == {2}
    assert lesson.drawing is not None
    assert all(f'data-sound="{key}"' in lesson.drawing for key in keys)
    assert "<b>" not in lesson.drawing
    mimes = {sound.name: sound.mime for sound in lesson.sounds}
    assert mimes.pop("the horn alone") == mimes.pop("after guard") == "audio/flac"
    assert set(mimes.values()) == {"audio/mpeg"}


BLEND = """
chain = [{ blender = "mix", wet = [{ lanes = ["dry", { chain = ["later"], level_db = -3, pan = 1 }], align = true }] }]
[blocks.mix]
type = "blender"
wet_db = -6
[blocks.later]
type = "gain"
latency_ms = 20
"""


def test_every_wire_plays_and_what_sounds_alike_is_there_once() -> None:
    lesson = walk_through(parse_sketch(BLEND), take())
    drawn = ElementTree.fromstring(lesson.drawing or "").iter()
    keys = {e.get("data-wire"): e.get("data-sound") for e in drawn if e.get("data-wire")}
    assert set(keys) == {
        "input", "mix dry", "later", "lane 1.2 before pan", "lane 1.2", "lane 1.1 aligned", "lane 1.2 aligned",
        "sum 1", "mix wet", "mix",
    }  # fmt: skip
    # In time with the take, what waited is what it was; and a level of 0 dB changes nothing.
    assert keys["mix dry"] == keys["lane 1.1 aligned"] == keys["input"]
    assert keys["lane 1.2 aligned"] == keys["lane 1.2"]
    names = {sound.key: sound.name for sound in lesson.sounds}
    assert set(keys.values()) == set(names)
    assert (names[keys["mix wet"] or ""], names[keys["sum 1"] or ""]) == ("mix wet", "after sum 1")


def test_the_whole_chain_is_heard_where_it_leads_out() -> None:
    # Around a blender that is out of the chain; what is drawn below it leads nowhere.
    chain = GAINS.replace("]", ', { blender = "mix", wet = ["echo"] }]', 1)
    out = '[blocks.echo]\ntype = "delay"\n[blocks.mix]\ntype = "blender"\nengaged = false\n'
    lesson = walk_through(parse_sketch(f"{chain}\n{out}"), take())
    names = {sound.key: sound.name for sound in lesson.sounds}
    assert [names[key] for key in lesson.steps[-1].sounds] == ["the horn alone", "after hush"]
    assert {s.name for s in lesson.sounds if s.mime == "audio/flac"} >= {"the horn alone", "after hush"}


GAINS = """chain = ["a", "b", "c", "hush"]
[blocks.a]
type = "gain"
gain_db = 3
[blocks.b]
type = "gain"
[blocks.c]
type = "gain"
gain_db = 2
[blocks.hush]
type = "noise_gate"
threshold_db = -60
"""


def test_no_question_is_asked_twice_and_figures_answer_only_what_is_asked() -> None:
    steps = steps_of(GAINS)
    first, second, third, gate, end = (step.question for step in steps)
    assert third == steps[2].answer == ""
    assert len({first, second, gate, end}) == 4
    assert ["Measured here: it is 3.0 LU louder" in step.answer for step in steps] == [True, *4 * [False]]
    assert all("Measured here" not in step.answer for step in steps[1:])
    assert "b changes least while you play, by 0.0 steps" in steps[-1].answer  # a gain of 0 dB
    page = lesson_page(walk_through(parse_sketch(GAINS), take()))
    assert page.count('<div class="question card">') == 4
    assert "loudness as from two loudspeakers" in page


HUSHED = """chain = ["hush", "tilt"]
[blocks.hush]
type = "noise_gate"
threshold_db = -40
[blocks.tilt]
type = "equalizer"
bands = [{ shape = "high_shelf", freq_hz = 1000, gain_db = 2 }]
"""


def test_what_changes_the_rests_alone_is_told_so_and_is_what_an_ear_would_leave_out() -> None:
    """A gate that shuts before hiss of -60 dBFS, beside 2 dB of tone: by the whole distance the gate does more."""
    noisy = replace(take(), audio=take().audio + 1e-3 * np.random.default_rng(3).standard_normal(take().audio.size))
    sketch = parse_sketch(HUSHED)
    wires = wires_of(sketch, noisy)
    gate, tone = apart(noisy, wires["input"], wires["hush"]), apart(noisy, wires["hush"], wires["tilt"])
    assert gate.playing < 1.0 < tone.playing <= tone.total < gate.total
    assert (gate.only, tone.only) == ("in the rests", "")
    answer = walk_steps(sketch, wires, noisy)[-1].answer
    assert f"hush changes least while you play, by {gate.playing:.1f} steps" in answer
    assert f"; in the rests by {gate.total:.1f} steps" in answer
    hushed = noisy.dry.audio * (np.arange(noisy.frames) > 0.3 * RATE_HZ)[:, np.newaxis]
    claim = changes(noisy, noisy.dry, noisy.heard("hushed", hushed))[0]
    assert claim.text.endswith(" steps, of which 1 is just audible. You hear that only before the first note.")


def test_second_questions_are_for_blocks_that_there_are() -> None:
    assert set(SECOND_QUESTIONS) <= set(block_type_names())
    for question, answer in SECOND_QUESTIONS.values():
        assert question.endswith("?")
        assert answer.endswith(".")


def test_a_pan_that_a_controller_moves_is_told_to_move() -> None:
    step = steps_of("""chain = ["wing"]
[blocks.wing]
type = "pan"
[controllers.tide]
type = "lfo"
rate_hz = 0.4
shape = "square"
drives = [{ setting = "wing.pan", low = -0.5, high = 0.5 }]
""")[0]
    assert step.does.endswith("Its pan does not stay so: tide moves it between \N{MINUS SIGN}0.5 and 0.5.")
    moves = "It moves between the sides: from x louder on the left to x louder on the right."
    assert moves in [re.sub(r"[0-9.]+ dB", "x", claim.text) for claim in step.claims]


# --- what is told of changes ------------------------------------------------------------------------------------------


def told(after: Heard, before: Heard | None = None) -> list[str]:
    return [claim.text for claim in changes(take(), before or take().dry, after)]


def test_nothing_changed_is_said_to_be_so() -> None:
    assert told(take().dry) == ["On this take it changes nothing at all."]
    faint = take().dry.raised(0.3, "a little louder")
    assert told(faint) == ["None of its figures changes by more than the ear just notices."]


def test_a_gain_is_told_as_loudness_peaks_and_rests() -> None:
    texts = told(take().dry.raised(6.0, "louder"))
    assert [text.partition(":")[0].partition(",")[0] for text in texts] == [
        "It is 6.0 LU louder behind it",
        "Its peaks come up by 6.0 dB",
        "The rests are louder",
    ]


def stereo(left: float, right: float) -> Heard:
    return take().heard("stereo", take().dry.audio * (left, right))


def test_places_are_told_as_levels_of_the_sides() -> None:
    # 10 ** (3 / 20) and its inverse: 6 dB between the sides.
    assert "It stands elsewhere: 6.0 dB louder on the left; before it, as loud on both sides." in told(
        stereo(1.4125, 0.7079), stereo(1.0, 1.0)
    )
    assert any("elsewhere: on the right alone" in text for text in told(stereo(0.0, 1.4)))


def test_width_is_told_by_what_the_sides_have_in_common() -> None:
    rng = np.random.default_rng(3)
    same, left, right = (0.1 * rng.standard_normal((2 * RATE_HZ, 1)) for _ in range(3))
    half = take().heard("half", np.hstack([same + left, same + right]))  # a correlation of 1/2
    place_of = place(half)
    assert place_of.common == pytest.approx(0.5, abs=0.02)
    assert any(re.match(r"It is wider: left and right have (49|5[01]) % in common, 100 %", text) for text in told(half))
    assert any(text.startswith("It is narrower") for text in told(take().dry, half))


def test_a_change_that_no_figure_tells_is_told_in_steps() -> None:
    # A swell of nearly a quarter, four times a second: peaks come up by 1.9 dB, and nothing else by as much as 1 dB.
    dry = take().dry.audio
    swells = 1.0 + 0.24 * np.sin(2.0 * np.pi * 4.0 * np.arange(len(dry)) / RATE_HZ)
    (sentence,) = told(take().heard("swells", dry * swells[:, None]))
    assert re.fullmatch(r"No single figure tells it, but all in all the sound changes by \d+\.\d steps, .*", sentence)


def test_what_rings_between_notes_is_told_against_the_whole() -> None:
    # A single echo after 0.4 s at a tenth: over before the rests end at 0.5 s, 20 dB under the notes.
    echo = take().dry.audio.copy()
    echo[: 2 * RATE_HZ] += 0.1 * np.roll(take().dry.audio, round(0.38 * RATE_HZ), axis=0)[: 2 * RATE_HZ]
    assert any(text.startswith("More rings between the notes") for text in told(take().heard("echo", echo)))


def test_silence_is_told_as_silence() -> None:
    silent = take().heard("nothing", np.zeros((10, 1)))
    assert told(silent) == ["On this take nothing comes out of it."]
    assert told(take().dry, silent) == ["Before it there is silence."]
