"""MIDI files byte by byte, and as other readers of MIDI files understand them."""

from __future__ import annotations

import io
import itertools
from pathlib import Path

import mido
import numpy as np
import pretty_midi
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chainsim.errors import SettingError
from chainsim.notes.model import Note, NoteEvents
from chainsim.notes.smf_writing import SmfLayout, bend_value, smf_bytes
from chainsim.notes.tempo_map import tempo_map


def one_note(pitch: float = 69.0, midi: int = 69) -> NoteEvents:
    """Half a second at a steady pitch."""
    return NoteEvents((Note(0.5, 1.0, midi, 90),), np.array([[0.5, pitch]]), np.array([[0.5, 64.0]]))


def read_back(content: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(content))


def test_header_and_tempo_are_as_the_standard_writes_them() -> None:
    content = smf_bytes(one_note(), SmfLayout(tempi=((0.0, 89.0),)))
    # RP-001: "MThd", length 6, format 1, two tracks, 960 ticks a quarter.
    assert content[:14] == bytes.fromhex("4D546864 00000006 0001 0002 03C0")
    assert content[14:18] == b"MTrk"
    # 60 000 000 / 89 = 674157.3 microseconds: 0A 49 6D; then the end of the track.
    assert content[22:][:11] == bytes.fromhex("00 FF5103 0A496D 00 FF2F00")
    assert content.endswith(bytes.fromhex("FF2F00"))
    assert b"\xff\x58" not in content  # no time signature is made up


@pytest.mark.parametrize(
    ("bpm", "data"), [(120.0, "07A120"), (89.0, "0A496D"), (60.0, "0F4240")]
)  # 500000, 674157 and 1000000 microseconds
def test_tempo_bytes(bpm: float, data: str) -> None:
    assert bytes.fromhex(f"FF5103{data}") in smf_bytes(one_note(), SmfLayout(tempi=((0.0, bpm),)))


def test_bend_range_is_registered_parameter_0_then_null() -> None:
    # MIDI 1.0: RPN MSB 0, LSB 0, data entry 12 semitones 0 cents, null 127 127;
    # in running status, so the status byte stands once.
    wanted = "00 B06500 00 6400 00 060C 00 2600 00 657F 00 647F"
    assert bytes.fromhex(wanted) in smf_bytes(one_note())


def test_bend_range_may_have_cents() -> None:
    assert bytes.fromhex("00 0602 00 2632") in smf_bytes(one_note(), SmfLayout(bend_range_semitones=2.5))


@pytest.mark.parametrize(
    ("cents", "range_semitones", "value"),
    [
        (0.0, 2.0, 8192),
        (50.0, 2.0, 10240),
        (49.0, 2.0, 10199),
        (-49.0, 2.0, 6185),
        (200.0, 2.0, 16383),  # one step short of the range: the centre is not in the middle
        (-200.0, 2.0, 0),
        (100.0, 12.0, 8875),  # 8192 + 8192 / 12 = 8874.7
    ],
)
def test_bend_values(cents: float, range_semitones: float, value: int) -> None:
    assert bend_value(cents / 100.0, range_semitones) == value


def test_bend_stands_before_its_note_and_level_too() -> None:
    # 0.5 s at 120 bpm and 960 ticks a quarter are 960 ticks: 87 40 as a variable-length quantity.
    # Bend 10240 is LSB 00, MSB 50; breath 64 is 40; A4 is 45 with velocity 90, 5A.
    content = smf_bytes(one_note(69.5), SmfLayout(bend_range_semitones=2.0))
    assert bytes.fromhex("8740 E00050 00 B00240 00 90455A 8740 804540 00 B00200 00 FF2F00") in content


def test_written_pitch_is_transposed_and_the_bend_stays() -> None:
    events = one_note(69.25)
    sounding, written = (
        [m.bytes() for m in read_back(smf_bytes(events, SmfLayout(transpose_semitones=t))).tracks[1] if not m.is_meta]
        for t in (0, 14)
    )
    assert [m for m in sounding if m[0] == 0xE0] == [m for m in written if m[0] == 0xE0]
    assert [m[1] for m in sounding if m[0] == 0x90] == [69]
    assert [m[1] for m in written if m[0] == 0x90] == [83]


