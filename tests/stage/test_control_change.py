"""Pedals and breath in MIDI files, as two libraries write them, become positions."""

from __future__ import annotations

import io
import random
from pathlib import Path

import mido
import numpy as np
import pretty_midi
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from chainsim.errors import SettingError
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import parse_sketch
from chainsim.stage.control_change import ControlChange, ControlChangeSettings, read_controller
from chainsim.stage.held_steps import samples_of
from tests.stage.control_harness import RATE_HZ, prepared, run

Sent = tuple[int, int, int]


def smf(*sent: Sent | mido.MetaMessage, channel: int = 0) -> bytes:
    """A file that sends (milliseconds since the one before, controller, value), at a tick a millisecond."""
    track = [
        s
        if isinstance(s, mido.MetaMessage)
        else mido.Message("control_change", time=s[0], control=s[1], value=s[2], channel=channel)
        for s in sent
    ]
    file = mido.MidiFile(type=0, ticks_per_beat=500)
    file.tracks.append(mido.MidiTrack(track))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def points(tmp_path: Path, content: bytes, controller: int = 11, channel: int = 0) -> list[tuple[float, float]]:
    (tmp_path / "pedal.mid").write_bytes(content)
    return read_controller(tmp_path / "pedal.mid", controller, channel)


def test_seven_bits_are_parts_of_127(tmp_path: Path) -> None:
    read = points(tmp_path, smf((100, 11, 0), (50, 2, 99), (50, 11, 64), (100, 11, 127)))
    assert read == [(0.1, 0.0), (0.2, 64 / 127), (0.3, 1.0)]


# MIDI 1.0: LSB of controller n is n + 32; a new MSB sets the LSB to zero; an LSB alone adjusts finely.
FINE = {
    "both halves": ([(0, 11, 127), (0, 43, 127)], [(0.0, 16383)]),
    "MSB alone": ([(0, 11, 64), (0, 43, 1), (10, 11, 65)], [(0.0, 64 * 128 + 1), (0.01, 65 * 128)]),
    "LSB alone": ([(0, 11, 64), (10, 43, 1), (10, 43, 2)], [(0.0, 8192), (0.01, 8193), (0.02, 8194)]),
    "LSB first, at one time": ([(5, 43, 9), (0, 11, 64)], [(0.005, 8201)]),
    "LSB before anything": ([(5, 43, 9), (5, 11, 64)], [(0.01, 8192)]),
    "an LSB of another one": ([(5, 11, 64), (5, 43, 0), (5, 34, 9)], [(0.005, 8192), (0.01, 8192)]),
}


@pytest.mark.parametrize(("sent", "values"), FINE.values(), ids=FINE)
def test_fourteen_bits(tmp_path: Path, sent: list[Sent], values: list[tuple[float, int]]) -> None:
    read = points(tmp_path, smf(*sent))
    assert [t for t, _ in read] == pytest.approx([t for t, _ in values], abs=1e-12)
    assert [p for _, p in read] == pytest.approx([v / 16383 for _, v in values], abs=1e-12)


@pytest.mark.parametrize(
    ("controller", "after"), [(11, 1.0), (1, 0.0), (64, 0.0), (67, 0.0), (2, 50 / 127), (7, 50 / 127), (74, 50 / 127)]
)
def test_reset_of_all_controllers_sets_those_it_names(tmp_path: Path, controller: int, after: float) -> None:
    # RP-015: expression to 127, modulation and pedals to 0; volume, pan, effects and sound controllers stay.
    read = points(tmp_path, smf((10, controller, 50), (10, 121, 0)), controller)
    assert read[0] == (0.01, 50 / 127)
    assert read[-1][1] == after


def test_channels_are_told_apart_or_taken_together(tmp_path: Path) -> None:
    track = mido.MidiTrack(
        mido.Message("control_change", control=2, value=v, time=100, channel=c) for v, c in ((10, 0), (20, 4), (30, 0))
    )
    file = mido.MidiFile(type=0, ticks_per_beat=500)
    file.tracks.append(track)
    file.save(tmp_path / "two.mid")
    for channel, values in ((0, [10, 20, 30]), (1, [10, 30]), (5, [20])):
        read = read_controller(tmp_path / "two.mid", 2, channel)
        assert [p for _, p in read] == [v / 127 for v in values]


