"""Values on the stage sheet, worked by hand.

Frequencies: equal temperament, A4 = 440 Hz. Note values: 60 000 ms / bpm is a quarter.
"""

from __future__ import annotations

import pytest

from chainsim.listen.sheets.stage_sheet.settings_table import ALWAYS_TOLD
from tests.listen.sheets.stage_sheet.sketches import cell, rows, sheet


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
