"""What stands on the stage sheet: figures worked by hand, and from tables that are not this project's.

Transpositions: written C sounds a major ninth lower on a tenor sax, a major sixth on an alto, two octaves less a minor
third on a baritone, a major second on a trumpet, a fifth on a French horn (any handbook of orchestration). Frequencies:
equal temperament, A4 = 440 Hz. Note values: 60 000 ms / bpm is a quarter.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from chainsim.errors import SettingError
from chainsim.listen.sheets.stage_sheet.rows import patch_notes
from chainsim.listen.sheets.stage_sheet.settings_table import ALWAYS_TOLD, SettingRow
from chainsim.listen.sheets.stage_sheet.sheet import StageSheet, stage_sheet
from chainsim.sketch.loading import load_sketch, parse_sketch


def sheet(text: str, room: str | None = None) -> StageSheet:
    return stage_sheet(parse_sketch(text), room)


def rows(told: StageSheet, block: str, setting: str) -> dict[tuple[str, ...], list[str]]:
    """Texts of the cells by the patches in which they hold."""
    return {r.patches: [c.text for c in r.cells] for r in told.settings if (r.block, r.setting) == (block, setting)}


def cell(told: StageSheet, block: str, setting: str) -> str:
    """The only value that a setting has."""
    found = rows(told, block, setting)
    assert list(found) == [()]
    return found[()][0]


def mark(told: StageSheet, block: str, setting: str) -> str:
    found = [r.cells[0].mark for r in told.settings if (r.block, r.setting) == (block, setting)]
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize(
    ("bpm", "note", "expected"),
    [
        (138, "1/8 dotted", "1/8 dotted = 326 ms at 138"),  # 60 000 / 138 x 3/4 = 326.09
        (96, "1/4 triplet", "1/4 triplet = 417 ms at 96"),  # 60 000 / 96 x 2/3 = 416.67
        (72, "1/1", "1/1 = 3333 ms at 72"),  # 4 x 60 000 / 72
        (200, "1/32", "1/32 = 37.5 ms at 200"),  # 60 000 / 200 / 8
    ],
)
def test_delay_times_in_ms(bpm: float, note: str, expected: str) -> None:
    told = sheet(f'tempo_bpm = {bpm}\nchain = ["delay"]\n[blocks.delay]\nnote = "{note}"')
    assert cell(told, "delay", "time") == expected


def test_a_swung_time_is_the_long_note_of_the_pair() -> None:
    text = 'tempo_bpm = 120\nchain = ["delay"]\n[blocks.delay]\nnote = "1/8 swung"\nswing_percent = 60'
    assert cell(sheet(text), "delay", "time") == "1/8 swung 60 % = 300 ms at 120"  # 60 % of a quarter of 500 ms


def test_a_walking_bass_in_its_key_and_on_its_grid() -> None:
    text = 'tempo_bpm = 112\nkey = "G dorian"\ninstrument = "alto sax"\nchain = ["stroll"]\n[blocks.stroll]\n'
    told = sheet(text + 'type = "wandering_bass"\ninterval = "P15 below"\nevery = "1/8 swung"\nswing_percent = 62')
    assert cell(told, "stroll", "every") == "1/8 swung 62 % = 332 ms at 112"  # 62 % of 60 000 / 112 = 535.7
    assert cell(told, "stroll", "interval") == "P15 below: written C4 gives C2 (sounds Eb3, Eb1)"


def test_bands_voices_and_lfos_are_told_in_a_line_each() -> None:
    text = """
