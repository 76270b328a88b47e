"""MIDI files as the part of one horn, and files that cannot be one."""

from __future__ import annotations

import io
import random
from pathlib import Path

import mido
import numpy as np
import pretty_midi
import pytest

from chainsim.errors import SettingError
from chainsim.notes.model import Note, NoteEvents
from chainsim.notes.smf_reading import read_smf
from chainsim.notes.smf_writing import SmfLayout, smf_bytes


def smf(*messages: mido.Message | mido.MetaMessage, ticks: int = 500) -> bytes:
    """A file of one track; at 500 ticks a quarter and 120 bpm a tick is a millisecond."""
    file = mido.MidiFile(type=0, ticks_per_beat=ticks)
    file.tracks.append(mido.MidiTrack(messages))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def on(note: int, time: int = 0, velocity: int = 80, channel: int = 0) -> mido.Message:
    return mido.Message("note_on", note=note, velocity=velocity, time=time, channel=channel)


def off(note: int, time: int = 0, channel: int = 0) -> mido.Message:
    return mido.Message("note_off", note=note, time=time, channel=channel)


def control(number: int, value: int, time: int = 0) -> mido.Message:
    return mido.Message("control_change", control=number, value=value, time=time)


def part(tmp_path: Path, content: bytes, channel: int = 0) -> NoteEvents:
    path = tmp_path / "part.mid"
    path.write_bytes(content)
    return read_smf(path, channel)


def spans(events: NoteEvents) -> list[tuple[float, float, int, int]]:
    return [(round(n.begin_s, 6), round(n.end_s, 6), n.midi, n.velocity) for n in events.notes]


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    notes = (Note(0.25, 0.5, 60, 70), Note(0.5, 0.75, 62, 71), Note(1.0, 2.0, 55, 1))
    pitch = np.array([[0.25, 60.1], [0.4, 60.9], [0.5, 62.0], [1.0, 54.5], [1.5, 57.25]])
    breath = np.array([[0.25, 50.0], [1.0, 100.0], [1.25, 127.0]])
    layout = SmfLayout(tempi=((0.0, 97.0), (0.6, 180.0)), bend_range_semitones=12.0)
    read = part(tmp_path, smf_bytes(NoteEvents(notes, pitch, breath), layout))
    for got, wanted in zip(read.notes, notes, strict=True):
        assert (got.midi, got.velocity) == (wanted.midi, wanted.velocity)
        assert (got.begin_s, got.end_s) == pytest.approx((wanted.begin_s, wanted.end_s), abs=4e-4)  # half a tick
    for time_s, height in pitch:
        i = int(np.searchsorted(read.pitch[:, 0], time_s + 1e-3)) - 1
        assert read.pitch[i, 1] == pytest.approx(height, abs=12.0 / 8192.0)
    assert [v for _, v in read.breath] == [50.0, 0.0, 100.0, 127.0, 0.0]


def test_the_newest_note_sounds_and_a_held_one_goes_on_after_it(tmp_path: Path) -> None:
    read = part(tmp_path, smf(on(60, 100), on(64, 100, 90), off(64, 100), off(60, 100), on(60, 0), on(60, 50, 0)))
    assert spans(read) == [(0.1, 0.2, 60, 80), (0.2, 0.3, 64, 90), (0.3, 0.4, 60, 80), (0.4, 0.45, 60, 80)]


def test_a_note_said_twice_begins_twice_and_the_end_of_another_changes_nothing(tmp_path: Path) -> None:
    read = part(tmp_path, smf(on(60, 0), on(60, 100, 99), off(61, 50), off(60, 50)))
    assert spans(read) == [(0.0, 0.1, 60, 80), (0.1, 0.2, 60, 99)]


def test_releasing_a_note_underneath_does_not_interrupt(tmp_path: Path) -> None:
    read = part(tmp_path, smf(on(60, 0), on(64, 100), off(60, 100), off(64, 100)))
    assert spans(read) == [(0.0, 0.1, 60, 80), (0.1, 0.3, 64, 80)]


