"""Sets: patches, banks, switches, cues, taps, rooms, drives; what is wrong with one is told in lines of its own."""

from __future__ import annotations

import math

import pytest

from chainsim.errors import SketchError
from chainsim.sketch.loading import parse_sketch
from chainsim.stage.actions import Action
from chainsim.stage.board import Bank, Switch
from chainsim.stage.cues import Cue
from chainsim.stage.drives import Drive
from chainsim.stage.foot import Foot
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)

SET = """
chain = ["tone", { blender = "mix", wet = ["side"] }, "echo", "hall"]
[blocks.tone]
type = "gain"
[blocks.mix]
type = "blender"
[blocks.side]
type = "test_gate"
[blocks.echo]
type = "test_echo"
switching = "free_standing"
[blocks.hall]
type = "test_hall"
switching = "always_on"
[controllers.pedal]
type = "breakpoints"
points = [[0, 0], [1, 1]]
[patches.chorale]
engage = ["tone"]
midi_program = 3
[patches.march]
tempo_bpm = 112
key = "Bb major"
a4_hz = 442
midi_program = 3
midi_bank = 129
[[banks]]
name = "Quay"
patches = ["chorale", "march"]
[[switches]]
name = "A"
press = "place 1"
hold = "mute"
midi_cc = 80
[[switches]]
press = "tap"
"""


def faults_of(text: str) -> list[str]:
    with pytest.raises(SketchError) as caught:
        parse_sketch(text, name="evening.toml")
    assert all(f.startswith("evening.toml: ") and f.isprintable() for f in caught.value.faults), caught.value.faults
    return [f.removeprefix("evening.toml: ") for f in caught.value.faults]


def test_a_set_is_read_as_written() -> None:
    sketch = parse_sketch(SET + "[foot]\nhold_ms = 700\n[[taps]]\nat_s = [4, 4.5]\n[[taps]]\nat_s = [1, 2]")
    assert sketch.warnings == ()
    assert sketch.banks == (Bank("Quay", ("chorale", "march")),)
    # a switch without a name is called by its number
    assert sketch.switches == (
        Switch("A", Action("place", place=1), None, Action("mute"), "press", 80),
        Switch("2", Action("tap")),
    )
    assert sketch.foot == Foot(hold_ms=700.0)
    assert sketch.taps == ((1.0, 2.0), (4.0, 4.5))
    chorale, march = sketch.patches["chorale"], sketch.patches["march"]
    assert chorale.state.engaged == {"tone", "echo", "hall"}  # echo stands free, hall is always on
    assert march.state.engaged == {"tone", "mix", "side", "echo", "hall"}
    assert (chorale.sets_tempo, chorale.midi_program, chorale.midi_bank) == (False, 3, 0)
    assert (march.sets_tempo, march.midi_program, march.midi_bank) == (True, 3, 129)
    assert (march.state.tempo_bpm, march.state.key, march.state.a4_hz) == (112.0, "Bb major", 442.0)


def cue(text: str) -> str:
    return f"{SET}[[cues]]\n{text}\n"


def switch(text: str) -> str:
    return f"{SET}[[switches]]\n{text}\n"


def drive(text: str) -> str:
    return SET.replace("points = [[0, 0], [1, 1]]", f"points = [[0, 0], [1, 1]]\ndrives = [{{ {text} }}]")


BEYOND = "1" + "0" * 400
"""A whole number that no float holds."""