def test_of_several_values_at_one_time_the_last_counts(tmp_path: Path) -> None:
    assert points(tmp_path, smf((10, 11, 3), (0, 11, 4), (5, 11, 5))) == [(0.01, 4 / 127), (0.015, 5 / 127)]


@pytest.mark.parametrize("seed", range(3))
def test_another_library_reads_and_writes_the_same(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    song = pretty_midi.PrettyMIDI(resolution=960, initial_tempo=rng.uniform(60.0, 180.0))
    horn = pretty_midi.Instrument(56)
    horn.notes.append(pretty_midi.Note(80, 60, 0.5, 1.0))
    times = sorted(rng.uniform(0.0, 90.0) for _ in range(200))
    horn.control_changes = [pretty_midi.ControlChange(11, rng.randrange(128), t) for t in times]
    song.instruments.append(horn)
    song.write(str(tmp_path / "other.mid"))
    read = read_controller(tmp_path / "other.mid", 11)
    again = pretty_midi.PrettyMIDI(str(tmp_path / "other.mid")).instruments[0].control_changes
    newest = {c.time: c.value / 127 for c in again}
    assert [t for t, _ in read] == pytest.approx(sorted(newest), abs=1e-6)
    assert [p for _, p in read] == list(newest.values())
    for (time_s, _), wanted_s in zip(read, times, strict=True):
        assert abs(time_s - wanted_s) < 60.0 / 60.0 / 960.0  # a tick at the slowest tempo


def test_times_follow_the_tempo_map(tmp_path: Path) -> None:
    # 500 ticks a quarter: a second at 120, then 500 ticks at 30 bpm, which are 2 s.
    tempo = mido.MetaMessage("set_tempo", tempo=2_000_000, time=1000)
    assert points(tmp_path, smf(tempo, (500, 11, 9))) == [(3.0, 9 / 127)]


@given(st.lists(st.tuples(st.integers(1, 900), st.integers(0, 16383)), min_size=1, max_size=40))
def test_what_is_sent_in_two_halves_is_read_back(tmp_path_factory: pytest.TempPathFactory, sent: list[Sent]) -> None:
    halves = [h for ms, value in sent for h in ((ms, 4, value >> 7), (0, 36, value & 127))]
    read = points(tmp_path_factory.mktemp("sent"), smf(*halves), 4)
    assert [round(p * 16383) for _, p in read] == [value for _, value in sent]
    assert [t for t, _ in read] == pytest.approx(np.cumsum([ms for ms, _ in sent]) / 1000.0, abs=1e-9)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "pedal.mid").write_bytes(smf((100, 11, 20), (0, 64, 127), (100, 11, 60), (1, 11, 61), (198, 11, 127)))
    (tmp_path / "breath.mid").write_bytes(smf((100, 2, 20), channel=3))
    (tmp_path / "none.mid").write_bytes(smf())
    return tmp_path


def test_the_row_steps_at_the_first_sample_of_each_value(folder: Path) -> None:
    (y,) = run(prepared(ControlChange, folder=folder, file="pedal.mid"), 24_000)
    # Before its first value the pedal stands where it is then found.
    edges = [0, 9_600, 9_648, 19_152, 24_000]
    assert np.flatnonzero(np.diff(y)).tolist() == [e - 1 for e in edges[1:-1]]
    assert [y[e] for e in edges[:-1]] == [20 / 127, 60 / 127, 61 / 127, 1.0]


def test_a_time_on_a_sample_is_that_sample() -> None:
    n = np.arange(100_000)
    assert np.array_equal(samples_of(n / 44_100.0, 44_100.0), n)
    assert samples_of(np.array([0.1 / 48_000.0, 1.5 / 48_000.0]), 48_000.0).tolist() == [1, 2]


def test_any_cutting_and_any_beginning_give_the_same_bits(folder: Path) -> None:
    block = prepared(ControlChange, folder=folder, file="pedal.mid")
    whole = run(block, 24_000)
    for cuts in (range(1, 24_000, 509), [0, 0, 9_600, 9_600], np.random.default_rng(4).integers(0, 24_000, 40)):
        assert run(block, 24_000, cuts=sorted(int(c) for c in cuts)).tobytes() == whole.tobytes()
    assert run(block, 10_000, n0=9_600).tobytes() == np.ascontiguousarray(whole[:, 9_600:19_600]).tobytes()