def test_all_notes_off_and_the_end_of_the_file_end_notes(tmp_path: Path) -> None:
    assert spans(part(tmp_path, smf(on(60, 0), control(123, 0, 100), on(62, 100), control(7, 1, 100)))) == [
        (0.0, 0.1, 60, 80),
        (0.2, 0.3, 62, 80),
    ]


@pytest.mark.parametrize(
    ("setup", "semitones"),
    [
        ([], 1.0),  # MIDI 1.0: two semitones unless said otherwise; half of them
        ([control(101, 0), control(100, 0), control(6, 12), control(38, 0)], 6.0),
        ([control(101, 0), control(100, 0), control(6, 2), control(38, 50)], 1.25),
        ([control(101, 0), control(100, 1), control(6, 12)], 1.0),  # fine tuning, not the bend range
        ([control(101, 0), control(100, 0), control(101, 127), control(100, 127), control(6, 12)], 1.0),  # null
        ([control(101, 0), control(100, 0), control(99, 0), control(98, 0), control(6, 12)], 1.0),  # not registered
    ],
)
def test_bend_range_is_what_registered_parameter_0_says(
    tmp_path: Path, setup: list[mido.Message], semitones: float
) -> None:
    read = part(tmp_path, smf(*setup, mido.Message("pitchwheel", pitch=4096), on(60), off(60, 100)))
    assert read.pitch[-1, 1] == pytest.approx(60.0 + semitones)


def test_reset_of_all_controllers_takes_the_bend_back_and_leaves_its_range(tmp_path: Path) -> None:
    # RP-015: bend to its centre, no parameter chosen (so that data entry changes nothing), the bend range as it was.
    half = mido.Message("pitchwheel", pitch=4096)
    setup = [control(101, 0), control(100, 0), control(6, 12), half, on(60)]
    read = part(tmp_path, smf(*setup, control(121, 0, 100), control(6, 5), half.copy(time=100), off(60, 100)))
    assert [p for _, p in read.pitch] == pytest.approx([66.0, 60.0, 66.0])
    assert spans(read) == [(0.0, 0.3, 60, 80)]


def test_a_text_of_any_bytes_is_no_damage(tmp_path: Path) -> None:
    text = mido.MetaMessage("text", text="\xe9" * 5000)
    sysex = mido.Message("sysex", data=[1, 2, 3])
    messages = (
        text,
        mido.Message("program_change", program=5),
        sysex,
        on(60, 10),
        on(60, 0x4000, 0),
        text.copy(time=300),
    )
    assert spans(part(tmp_path, smf(*messages))) == [(0.01, 16.394, 60, 80)]


def test_pretty_midi_reads_the_same_times(tmp_path: Path) -> None:
    random_numbers = random.Random(3)
    messages: list[mido.Message | mido.MetaMessage] = []
    for k in range(60):
        tempo = mido.MetaMessage("set_tempo", tempo=random_numbers.randint(200_000, 1_500_000), time=7)
        messages += [tempo, on(40 + k, random_numbers.randint(1, 300)), off(40 + k, random_numbers.randint(1, 300))]
    read = part(tmp_path, smf(*messages))
    others = pretty_midi.PrettyMIDI(str(tmp_path / "part.mid")).instruments[0].notes
    assert [n.midi for n in read.notes] == [n.pitch for n in others]
    assert [n.begin_s for n in read.notes] == pytest.approx([n.start for n in others], abs=1e-6)
    assert [n.end_s for n in read.notes] == pytest.approx([n.end for n in others], abs=1e-6)


TWO_CHANNELS = smf(on(60, channel=0), on(70, channel=9), off(60, 100), off(70, 0, channel=9))


def test_a_channel_can_be_chosen(tmp_path: Path) -> None:
    assert spans(part(tmp_path, TWO_CHANNELS, 10)) == [(0.0, 0.1, 70, 80)]