tempo_bpm = 120
chain = ["tone", "choir"]
[blocks.tone]
type = "equalizer"
bands = [{ shape = "high_pass", freq_hz = 110 }, { freq_hz = 2500, gain_db = -2, q = 1.2 }]
[blocks.choir]
type = "following_synth"
voices = [{ pitch = "D2", waveform = "triangle", cents = -4 }, {}]
lfos = [{ note = "1/4", pitch_cents = 10 }, { shape = "square", rate_hz = 5, level_db = 3 }]
"""
    told = sheet(text)
    assert cell(told, "tone", "band 1") == "high pass, 110 Hz (A2)"
    assert cell(told, "tone", "band 2") == "bell, 2500 Hz (Eb7), gain -2 dB, q 1.2"
    assert cell(told, "choir", "voice 1") == "stays on D2, -4 cents, triangle"
    assert cell(told, "choir", "voice 2") == "unison"
    assert cell(told, "choir", "lfo 1") == "sine, 1/4 = 500 ms at 120, pitch 10 cents"
    assert cell(told, "choir", "lfo 2") == "square, rate 5 Hz, level +3 dB"


def test_the_lowest_note_to_shift_is_told_as_read_too() -> None:
    text = 'instrument = "baritone sax"\nchain = ["pitch_shifter"]\n[blocks.pitch_shifter]\nlowest_note = "C3"'
    assert cell(sheet(text), "pitch_shifter", "lowest note") == "C3, written A4"  # a major thirteenth lower


TEMPI = """
tempo_bpm = 138
chain = ["echo", "hall"]
[blocks.echo]
type = "delay"
note = "1/4"
[blocks.hall]
type = "reverb"
[patches.walk]
engage = ["echo"]
[patches.march]
engage = ["echo"]
tempo_bpm = 120
[patches.hush]
engage = ["hall"]
tempo_bpm = 60
"""


def test_every_tempo_at_which_a_delay_is_heard() -> None:
    told = sheet(TEMPI + '[[cues]]\nat_s = 0\npatch = "hush"\n')
    assert cell(told, "echo", "time") == "1/4 = 435 ms at 138, 500 ms at 120"


def test_a_tapped_tempo_counts_once_it_holds() -> None:
    taps = "[[taps]]\nat_s = [10.0, 10.8, 11.5, 12.25, 13.0]\n"  # around 0.75 s: 80 bpm
    told = sheet(TEMPI + '[[cues]]\nat_s = 1\npatch = "walk"\n' + taps)
    assert cell(told, "echo", "time") == "1/4 = 435 ms at 138, 750 ms at 80, 500 ms at 120"


@pytest.mark.parametrize(
    ("horn", "interval", "expected"),
    [
        ("tenor sax", "M10 above", "M10 above: written C4 gives E5 (sounds Bb2, D4)"),
        ("alto sax", "P5 below", "P5 below: written C4 gives F3 (sounds Eb3, Ab2)"),
        ("baritone sax", "m3 above", "m3 above: written C4 gives Eb4 (sounds Eb2, Gb2)"),
        ("trumpet", "A4 above", "A4 above: written C4 gives F#4 (sounds Bb3, E4)"),
        ("french horn", "P8 below", "P8 below: written C4 gives C3 (sounds F3, F2)"),
        ("trombone", "-5 semitones", "-5 semitones: C4 gives G3"),
        ("alto recorder", "M2 above", "M2 above: C5 gives D5"),  # its lowest note is F4
        ("piccolo", "P5 above", "P5 above: written C5 gives G5 (sounds C6, G6)"),  # its lowest note is written D4
        ("tuba", "unison", "unison"),
    ],
)
def test_intervals_as_read_and_as_they_sound(horn: str, interval: str, expected: str) -> None:
    text = f'instrument = "{horn}"\nchain = ["pitch_shifter"]\n[blocks.pitch_shifter]\n'
    assert cell(sheet(text + f'voices = [{{ interval = "{interval}" }}]'), "pitch_shifter", "voice 1") == expected


IN_KEY = """
instrument = "tenor sax"
pitch_names = "written"
key = "F# minor"
chain = ["second"]
[blocks.second]
type = "pitch_shifter"
voices = [{ interval = "third below", level_db = -6, pan = -0.5 }, { pitch = "E3" }]
"""


def test_an_interval_in_the_key_has_an_example_in_each_key() -> None:
    # A third below F# in F# minor is D; from E, as it sounds, C
    told = sheet(IN_KEY)
    expected = "third below: written F#4 gives D4 (sounds E3, C3)"
    assert cell(told, "second", "voice 1") == f"{expected}, level -6 dB, pan -0.5"
    assert cell(told, "second", "voice 2") == "stays on E3, written F#4"
    # written A major sounds G major: A4 gives F#4, G3 gives E3
    both = sheet(IN_KEY + '[patches.a]\n[patches.b]\nkey = "A major"\n[[cues]]\nat_s = 0\npatch = "a"\n')
    text = cell(both, "second", "voice 1")
    assert "in F# minor written F#4 gives D4 (sounds E3, C3); in A major written A4 gives F#4 (sounds G3, E3)" in text


@pytest.mark.parametrize(
    ("horn", "key", "written"),
    [
        ("alto sax", "G minor", "E minor"),  # a major sixth up
        ("trumpet", "Bb major", "C major"),
        ("clarinet", "E major", "F# major"),  # six sharps as six flats: of the kind that E major has
        ("french horn", "Eb major", "Bb major"),
        ("piccolo", "D dorian", "D dorian"),
    ],
)
def test_a_sounding_key_is_told_as_it_is_read(horn: str, key: str, written: str) -> None:
    told = sheet(f'instrument = "{horn}"\nkey = "{key}"\nchain = []').key
    assert told is not None
    assert (told.sounding, told.written) == (key, written)


def test_a_written_key_keeps_its_spelling() -> None:
    told = sheet('instrument = "trumpet"\npitch_names = "written"\nkey = "Gb major"\nchain = []').key
    assert told is not None
    assert told.written == "Gb major"
    assert told.sounding == "E major"  # a tone below; Fb major has eight flats


def test_a_horn_in_c_reads_what_sounds() -> None:
    told = sheet('instrument = "trombone"\nkey = "F major"\nchain = []').key
    assert told is not None
    assert told.written is None


@pytest.mark.parametrize(
    ("freq_hz", "a4_hz", "expected"),
    [
        (440, 440, "440 Hz (A4)"),
        (130.81, 440, "130.81 Hz (C3)"),  # 440 x 2^(-21/12) = 130.8128
        (1046.5, 440, "1046.5 Hz (C6)"),
        (427, 440, "427 Hz (Ab4)"),  # 52 cents under A4
        (427, 430, "427 Hz (A4)"),
    ],
)
def test_frequencies_have_their_nearest_note(freq_hz: float, a4_hz: float, expected: str) -> None:
    text = f'a4_hz = {a4_hz}\nchain = ["envelope_filter"]\n[blocks.envelope_filter]\nsweep_low_hz = {freq_hz}'
    assert cell(sheet(text), "envelope_filter", "sweep low") == expected


def test_silence_is_off_and_defaults_of_the_mains_stand() -> None:
    told = sheet('chain = ["delay", "reverb"]\n[blocks.delay]\ndry_db = "off"\nwet_db = 3')
    assert cell(told, "delay", "dry") == "off"
    assert cell(told, "delay", "wet") == "+3 dB"
    assert cell(told, "reverb", "decay") == "1.8 s"
    assert rows(told, "reverb", "size") == {}


def test_what_is_always_told_exists() -> None:
    from chainsim.block import block_type

    for kind, names in ALWAYS_TOLD.items():
        assert set(names) <= set(block_type(kind).settings_type.specs()), kind


SET = """
title = "Evening at the quay"
chain = ["sweep", "echo", "hall", "spare"]
[blocks.sweep]
type = "envelope_filter"
[blocks.echo]
type = "delay"
time_ms = 400
switching = "free_standing"
engaged = false
[blocks.hall]
type = "reverb"
switching = "always_on"
[blocks.spare]
type = "reverb"
[patches.plain]
engage = []
midi_program = 0
[patches.swept]
engage = ["sweep"]
[patches.swept.blocks.hall]
decay_s = 4
[patches.chorale]
engage = []
chain = [{ lanes = ["dry", { chain = ["echo", "sweep"], level_db = -3, pan = 0.2 }] }, "hall"]
tempo_bpm = 72
key = "G dorian"
a4_hz = 442
trim_db = -1.5
midi_program = 4
midi_bank = 1
[patches.loose]
engage = []
[[banks]]
name = "Quay"
patches = ["plain", "swept"]
[[banks]]
name = "Steps"
patches = ["chorale", "plain"]
[[switches]]
name = "A"
press = "place 1"
hold = "mute"
[[switches]]
name = "B"
press = "place 2"
second_press = "back"
midi_cc = 81
[[switches]]
name = "C"
press = "block echo"
hold = "dry"
lamp = "hold"
[[switches]]
name = "D"
press = "bank up"
[rooms.chapel]
feed = "mono"
[rooms.chapel.blocks.hall]
decay_s = 0.8
[rooms.yard.blocks.hall]
engaged = false
"""


def test_banks_and_patches_at_their_places() -> None:
    told = sheet(SET)
    assert [(b.name, [(p.place, p.name) for p in b.patches]) for b in told.banks] == [
        ("Quay", [(1, "plain"), (2, "swept")]),
        ("Steps", [(1, "chorale"), (2, "plain")]),
    ]
    assert [(p.place, p.name) for p in told.in_no_bank] == [(None, "loose")]
    assert told.chain == "sweep > echo > hall > spare"
    assert told.always_on == ("hall",)
    assert told.free_standing == ("echo (off at first)",)
    swept, chorale = told.banks[0].patches[1], told.banks[1].patches[0]
    assert swept.on == ("sweep",)
    brings = (swept.chain, swept.tempo_bpm, swept.key, swept.a4_hz, swept.trim_db, swept.midi_program)
    assert brings == (None,) * 6
    assert chorale.on == ()
    assert chorale.chain == "(dry | echo > sweep -3 dB pan +0.2) > hall"
    assert (chorale.tempo_bpm, chorale.a4_hz, chorale.midi_bank, chorale.midi_program) == (72, 442, 1, 4)
    assert chorale.key is not None
    assert chorale.key.sounding == "G dorian"
    assert patch_notes(chorale)[-2:] == ["A4 = 442 Hz", "output -1.5 dB"]


def test_what_the_foot_does_for_each_patch() -> None:
    more = '[[switches]]\nname = "E"\npress = "mute"\nsecond_press = "place 1"\nhold = "patch swept"\n'
    told = sheet(SET + more)
    assert [[p.reached_by for p in b.patches] for b in told.banks] == [
        [("A", "E twice"), ("B", "hold E")],
        [("A", "E twice"), ("B",)],
    ]
    assert told.in_no_bank[0].reached_by == ()


def test_what_each_switch_does_and_shows() -> None:
    told = {s.name: s for s in sheet(SET).switches}
    assert (told["A"].press, told["A"].hold, told["A"].lit) == ("place 1", "mute", "place 1")
    assert (told["B"].second_press, told["B"].midi_cc) == ("back", 81)
    assert told["C"].lit == "dry"
    assert told["D"].lit is None  # that a bank was changed is no state to be lit


def test_a_column_a_room_with_what_differs_there() -> None:
    told = sheet(SET)
    assert told.columns == ("as written", "chapel", "yard")
    assert rows(told, "hall", "decay") == {(): ["1.8 s", "0.8 s", ""], ("swept",): ["4 s", "0.8 s", ""]}
    assert rows(told, "hall", "wet") == {(): ["-12 dB", "", ""]}
    assert rows(told, "hall", "") == {(): ["", "", "left out"]}
    assert rows(told, "feed", "") == {(): ["as it comes", "mono", ""]}


def test_one_room_alone() -> None:
    told = sheet(SET, "chapel")
    assert told.room == "chapel"
    assert told.columns == ("chapel",)
    assert cell(told, "hall", "decay") == "0.8 s"
    assert rows(told, "feed", "") == {(): ["mono"]}
    assert rows(sheet(SET, "yard"), "hall", "decay") == {}
    with pytest.raises(SettingError, match='no room "chapl"; did you mean "chapel"'):
        sheet(SET, "chapl")


def test_only_what_is_engaged_somewhere_is_told() -> None:
    told = sheet(SET + '[[cues]]\nat_s = 0\npatch = "plain"\n')
    assert {r.block for r in told.settings} == {"feed", "sweep", "echo", "hall"}
    unswept = SET.replace('engage = ["sweep"]', "engage = []") + '[[cues]]\nat_s = 0\npatch = "plain"\n'
    assert "sweep" not in {r.block for r in sheet(unswept).settings}
    by_switch = unswept.replace('press = "block echo"', 'press = "block sweep"')
    assert "sweep" in {r.block for r in sheet(by_switch).settings}


def test_before_any_patch_the_sketch_as_written_counts() -> None:
    assert "spare" in {r.block for r in sheet(SET).settings}
    later = sheet(SET + '[[cues]]\nat_s = 0.5\npatch = "plain"\n')
    assert "spare" in {r.block for r in later.settings}


def test_a_sketch_without_patches_tells_what_is_out() -> None:
    told = sheet('chain = ["gain", "pan"]\n[blocks.pan]\nengaged = false')
    assert told.off == ("pan",)
    assert {r.block for r in told.settings} == {"gain"}


MARKED = """
chain = ["hall", "echo"]
[blocks.hall]
type = "reverb"
decay_s = {decay}
space = "{space}"
wet_db = {wet}
[blocks.echo]
type = "delay"
time_ms = {time}
[marks.hall.decay_s]
knob = "length"
at = [[0.5, 1], [2, 5], [8, 10]]
[marks.hall.space]
knob = "type"
at = [["plate", "II"], ["hall", "IV"]]
[marks.hall.wet_db]
knob = "mix"
at = [[-30, 0], [-10, 10]]
[marks.echo.time_ms]
knob = "time"
at = [[100, "short"], [300, "mid"], [700, 10]]
"""


@pytest.mark.parametrize(
    ("decay", "expected"),
    [
        (2.0, "length 5"),
        (1.0, "length 3"),  # halfway from 0.5 to 2 by the logarithm
        (4.0, "length 7.5"),
        (0.4, "length past 1"),
        (9.0, "length past 10"),
    ],
)
def test_marks_of_a_setting_that_moves_by_the_logarithm(decay: float, expected: str) -> None:
    assert mark(sheet(MARKED.format(decay=decay, space="hall", wet=-20, time=300)), "hall", "decay") == expected


@pytest.mark.parametrize(
    ("wet", "expected"), [("-20", "mix 5"), ("-13", "mix 8.5"), ('"off"', "mix past 0"), ("-4", "mix past 10")]
)
def test_marks_of_a_level_are_even_in_db(wet: str, expected: str) -> None:
    assert mark(sheet(MARKED.format(decay=2, space="hall", wet=wet, time=300)), "hall", "wet") == expected


@pytest.mark.parametrize(
    ("time", "expected"),
    [
        (100, "time short"),
        (150, "time short, between short and mid"),
        (250, "time mid, between short and mid"),
        (600, "time 10, between mid and 10"),
        (701, "time past 10"),
    ],
)
def test_marks_that_are_words(time: float, expected: str) -> None:
    assert mark(sheet(MARKED.format(decay=2, space="hall", wet=-20, time=time)), "echo", "time") == expected


def test_marks_of_choices_are_exact() -> None:
    assert mark(sheet(MARKED.format(decay=2, space="plate", wet=-20, time=300)), "hall", "space") == "type II"
    assert mark(sheet(MARKED.format(decay=2, space="room", wet=-20, time=300)), "hall", "space") == ""


def test_a_note_value_has_the_mark_of_its_time() -> None:
    text = MARKED.format(decay=2, space="hall", wet=-20, time=300).replace("time_ms = 300", 'note = "1/2"')
    told = sheet("tempo_bpm = 120\n" + text.replace("[700, 10]", '[1500, "long"]'))
    assert mark(told, "echo", "time") == "time long, between mid and long"  # 1000 ms
    assert cell(told, "echo", "time") == "1/2 = 1000 ms at 120"


CONTROLLED = """
tempo_bpm = 90
chain = ["sweep", "hall"]
[blocks.sweep]
type = "envelope_filter"
[blocks.hall]
type = "reverb"
[marks.hall.wet_db]
knob = "mix"
at = [[-30, 0], [-10, 10]]
[controllers.pedal]
type = "control_change"
file = "pedal.mid"
channel = 3
drives = [{ setting = "hall.wet_db", low = "off", high = -10 },
          { setting = "sweep.q", low = 8, high = 1, curve = "log" }]