CUES = [
    ('at_s = -1\npatch = "march"', "cues[0].at_s = -1 s, allowed 0 ... 86400 s"),
    ('at_s = nan\npatch = "march"', "cues[0].at_s = nan s, allowed 0 ... 86400 s"),
    ('at_s = inf\npatch = "march"', "cues[0].at_s = inf s, allowed 0 ... 86400 s"),
    (f'at_s = {BEYOND}\npatch = "march"', "cues[0].at_s = 1000"),
    ('at_s = "1"\npatch = "march"', "cues[0].at_s = '1', allowed 0 ... 86400 s, a number without quotes"),
    ('patch = "march"', "cues[0]: does not say when, allowed one of at_s, at_bar"),
    ('at_s = 1\nat_bar = "2"\npatch = "march"', "cues[0]: says at_s and at_bar, allowed one of at_s, at_bar"),
    ("at_s = 1", "cues[0]: does not say what happens, allowed one of patch, press, hold, on, off, mute, dry"),
    ('at_s = 1\nmute = true\non = "tone"', "cues[0]: says on and mute, allowed one of patch,"),
    ('at_s = 1\npatch = "marsh"', 'cues[0].patch: no patch "marsh"; did you mean "march"?'),
    ('at_s = 1\npatch = ""', 'cues[0].patch: no patch ""'),
    ('at_s = 1\npatch = 3', "cues[0].patch = 3, allowed words in quotes"),
    ('at_s = 1\npatch = "two\\nlines\\u001b[2J"', 'cues[0].patch: no patch "two\\nlines\\x1b[2J"'),
    ('at_s = 1\npress = "B"', 'cues[0].press: no switch "B"'),
    ('at_s = 1\npress = "a"', 'cues[0].press: no switch "a"'),
    ('at_s = 1\nhold = "2"', 'cues[0].hold: the switch "2" does nothing when it is held'),
    ('at_s = 1\non = "ecko"', 'cues[0].on: no block "ecko"; did you mean "echo"?'),
    ('at_s = 1\noff = "hall"', 'cues[0].off: "hall" is always on, so no cue switches it'),
    ('at_s = 1\nmute = "yes"', "cues[0].mute = 'yes', allowed true or false"),
    ('at_s = 1\nduck = true', 'cues[0].duck: no setting "duck"'),
    ('at_bar = 17\npatch = "march"', "cues[0].at_bar = 17, allowed words in quotes"),
    ('at_bar = "0"\npatch = "march"', 'cues[0].at_bar: no place "0", allowed "BAR:BEAT" such as "17:2.5"'),
    ('at_bar = "2:5"\npatch = "march"', 'cues[0].at_bar: no place "2:5" in 4/4, allowed beats from 1 up to, not inc'),
    ('at_bar = "-2"\npatch = "march"', 'cues[0].at_bar: no place "-2"'),
]  # fmt: skip

