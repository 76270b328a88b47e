"""Cues in MIDI files, as two libraries write them, and in files that are damaged."""

from __future__ import annotations

import io
import itertools
import random
import tempfile
from collections.abc import Callable
from pathlib import Path

import mido
import pretty_midi
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chainsim.errors import SettingError
from chainsim.stage.midi_cues import MidiControl, MidiCues, MidiProgram, read_midi_cues


def smf(*tracks: list[mido.Message | mido.MetaMessage], ticks: int = 500) -> bytes:
    """A file of format 1; at 500 ticks a quarter and 120 quarters a minute a tick is a millisecond."""
    file = mido.MidiFile(type=1, ticks_per_beat=ticks)
    file.tracks.extend(mido.MidiTrack(track) for track in tracks)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def control(number: int, value: int, time: int = 0, channel: int = 0) -> mido.Message:
    return mido.Message("control_change", control=number, value=value, time=time, channel=channel)


def program(number: int, time: int = 0, channel: int = 0) -> mido.Message:
    return mido.Message("program_change", program=number, time=time, channel=channel)


def tempo(microseconds: int, time: int = 0) -> mido.MetaMessage:
    return mido.MetaMessage("set_tempo", tempo=microseconds, time=time)


def cues(tmp_path: Path, content: bytes) -> MidiCues:
    path = tmp_path / "cues.mid"
    path.write_bytes(content)
    return read_midi_cues(path)


# What is sent on one channel, and the banks of the program changes in it: bank = 128 CC0 + CC32, the one last sent.
BANKS = {
    "none sent": ([program(3)], [(0, 3)]),
    "bank, then program": ([control(0, 1), control(32, 5), program(3)], [(133, 3)]),
    "low half first": ([control(32, 5), control(0, 1), program(3)], [(133, 3)]),
    "program, then bank": ([program(3), control(0, 1), control(32, 5)], [(0, 3)]),
    "bank stays": ([control(0, 2), program(3), program(4)], [(256, 3), (256, 4)]),
    "low half alone": ([control(32, 5), program(3), control(32, 6), program(3)], [(5, 3), (6, 3)]),
    "highest": ([control(0, 127), control(32, 127), program(127)], [(16383, 127)]),
    "bank twice": ([control(0, 1), control(0, 4), program(3)], [(512, 3)]),
}


@pytest.mark.parametrize(("sent", "expected"), BANKS.values(), ids=BANKS)
def test_a_program_counts_with_the_bank_last_sent(
    tmp_path: Path, sent: list[mido.Message], expected: list[tuple[int, int]]
) -> None:
    assert [(p.bank, p.program) for p in cues(tmp_path, smf(sent)).programs] == expected


def test_every_channel_has_its_own_bank(tmp_path: Path) -> None:
    read = cues(tmp_path, smf([control(0, 1), control(0, 2, channel=15), program(7), program(8, channel=15)]))
    assert read.programs == (MidiProgram(0.0, 1, 128, 7), MidiProgram(0.0, 16, 256, 8))


def test_times_go_through_changes_of_tempo(tmp_path: Path) -> None:
    # 480 ticks a quarter: two quarters at 120, one at 60, half a one at 240 = 1 + 1 + 0.125 s.
    conductor = [tempo(500_000), tempo(1_000_000, 960), tempo(250_000, 480)]
    board = [program(1, 960), program(2, 480), control(80, 127, 240), control(80, 0, 0)]
    read = cues(tmp_path, smf(conductor, board, ticks=480))
    assert read.has_tempo
    assert [e.time_s for e in read.events] == pytest.approx([1.0, 2.0, 2.125, 2.125], abs=1e-12)
    assert read.length_s == pytest.approx(2.125, abs=1e-12)


def test_without_a_tempo_it_is_120_and_says_so(tmp_path: Path) -> None:
    read = cues(tmp_path, smf([program(1, 960)], ticks=480))
    assert not read.has_tempo
    assert read.programs[0].time_s == 1.0  # two quarters at 120 (Standard MIDI Files 1.0)