def test_a_set_of_an_hour_is_read(tmp_path: Path) -> None:
    # A tracked horn sends up to 720 bytes a second, 2.6 MB an hour; here texts stand for what it sends.
    hour = smf(*(mido.MetaMessage("text", text="a" * 900_000) for _ in range(3)), on(60), off(60, 100))
    assert len(hour) > 2_600_000
    assert spans(part(tmp_path, hour)) == [(0.0, 0.1, 60, 80)]


GOOD = smf(on(60), off(60, 100))
BAD_KEY = smf(on(60), mido.MetaMessage("text", text="ab"), off(60, 9)).replace(
    b"\xff\x01\x02ab", b"\xff\x59\x02\x7f\x7f"
)
CANNOT = {
    "empty": (b"", "is empty (0 bytes)"),
    "text": (b"Saltmere parade, second horn", "not a Standard MIDI File"),
    "cut off": (GOOD[:-6], "is damaged: it ends too early"),
    "header only": (GOOD[:14], "is damaged: it ends too early"),
    "no notes": (smf(control(7, 100)), "holds no notes"),
    "silent note-ons": (smf(on(60, 0, 0)), "holds no notes"),
    "data bytes": (GOOD.replace(bytes([0x90, 60]), bytes([0x90, 200])), "is damaged: data byte must be in"),
    "format 2": (GOOD[:9] + b"\x02" + GOOD[10:], "format 2, allowed 0 and 1"),
    "no time": (GOOD[:12] + b"\0\0" + GOOD[14:], "counts frames of film or nothing"),
    "film frames": (GOOD[:12] + b"\xe7\x28" + GOOD[14:], "counts frames of film or nothing"),
    "huge": (GOOD + bytes(4_000_000), "over 4 MB, too large"),
    "endless number": (GOOD[:22] + b"\xff" * 5000, "is damaged: a number without end"),
    "endless number after a text": (
        smf(mido.MetaMessage("text", text="\xe9" * 2000), on(60), off(60, 9)).replace(
            bytes([0, 0x90, 60]), b"\xff" * 2000 + bytes([0x90, 60])
        ),
        "is damaged: a number without end",
    ),
    "a hundred days": (smf(on(60), off(60, 0x0FFFFFFF), ticks=1), "is damaged or lasts longer than a day"),
    "two channels": (TWO_CHANNELS, "notes on channels 1, 10; choose one with midi_channel"),
    "many tracks": (GOOD[:10] + b"\x7f\xff" + GOOD[12:], "is damaged: it ends too early"),
    "bad key": (BAD_KEY, "is damaged: "),
}


@pytest.mark.parametrize(("content", "message"), CANNOT.values(), ids=CANNOT)
def test_what_cannot_be_a_part_gets_one_clear_line(tmp_path: Path, content: bytes, message: str) -> None:
    with pytest.raises(SettingError) as raised:
        part(tmp_path, content)
    assert str(raised.value).startswith(f"{tmp_path / 'part.mid'}: {message}")
    assert "\n" not in str(raised.value)


def test_a_channel_without_notes_is_named(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="no notes on channel 3, but on 1, 10"):
        part(tmp_path, TWO_CHANNELS, 3)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="cannot be read: No such file"):
        read_smf(tmp_path / "none.mid")


def test_any_damage_is_a_setting_error_or_a_part(tmp_path: Path) -> None:
    good = smf_bytes(NoteEvents((Note(0.1, 0.3, 60, 70), Note(0.4, 0.6, 62, 71)), np.array([[0.1, 60.2]])))
    random_numbers = random.Random(11)
    refused = 0
    for _ in range(400):
        damaged = bytearray(good)
        for _ in range(random_numbers.randint(1, 4)):
            damaged[random_numbers.randrange(8, len(good))] = random_numbers.randrange(256)
        try:
            events = part(tmp_path, bytes(damaged))
        except SettingError:
            refused += 1
            continue
        assert all(a.end_s <= b.begin_s for a, b in zip(events.notes, events.notes[1:], strict=False))
    assert refused > 100