FAULTS = [(cue(text), line) for text, line in CUES] + [
    (SET + "[cues]\nat_s = 1", "cues: allowed a list of tables: [[cues]]"),
    ("cues = [3]\n" + SET, "cues: allowed a list of tables: [[cues]]"),
    # switches
    (switch('name = "A"\npress = "dry"'), 'switches[2].name: two switches claim one press of "A"'),
    (switch('name = "2"\npress = "dry"'), 'switches[2].name: two switches claim one press of "2"'),
    (switch('press = "dry"\nmidi_cc = 80'), 'switches[2].midi_cc: "3" and "A" both claim controller 80'),
    (switch('press = "dry"\nmidi_cc = 120'), "switches[2].midi_cc = 120, allowed 1 ... 119"),
    (switch(f'press = "dry"\nmidi_cc = {BEYOND}'), "switches[2].midi_cc = 1000"),
    (switch('name = "X"'), "switches[2].press: missing"),
    (switch('press = ""'), 'switches[2].press: no action "", allowed "patch NAME", "place N"'),
    (switch('press = "pach march"'), 'switches[2].press: no action "pach march"'),
    (switch('press = "patch"'), 'switches[2].press: "patch": which patch? Allowed "patch NAME"'),
    (switch('press = "mute now"'), 'switches[2].press: "mute now": "mute" stands alone'),
    (switch('press = "place two"'), 'switches[2].press: "place two": allowed "place N"'),
    (switch('press = "place 3"'), "switches[2].press: place 3, the longest bank has 2"),
    (switch('press = "patch marsh"'), 'switches[2].press: no patch "marsh"; did you mean "march"?'),
    (switch('press = "dry"\nhold = "bank Key"'), 'switches[2].hold: no bank "Key"'),
    (switch('press = "dry"\nsecond_press = "block ecko"'), 'switches[2].second_press: no block "ecko"'),
    (switch('press = "block hall"'), 'switches[2].press: "hall" is always on, so no switch engages it'),
    (switch('press = "tap"\nsecond_press = "dry"'), 'second_press: never comes: what "tap" does is over at once'),
    (switch('press = "dry"\nlamp = "on"'), 'switches[2].lamp = "on", allowed press | hold | none'),
    (switch('press = 1'), "switches[2].press = 1, allowed words in quotes"),
    ('chain = []\n[[switches]]\npress = "bank up"', "switches[0].press: there are no banks: [[banks]]"),
    # banks and foot
    (SET + '[[banks]]\npatches = ["marsh"]', 'banks[1].patches: no patch "marsh"; did you mean "march"?'),
    (SET + "[[banks]]\npatches = []", "banks[1].patches: empty, allowed at least one patch"),
    (SET + '[[banks]]\nname = "Quay"\npatches = ["march"]', 'banks[1].name: there are two banks "Quay"'),
    (SET + '[[banks]]\nname = "up"\npatches = ["march"]', 'banks[1].name: "bank up" goes to the next bank or back'),
    (SET + "[[banks]]", "banks[1].patches: missing"),
    (SET + "[foot]\nhold_ms = nan", "foot.hold_ms = nan ms, allowed 50 ... 5000 ms"),
    (SET + "[foot]\nspeed = 1", 'foot.speed: no setting "speed"'),
    ("foot = 3\n" + SET, "foot: allowed a table: [foot]"),
    # taps
    (SET + "[[taps]]\nat_s = [1, 1.05]", "taps[0] = 1 s and taps[1] = 1.05 s are 50 ms apart, allowed 100 ... 3000 ms"),
    (SET + "[[taps]]\nat_s = [1, 4.5]", "taps[0] = 1 s and taps[1] = 4.5 s are 3500 ms apart, allowed 100 ... 3000 ms"),
    (SET + "[[taps]]\nat_s = [2, 1.5]", "are -500 ms apart, allowed 100 ... 3000 ms, in order"),
    (SET + "[[taps]]\nat_s = [1]", "taps[0].at_s: taps: 1 of them, allowed 2 ... 256"),
    (SET + "[[taps]]\nat_s = [1, nan]", "taps[0].at_s: taps: allowed finite times in seconds"),
    (SET + f"[[taps]]\nat_s = [1, {BEYOND}]", "taps[0].at_s[1] = 1000"),
    (SET + "[[taps]]\nat_s = [-1, 0]", "taps[0].at_s: allowed times of 0 ... 86400 s"),
    (SET + "[[taps]]\nat_s = [1, 1.12]", "their tempo = 500 bpm, allowed 20 ... 400 bpm"),
    (SET + "[[taps]]", "taps[0].at_s: missing"),
    # patches
    (SET + '[patches.x.blocks.flute]\ngain_db = 1', 'patches.x.blocks.flute: no block "flute"'),
    (SET + '[patches.x]\nchain = ["hall"]\n[patches.x.blocks.tone]\ngain_db = 1',
     'patches.x.blocks.tone: "tone" is not in the chain; what is changed here would do nothing'),
    (SET + '[patches.x]\nchain = ["tone"]', 'patches.x.chain: "hall" is always on, but not in this chain'),
    (SET + '[patches.x]\nengage = ["echo"]', '"echo" is free-standing: its own switch engages it, whatever the patch'),
    (SET + '[patches.x]\nengage = "tone"', "patches.x.engage: allowed a list of names of blocks in the chain"),
    (SET + "[patches.x.blocks.hall]\nengaged = false", "a block that is always on is not engaged by patches"),
    (SET + '[patches.x.blocks.tone]\nswitching = "always_on"',
     "patches.x.blocks.tone.switching: cannot be changed here; say it where the block is declared"),
    (SET + "[patches.x]\ntempo_bpm = nan", "patches.x.tempo_bpm = nan bpm, allowed 20 ... 400 bpm"),
    (SET + "[patches.x]\nmidi_program = 3", 'patches.x.midi_program: program 3 of bank 0 calls the patch "chorale"'),
    (SET + "[patches.x]\nmidi_program = 128", "patches.x.midi_program = 128, allowed 0 ... 127"),
    (SET + f"[patches.x]\nmidi_program = 5\nmidi_bank = {BEYOND}", "patches.x.midi_bank = 1000"),
    (SET + '[patches.x]\nkey = "H minor"', "patches.x.key"),
    # rooms
    (SET + "[rooms.chapel.blocks.tone]\ngain_db = 99", "rooms.chapel.blocks.tone.gain_db = 99 dB, allowed -96 ... 48"),
    (SET + "[rooms.chapel.blocks.flute]\ngain_db = 1", 'rooms.chapel.blocks.flute: no block "flute"'),
    (SET + "[rooms.chapel.blocks.tone]\nengaged = true", "rooms.chapel.blocks.tone.engaged: a room can leave a block"),
    (SET + '[rooms.chapel.blocks.tone]\ntype = "pan"', "rooms.chapel.blocks.tone.type: cannot be changed here"),
    (SET + '[rooms.chapel.blocks.side]\nlistens_to = "flute"',
     'rooms.chapel.blocks.side.listens_to: "flute" is not in the chain'),
    (SET + "[rooms.chapel]\ntempo_bpm = 90", 'rooms.chapel.tempo_bpm: no setting "tempo_bpm"'),
    (SET + "[rooms]\nchapel = 3", "rooms: allowed are tables only: [rooms.NAME]"),
    # drives
    (drive('setting = "hall.decay"'), 'controllers.pedal.drives[0].setting: "decay" is fixed and cannot be driven; mo'),
    (drive('setting = "hall.color"'), '"color" is not a setting; movable here: wet_db'),
    (drive('setting = "hal.wet_db"'), 'controllers.pedal.drives[0].setting: no block "hal"; did you mean "hall"?'),
    (drive('setting = "tone.gain_db", low = nan'), 'controllers.pedal.drives[0].low = nan, allowed -96 ... 48 dB or "'),
    (drive('setting = "tone.gain_db", high = inf'), "controllers.pedal.drives[0].high = inf, allowed"),
    (drive(f'setting = "tone.gain_db", high = {BEYOND}'), "controllers.pedal.drives[0].high = 1000"),
    (drive('setting = "echo.time_ms", low = "off"'), "controllers.pedal.drives[0].low = 'off', allowed 1 ... 100 ms"),
    (drive('setting = "tone.gain_db", curve = "exp"'), "controllers.pedal.drives[0].curve = 'exp', allowed linear, lo"),
    (drive('setting = "tone.gain_db", lo = 1'), 'controllers.pedal.drives[0]: no entry "lo"; did you mean "low"?'),
    (drive('setting = "tone.gain_db" }, { setting = "tone.gain_db"'),
     'controllers.pedal: tone.gain_db is already driven by "pedal"'),
    (SET + '[patches.x.controllers.pedl]\ndrives = []', 'patches.x.controllers.pedl: no controller "pedl"; did you m'),
    (SET + '[patches.x.controllers.pedal]\npoints = []', "patches.x.controllers.pedal: a patch says what a controller"),
    # marks
    (SET + '[marks.hall.wet_db]\nknob = "send"\nat = [[nan, 1]]', "marks.hall.wet_db.at: allowed pairs of a value"),
    (SET + '[marks.hall.wet_db]\nknob = "send"\nat = [[-6, true]]', "marks.hall.wet_db.at: allowed pairs of a value"),
    (SET + f'[marks.hall.wet_db]\nknob = "send"\nat = [[{BEYOND}, 1]]', "marks.hall.wet_db.at: allowed pairs of a val"),
    # the head
    (f"format = {BEYOND}\n{SET}", "format = 1000"),
    ("tempo_bpm = 1" + "0" * 5000 + SET, "not valid TOML"),
    ('meter = "0/4"\n' + SET, 'meter: no meter "0/4", allowed 1 to 32 beats over'),
    ("first_beat_s = -1\n" + SET, "first_beat_s = -1 s, allowed 0 ... 3600 s"),
    ('cue_file = "cues.txt"\n' + SET, 'cue_file = "cues.txt", allowed .csv, .toml, .mid, .midi'),
    ("cue_channel = 17\n" + SET, "cue_channel = 17, allowed 0 ... 16"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line"), FAULTS, ids=range(len(FAULTS)))
def test_a_fault_of_a_set_is_one_line(text: str, line: str) -> None:
    (found,) = faults_of(text)
    assert line in found
    assert len(found) < 300


def test_all_faults_of_a_set_are_told_together() -> None:
    text = cue('at_s = -1\npatch = "march"') + cue('at_s = 1\npatch = "marsh"').removeprefix(SET)
    text += '[[switches]]\nname = "A"\npress = "patch marsh"\n[[taps]]\nat_s = [1]\n[[banks]]\npatches = ["m"]\n'
    text += '[rooms.chapel.blocks.tone]\ngain_db = 99\n[patches.x]\nengage = ["flute"]\n[foot]\nhold_ms = 1\n'
    assert [f.split(":")[0].split(" ")[0] for f in faults_of(text)] == [
        "patches.x.engage",
        "rooms.chapel.blocks.tone.gain_db",
        "banks[1].patches",
        "switches[2].name",
        "switches[2].press",
        "foot.hold_ms",
        "taps[0].at_s",
        "cues[0].at_s",
        "cues[1].patch",
    ]


def test_a_fault_that_a_room_inherits_is_told_once() -> None:
    """A room applies to the chain and to each of two patches: three states, one fault."""
    assert len(faults_of(SET + "[rooms.chapel.blocks.tone]\ngain_db = 99")) == 1
    assert len(faults_of(SET + '[rooms.chapel.blocks.side]\nlistens_to = "flute"')) == 1


def test_odd_names_are_names() -> None:
    text = (
        'chain = ["gain"]\n[patches.""]\n[patches."bank up"]\n[patches."Ä/ö: 3\'4"]\n'
        '[[banks]]\npatches = ["", "bank up", "Ä/ö: 3\'4"]\n'
        '[[switches]]\nname = "press"\npress = "patch bank up"\n[[switches]]\npress = "  PATCH   Ä/ö: 3\'4 "\n'
        '[[cues]]\nat_s = 1\npatch = ""\n[[cues]]\nat_s = 2\npress = "press"\n[[cues]]\nat_s = 3\npress = "2"\n'
    )
    sketch = parse_sketch(text)
    positions = [sketch.board.start()]
    for due in sketch.cues:
        positions.append(sketch.board.apply(positions[-1], due))
    assert [p.patch for p in positions] == [None, "", "bank up", "Ä/ö: 3'4"]


def test_ends_of_a_drive_may_be_the_wrong_way_round_or_silence() -> None:
    text = drive('setting = "tone.gain_db", low = 3, high = "off", curve = "s"')
    controller, found = parse_sketch(text).base.drives["tone", "gain_db"]
    assert (controller, found) == ("pedal", Drive("tone", "gain_db", 3.0, -math.inf, "s"))


WARNINGS = [
    (
        cue('at_s = 2\npatch = "march"') + '[[cues]]\nat_s = 2\npatch = "chorale"\n',
        "cues: patch march and patch chorale, both at 2 s: the last one counts",
    ),
    (
        cue('at_bar = "3"\nmute = true') + "[[cues]]\nat_s = 4\nmute = false\n",  # 8 beats at 120
        "cues: mute on and mute off, both at 4 s: the last one counts",
    ),
    (
        cue('at_s = 1\npatch = "bare"') + '[[cues]]\nat_s = 2\non = "tone"\n[patches.bare]\nchain = ["hall"]\n',
        'cues: tone on at 2 s does nothing, since "tone" is not in the chain of bare',
    ),
    (
        drive('setting = "hall.wet_db"') + "[rooms.yard.blocks.hall]\nwet_db = -9",
        'rooms.yard.blocks.hall.wet_db: does nothing, since the controller "pedal" drives it',
    ),
    (
        SET + '[patches.chorale.controllers.pedal]\ndrives = [{ setting = "hall.wet_db" }]\n'
        "[rooms.yard.blocks.hall]\nwet_db = -9",
        'rooms.yard.blocks.hall.wet_db: does nothing in chorale, since the controller "pedal" drives it',
    ),
    (
        SET + '[controllers.breath]\ntype = "envelope"\nlistens_to = "tone"\ndrives = [{ setting = "hall.wet_db" }]\n'
        '[patches.bare]\nchain = ["hall"]',
        'patches.bare: the controller "breath" hears nothing, since "tone" is not in the chain',
    ),
    (
        SET + "[patches.chorale.blocks.tone]\ngain_db = -3\n[rooms.yard.blocks.tone]\ngain_db = -9",
        "rooms.yard.blocks.tone.gain_db: the same in every patch there, though they differ",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line"), WARNINGS, ids=range(len(WARNINGS)))
def test_what_is_no_fault_but_worth_knowing(text: str, line: str) -> None:
    assert parse_sketch(text).warnings == (line,)


QUIET = [
    # a free-standing block is kept for the next patch that has it
    cue('at_s = 1\npatch = "bare"') + '[[cues]]\nat_s = 2\noff = "echo"\n[patches.bare]\nchain = ["hall"]\n',
    # what is due at one time and can all be done
    cue('at_s = 1\npatch = "march"') + '[[cues]]\nat_s = 1\non = "side"\n[[cues]]\nat_s = 1\nmute = true\n',
    # a block that only a patch's own chain names
    'chain = []\n[patches.wet]\nchain = ["reverb"]\n[[cues]]\nat_s = 0\npatch = "wet"\n'
    '[[cues]]\nat_s = 1\noff = "reverb"\n[[switches]]\npress = "block reverb"',
]


@pytest.mark.parametrize("text", QUIET, ids=range(len(QUIET)))
def test_what_is_not_worth_a_word(text: str) -> None:
    assert parse_sketch(text).warnings == ()


def test_of_contradicting_cues_the_last_takes_its_own_turn() -> None:
    """The second patch comes after the block was switched, and so ends that."""
    text = cue('at_s = 1\npatch = "march"') + '[[cues]]\nat_s = 1\noff = "side"\n[[cues]]\nat_s = 1\npatch = "march"\n'
    sketch = parse_sketch(text)
    assert sketch.cues == (Cue(1.0, "block", "side", on=False), Cue(1.0, "patch", "march"))