@pytest.mark.parametrize(("value", "down"), [(0, False), (63, False), (64, True), (127, True)])
def test_a_switch_is_down_from_64_on(tmp_path: Path, value: int, down: bool) -> None:
    (switched,) = cues(tmp_path, smf([control(80, value, 250, channel=4)])).controls
    assert switched == MidiControl(0.25, 5, 80, value)
    assert switched.down == down


def test_events_at_one_time_keep_their_order(tmp_path: Path) -> None:
    read = cues(tmp_path, smf([control(80, 127), program(1), control(80, 0), program(2)]))
    assert [type(e) for e in read.events] == [MidiControl, MidiProgram, MidiControl, MidiProgram]


def test_notes_bend_and_mode_messages_are_no_cues(tmp_path: Path) -> None:
    other = [
        mido.Message("note_on", note=60, velocity=80),
        mido.Message("note_off", note=60, time=100),
        mido.Message("pitchwheel", pitch=99),
        mido.Message("sysex", data=[1, 2, 3]),
        control(120, 0),
        control(123, 0),
    ]
    read = cues(tmp_path, smf(other))
    assert read.events == ()
    assert read.length_s == pytest.approx(0.1)


def other_library(seed: int) -> pretty_midi.PrettyMIDI:
    """Two instruments with controllers at odd times."""
    rng = random.Random(seed)
    song = pretty_midi.PrettyMIDI(resolution=960, initial_tempo=rng.uniform(50.0, 200.0))
    for number in (12, 99):
        instrument = pretty_midi.Instrument(number)
        instrument.notes.append(pretty_midi.Note(80, 60, 0.5, 1.0))
        for controller in (11, 80):
            for _ in range(20):
                instrument.control_changes.append(
                    pretty_midi.ControlChange(controller, rng.randrange(128), rng.uniform(0.0, 60.0))
                )
        song.instruments.append(instrument)
    return song


def control_rows(controls: list[tuple[float, int, int, int]]) -> list[tuple[int, int, int, float]]:
    return sorted((channel, controller, value, round(t, 9)) for t, channel, controller, value in controls)


def test_what_another_library_writes_is_read(tmp_path: Path) -> None:
    song = other_library(5)
    song.write(str(tmp_path / "other.mid"))
    read = read_midi_cues(tmp_path / "other.mid")
    assert read.has_tempo
    assert [(p.time_s, p.bank, p.program) for p in read.programs] == [(0.0, 0, 12), (0.0, 0, 99)]
    channels = [p.channel for p in read.programs]
    got = control_rows([(c.time_s, c.channel, c.controller, c.value) for c in read.controls])
    wanted = control_rows(
        [
            (c.time, channel, c.number, c.value)
            for channel, instrument in zip(channels, song.instruments, strict=True)
            for c in instrument.control_changes
        ]
    )
    assert [g[:3] for g in got] == [w[:3] for w in wanted]
    half_a_tick_s = 60.0 / 50.0 / 960.0 / 2.0
    assert [g[3] for g in got] == pytest.approx([w[3] for w in wanted], abs=half_a_tick_s)


@pytest.mark.parametrize("seed", range(3))
def test_both_libraries_read_the_same_times_as_we_do(tmp_path: Path, seed: int) -> None:
    """A file with 40 changes of tempo by one library, and the same written anew by the other."""
    rng = random.Random(seed)
    track: list[mido.Message | mido.MetaMessage] = [program(20, channel=2)]
    for _ in range(40):
        track.append(tempo(rng.randint(150_000, 2_000_000), rng.randint(0, 900)))
        track.append(control(80, rng.randrange(128), rng.randint(1, 900), channel=2))
    note = [
        mido.Message("note_on", note=60, velocity=9, channel=2),
        mido.Message("note_off", note=60, time=5, channel=2),
    ]
    read = cues(tmp_path, smf([*track, *note], ticks=480))
    others = pretty_midi.PrettyMIDI(str(tmp_path / "cues.mid"))
    assert times(read) == pytest.approx([c.time for c in others.instruments[0].control_changes], abs=1e-6)
    assert times(read) == pytest.approx(played_by_mido(tmp_path / "cues.mid"), abs=1e-6)
    others.write(str(tmp_path / "anew.mid"))
    anew = read_midi_cues(tmp_path / "anew.mid")
    assert [c.value for c in anew.controls] == [c.value for c in read.controls]
    assert times(anew) == pytest.approx(played_by_mido(tmp_path / "anew.mid"), abs=1e-6)
    # It cuts tempi down to whole microseconds a quarter: an error of up to one for each quarter played.
    quarters = sum(m.time for m in track) / 480
    assert times(anew) == pytest.approx(times(read), abs=1e-6 * quarters)


