"""Sketches of which stage sheets are made, and what is read off these."""

from __future__ import annotations

from chainsim.listen.sheets.stage_sheet.sheet import StageSheet, stage_sheet
from chainsim.sketch.loading import parse_sketch


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


IN_KEY = """
instrument = "tenor sax"
pitch_names = "written"
key = "F# minor"
chain = ["second"]
[blocks.second]
type = "pitch_shifter"
voices = [{ interval = "third below", level_db = -6, pan = -0.5 }, { pitch = "E3" }]
"""


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