def test_pretty_midi_reads_the_same_notes_through_tempo_changes(tmp_path: Path) -> None:
    notes = tuple(Note(0.3 * k + 0.1, 0.3 * k + 0.33, 60 + k, 40 + k) for k in range(20))
    path = tmp_path / "part.mid"
    path.write_bytes(smf_bytes(NoteEvents(notes), SmfLayout(tempi=((0.0, 138.0), (2.0, 71.5), (4.5, 300.0)))))
    read = pretty_midi.PrettyMIDI(str(path)).instruments[0].notes
    assert [(n.pitch, n.velocity) for n in read] == [(n.midi, n.velocity) for n in notes]
    # Half a tick at the slowest tempo is 0.44 ms.
    for got, wanted in zip(read, notes, strict=True):
        assert got.start == pytest.approx(wanted.begin_s, abs=5e-4)
        assert got.end == pytest.approx(wanted.end_s, abs=5e-4)


@given(
    st.lists(
        st.tuples(st.floats(0.0, 0.4), st.floats(0.0, 0.4), st.integers(0, 127), st.integers(1, 127)), max_size=30
    ),
    st.lists(st.tuples(st.floats(0.0, 10.0), st.floats(-2.0, 130.0)), max_size=60),
)
def test_no_note_hangs_and_nothing_is_said_twice(
    steps: list[tuple[float, float, int, int]], points: list[tuple[float, float]]
) -> None:
    notes, now = [], 0.0
    for rest, length, midi, velocity in steps:
        notes.append(Note(now + rest, now + rest + length, midi, velocity))
        now += rest + length
    pitch = np.array(sorted(points)).reshape(-1, 2)
    breath = np.stack([pitch[:, 0], np.clip(np.floor(pitch[:, 1]), 0, 127)], axis=1)
    track = read_back(smf_bytes(NoteEvents(tuple(notes), pitch, breath))).tracks[1]
    sounding, begun, bend, level = None, 0, 0, 0
    for message in track:
        assert message.time >= 0
        if message.type == "note_on":
            assert sounding is None
            assert message.velocity > 0
            sounding, begun = message.note, begun + 1
        elif message.type == "note_off":
            assert message.note == sounding
            sounding = None
        elif message.type == "pitchwheel":
            assert message.pitch != bend
            bend = message.pitch
        elif message.type == "control_change" and message.control == 2:
            assert message.value != level
            level = message.value
    assert sounding is None
    assert begun == len(notes)


@pytest.mark.parametrize(
    ("layout", "message"),
    [
        (SmfLayout(bend_range_semitones=0.0), "bend range = 0 semitones, allowed 0.01 ... 96"),
        (SmfLayout(bend_range_semitones=2.005), "bend range = 2.005 semitones, allowed 0.01 ... 96 in whole cents"),
        (SmfLayout(bend_range_semitones=97.0), "bend range = 97 semitones, allowed 0.01 ... 96"),
        (
            SmfLayout(transpose_semitones=60),
            "the note A4 at 0.50 s would be written as MIDI note 129, allowed 0 ... 127",
        ),
    ],
)
def test_what_cannot_be_written(layout: SmfLayout, message: str) -> None:
    with pytest.raises(SettingError, match=message.replace("...", r"\.\.\.")):
        smf_bytes(one_note(), layout)


def test_times_are_exact_over_an_hour() -> None:
    # A thousand tempo changes, in whole microseconds: mido adds the same ticks up in floating point.
    tempo = tempo_map([(3.6 * k, 60.0 + k % 130) for k in range(1000)], 960)
    pairs = list(itertools.pairwise(tempo.changes))
    added = 0.0
    for (tick, microseconds), (after, _) in pairs:
        added += mido.tick2second(after - tick, 960, microseconds)
    assert tempo.seconds(tempo.changes[-1][0]) == pytest.approx(added, abs=1e-9)
    assert tempo.seconds(tempo.tick(3599.9)) == pytest.approx(3599.9, abs=1e-3)