def times(read: MidiCues) -> list[float]:
    return [c.time_s for c in read.controls]


def played_by_mido(path: Path) -> list[float]:
    """Times of the control changes as the library would play them."""
    now_s, played = 0.0, []
    for message in mido.MidiFile(str(path)):
        now_s += message.time
        if message.type == "control_change":
            played.append(now_s)
    return played


SENT = st.one_of(
    st.tuples(st.just("program"), st.integers(0, 15), st.integers(0, 127), st.integers(0, 16383)),
    st.tuples(st.just("control"), st.integers(0, 15), st.sampled_from([1, 11, 64, 80, 119]), st.integers(0, 127)),
)


@given(st.lists(st.tuples(st.integers(0, 5_000), SENT), max_size=30))
def test_what_is_sent_is_read_back(sent: list[tuple[int, tuple[str, int, int, int]]]) -> None:
    track: list[mido.Message] = []
    expected: list[MidiProgram | MidiControl] = []
    now = 0
    for ticks, (kind, channel, first, second) in sent:
        now += ticks
        if kind == "program":
            track += [
                control(0, second >> 7, ticks, channel),
                control(32, second & 127, 0, channel),
                program(first, 0, channel),
            ]
            expected.append(MidiProgram(now / 1000.0, channel + 1, second, first))
        else:
            track.append(control(first, second, ticks, channel))
            expected.append(MidiControl(now / 1000.0, channel + 1, first, second))
    with tempfile.TemporaryDirectory() as folder:
        read = cues(Path(folder), smf(track))
    assert list(read.events) == expected
    assert read.length_s == now / 1000.0


@pytest.mark.parametrize(
    ("damage", "told"),
    [
        (lambda good: b"", "is empty"),
        (lambda good: b"Saltmere pit, second act", "not a Standard MIDI File"),
        (lambda good: good[:-9], "is damaged: it ends too early"),
        (lambda good: good + bytes(4_000_000), "over 4 MB, too large"),
        (lambda good: good[:22] + b"\xff" * 5000, "is damaged: a number without end"),
        (lambda good: good[:9] + b"\x02" + good[10:], "format 2, allowed 0 and 1"),
    ],
)
def test_damage_is_told_in_one_line(tmp_path: Path, damage: Callable[[bytes], bytes], told: str) -> None:
    with pytest.raises(SettingError) as caught:
        cues(tmp_path, damage(smf([control(0, 1), program(5, 100)])))
    assert f"cues.mid: {told}" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_any_damage_is_a_setting_error_or_cues(tmp_path: Path) -> None:
    good = smf([tempo(400_000)], [p for k in range(12) for p in (control(0, k), program(k, 100), control(80, 127, 50))])
    rng, refused = random.Random(7), 0
    for _ in range(300):
        damaged = bytearray(good)
        for _ in range(rng.randint(1, 4)):
            damaged[rng.randrange(8, len(good))] = rng.randrange(256)
        try:
            read = cues(tmp_path, bytes(damaged))
        except SettingError:
            refused += 1
            continue
        assert all(0 <= p.bank <= 16383 and 1 <= p.channel <= 16 for p in read.programs)
        assert all(a.time_s <= b.time_s for a, b in itertools.pairwise(read.events))
    assert 50 < refused < 300