[controllers.breath]
type = "control_change"
controller = 2
file = "breath.mid"
[controllers.slow]
type = "lfo"
note = "1/1"
[controllers.loud]
type = "envelope"
low_db = -45
high_db = -8
[controllers.swell]
type = "breakpoints"
points = [["1", 0], ["9:2", 1]]
[patches.verse]
[patches.refrain]
[patches.refrain.controllers.pedal]
drives = []
[patches.coda]
[[cues]]
at_s = 0
patch = "verse"
"""


def test_controllers_by_their_trade_names() -> None:
    told = {c.name: c.source for c in sheet(CONTROLLED).controllers}
    assert told == {
        "pedal": "CC 11 expression, channel 3, from pedal.mid",  # MIDI 1.0, table of controllers
        "breath": "CC 2 breath, from breath.mid",
        "slow": "LFO, sine, a turn in 1/1 = 2667 ms at 90",  # 4 x 60 000 / 90
        "loud": "loudness of the horn, -45 dB ... -8 dB",
        "swell": "points in the sketch: bar 1 at 0, bar 9:2 at 1",
    }


COURSES = {
    "at_bar,position\n1,0\n3:1,0.8\n5:2,0.2\n": "bar 1 at 0, bar 3 at 0.8, bar 5:2 at 0.2",
    "at_s,position\n0,0\n4.5,1\n": "0 s at 0, 4.5 s at 1",
    "at_bar,position\n" + "".join(f"{k},0.{k}\n" for k in range(1, 6)): (
        "bar 1 at 0.1, bar 2 at 0.2, bar 3 at 0.3, bar 4 at 0.4, bar 5 at 0.5"
    ),
    "at_bar,position\n" + "".join(f"{k},0.{k}\n" for k in range(1, 10)): (
        "bar 1 at 0.1, bar 2 at 0.2, bar 3 at 0.3 ... bar 9 at 0.9"
    ),
}


@pytest.mark.parametrize(("file", "expected"), COURSES.items())
def test_the_course_of_breakpoints_in_a_file(tmp_path: Path, file: str, expected: str) -> None:
    sketch = tmp_path / "set.toml"
    sketch.write_text('chain = []\n[controllers.pedal]\ntype = "breakpoints"\nfile = "pedal.csv"\n', encoding="utf-8")
    assert stage_sheet(load_sketch(sketch)).controllers[0].source == "points in pedal.csv"  # not drawn yet
    (tmp_path / "pedal.csv").write_text(file, encoding="utf-8")
    assert stage_sheet(load_sketch(sketch)).controllers[0].source == f"points in pedal.csv: {expected}"


def test_what_a_controller_moves_patch_by_patch() -> None:
    told = sheet(CONTROLLED)
    usual, other = told.controllers[0].work
    assert usual.patches == ()
    wet, q = usual.moves
    assert (wet.setting, wet.low.text, wet.high.text, wet.curve) == ("hall wet", "off", "-10 dB", "linear")
    assert (wet.low.mark, wet.high.mark) == ("mix past 0", "mix 10")
    assert (q.setting, q.low.text, q.high.text, q.curve) == ("sweep q", "8", "1", "log")
    assert (other.patches, other.moves) == (("refrain",), ())
    assert rows(told, "sweep", "q") == {(): ["8 ... 1, by pedal"], ("refrain",): ["4"]}


CUES = """
[[cues]]
at_s = 0
patch = "plain"
[[cues]]
at_s = 4
press = "B"
[[cues]]
at_s = 4.2
patch = "plain"
[[cues]]
at_s = 9
patch = "loose"
[[cues]]
at_s = 12
patch = "chorale"
[[cues]]
at_s = 12
mute = true
"""


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


IN_BARS = """
tempo_bpm = 120
meter = "3/4"
first_beat_s = 1
chain = ["gain"]
[patches.slow]
tempo_bpm = 60
[[cues]]
at_s = 0.5
mute = true
[[cues]]
at_s = 1.74
mute = false
[[cues]]
at_bar = "3:1"
patch = "slow"
[[cues]]
at_s = 6
mute = true
[[taps]]
at_s = [7.0, 7.5, 8.0, 8.5]
[[cues]]
at_s = 10
mute = false
"""


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


@pytest.mark.parametrize("path", sorted(Path("presets").glob("*.toml")), ids=lambda p: p.stem)
def test_every_preset_has_a_sheet(path: Path) -> None:
    told = stage_sheet(load_sketch(path))
    settings: list[SettingRow] = list(told.settings)
    assert settings
    assert all(len(r.cells) == len(told.columns) for r in settings)
    assert all(any(c.text for c in r.cells) for r in settings)