def panned(folder: Path, file: str, seconds: float) -> np.ndarray:
    """Where a pan that a pedal moves from left to right stands, as a share of its way, read off the sound."""
    drives = '[{ setting = "pan.pan", low = -1.0, high = 1.0 }]'
    text = f'chain = ["pan"]\n[controllers.pedal]\ntype = "control_change"\nfile = "{file}"\ndrives = {drives}'
    graph = build_graph(parse_sketch(text, folder=folder), RATE_HZ, 1)
    left, right = render_graph(graph, np.ones((1, int(seconds * RATE_HZ))))["out"]
    return np.arctan2(right, left) * 2.0 / np.pi


def test_what_follows_a_swelling_pedal_moves_in_no_audible_steps(tmp_path: Path) -> None:
    # 128 values in a second, smoothed by one pole of tau: a sample moves by no more than what the pole lags behind,
    # tau 1/s and one step of 1/127, over tau fs. Pan has tau = 20 ms.
    tau_s = 0.02
    swell = smf(*((round(1000 * k / 127) - round(1000 * max(k - 1, 0) / 127), 11, k) for k in range(128)))
    (tmp_path / "swell.mid").write_bytes(swell)
    place = panned(tmp_path, "swell.mid", 1.3)
    assert place[0] == pytest.approx(0.0, abs=1e-9)
    assert place[-1] == pytest.approx(1.0, abs=1e-6)
    assert np.diff(place).min() > -1e-12
    limit = (tau_s + 1.0 / 127.0) / (tau_s * RATE_HZ)
    assert 0.5 * limit < np.diff(place).max() < 1.02 * limit  # the file's times are whole milliseconds


def test_a_pedal_stamped_down_arrives_in_the_time_of_the_setting(tmp_path: Path) -> None:
    (tmp_path / "stamp.mid").write_bytes(smf((0, 11, 0), (100, 11, 127)))
    place = panned(tmp_path, "stamp.mid", 0.4)
    # One pole: 1 - 1/e after tau = 20 ms.
    assert place[4_799] == pytest.approx(0.0, abs=1e-9)
    assert place[4_800 + 960] == pytest.approx(1.0 - np.exp(-1.0), abs=1e-3)


@pytest.mark.parametrize("rate_hz", [8_000.0, 44_100.0, 192_000.0])
def test_times_are_the_same_at_every_rate(folder: Path, rate_hz: float) -> None:
    (y,) = run(prepared(ControlChange, rate_hz=rate_hz, folder=folder, file="pedal.mid"), int(0.5 * rate_hz))
    steps_s = (np.flatnonzero(np.diff(y)) + 1) / rate_hz
    assert steps_s == pytest.approx([0.2, 0.201, 0.399], abs=1.0 / rate_hz)


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({}, "file: a control change needs a MIDI file"),
        ({"file": "other.mid"}, "not found in"),
        ({"file": "../pedal.mid"}, "lies outside the sketch's own folder"),
        ({"file": "breath.mid"}, "breath.mid: no controller 11, but 2"),
        ({"file": "breath.mid", "controller": 2, "channel": 1}, "no controller 2 on channel 1, but on 4"),
        ({"file": "pedal.mid", "controller": 2}, "no controller 2, but 11, 64"),
        ({"file": "none.mid"}, "no controller 11, nor any other"),
    ],
)
def test_what_cannot_be_followed(folder: Path, settings: dict[str, object], told: str) -> None:
    with pytest.raises(SettingError, match=told) as caught:
        prepared(ControlChange, folder=folder, **settings)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({"file": "pedal.wav"}, "allowed the name of a .mid file"),
        ({"controller": 120}, "allowed 0 ... 119"),
        ({"channel": 17}, "allowed 0 ... 16"),
    ],
)
def test_bad_settings_are_refused(settings: dict[str, object], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        ControlChangeSettings(**settings)


def test_any_damage_is_a_setting_error_or_positions(tmp_path: Path) -> None:
    good = smf(*((40, 11, v) for v in range(0, 128, 5)), *((3, 43, v) for v in range(0, 128, 9)))
    rng, refused = random.Random(9), 0
    for _ in range(300):
        damaged = bytearray(good)
        for _ in range(rng.randint(1, 4)):
            damaged[rng.randrange(8, len(good))] = rng.randrange(256)
        try:
            read = points(tmp_path, bytes(damaged))
        except SettingError:
            refused += 1
            continue
        assert all(0.0 <= p <= 1.0 for _, p in read)
        assert [t for t, _ in read] == sorted({t for t, _ in read})
    assert 50 < refused < 300
