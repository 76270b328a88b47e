"""`chainsim track` from the outside: files, summary, and what it says of takes that it cannot follow."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import mido
import numpy as np
import pretty_midi
import pytest

from chainsim.batch.tracking import track, tuning_of, write_midi
from chainsim.horn.phrase import Note, Phrase
from chainsim.horn.play import HornTake, play
from tests.cli.running import complaint, names, ran, sketch_file, take_file
from tests.note_scores import hz_of, note_scores
from tests.sampled_horns import SampledHorn

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def horn() -> HornTake:
    """Tenor sax: five tongued notes, sounding Bb2 C3 D3 D3 F3."""
    notes = tuple(Note(float(midi), 1.0) for midi in (46, 48, 50, 50, 53))
    return play(Phrase("five notes", 120.0, notes, "tenor sax"))


@pytest.fixture
def take(horn: HornTake, tmp_path: Path) -> Path:
    return take_file(tmp_path, horn.audio[:, None], RATE_HZ)


def tone(f0_hz: float, seconds: float = 1.0, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Ten harmonics between two rests: shape (frames, 1)."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    partials = [np.sin(2.0 * np.pi * k * f0_hz * t) / k for k in range(1, 11) if k * f0_hz < 0.45 * rate_hz]
    fade = np.clip(np.minimum(t, seconds - t) / 0.01, 0.0, 1.0)
    rest = np.zeros(round(0.3 * rate_hz))
    return np.concatenate([rest, 0.2 * fade * np.sum(partials, axis=0), rest])[:, None]


def test_csv_has_one_line_an_estimate_at_the_time_it_was_known(
    take: Path, horn: HornTake, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = ran(capsys, "track", take, "--instrument", "tenor sax", "--csv", tmp_path / "t.csv")
    assert run.code == 0
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as file:
        lines = file.read().split("\n")
    assert lines[0] == "time_s,f0_hz,voiced,confidence,level_db"
    rows = np.array([[float(v) for v in row] for row in csv.reader(lines[1:-1])])
    time_s, f0_hz, voiced = rows[:, 0], rows[:, 1], rows[:, 2]
    assert np.diff(time_s) == pytest.approx(np.full(time_s.size - 1, time_s[0]), abs=2e-6)
    assert 0.0 < time_s[0] <= 0.003
    assert time_s[-1] <= horn.audio.size / RATE_HZ
    assert set(np.unique(voiced)) == {0.0, 1.0}
    truth = horn.f0_at(time_s - 0.01)  # the middle of what the estimate heard, about
    both = (voiced > 0.0) & (truth > 0.0)
    cents = 1200.0 * np.log2(f0_hz[both] / truth[both])
    assert np.mean(np.abs(cents) < 50.0) > 0.95


def test_a_change_of_the_take_changes_no_estimate_that_was_known_before(tmp_path: Path) -> None:
    x = tone(220.0)
    cut_s = 0.8
    changed = x.copy()
    changed[round(cut_s * RATE_HZ) :] = 0.3 * np.random.default_rng(2).standard_normal(
        (changed.shape[0] - round(cut_s * RATE_HZ), 1)
    )
    first, second = (track(take_file(tmp_path, v, RATE_HZ, n)) for v, n in ((x, "a.wav"), (changed, "b.wav")))
    known = first.time_s <= cut_s
    assert first.rows[:, known].tobytes() == second.rows[:, known].tobytes()
    assert first.rows.tobytes() != second.rows.tobytes()


def test_midi_has_the_notes_that_were_played(take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "t.mid"
    run = ran(capsys, "track", take, "--instrument", "tenor sax", "--midi", path, "--tempo-bpm", 89)
    assert run.code == 0
    assert [n.pitch for n in pretty_midi.PrettyMIDI(str(path)).instruments[0].notes] == [46, 48, 50, 50, 53]
    file = mido.MidiFile(path)
    assert [m.tempo for m in file.tracks[0] if m.type == "set_tempo"] == [674157]
    assert [m.name for m in file.tracks[1] if m.type == "track_name"] == ["tenor sax, sounding pitch"]
    assert "5 notes, Bb2 ... F3, as they sound" in run.out


def test_written_pitch_follows_the_sketch_and_so_does_its_tempo(
    take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = """
tempo_bpm = 140
instrument = "tenor sax"
pitch_names = "written"
a4_hz = 442
chain = ["gain"]
cues = [{ at_s = 1.0, patch = "slower" }]
[patches.slower]
tempo_bpm = 70
"""
    path = tmp_path / "t.mid"
    run = ran(capsys, "track", take, "--sketch", sketch_file(tmp_path, text), "--midi", path)
    assert run.code == 0, run.err
    file = mido.MidiFile(path)
    # What a tenor sax plays is written 14 semitones higher: C4 D4 E4 E4 G4.
    assert [m.note for m in file.tracks[1] if m.type == "note_on"] == [60, 62, 64, 64, 67]
    # 60e6 / 140 and 60e6 / 70 microseconds a quarter.
    assert [m.tempo for m in file.tracks[0] if m.type == "set_tempo"] == [428571, 857143]
    assert "C4 ... G4, as written for tenor sax" in run.out
    assert "against A4 = 442 Hz" in run.out


def test_as_sent_notes_come_later_than_as_played(
    take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    starts = {}
    for name, more in (("played", ()), ("sent", ("--as-sent",))):
        path = tmp_path / f"{name}.mid"
        assert ran(capsys, "track", take, "--instrument", "tenor sax", "--midi", path, *more).code == 0
        starts[name] = [n.start for n in pretty_midi.PrettyMIDI(str(path)).instruments[0].notes]
    assert len(starts["sent"]) >= len(starts["played"])
    assert 0.002 < starts["sent"][0] - starts["played"][0] < 0.1


def test_json_tells_the_same_as_the_python_api(take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "track", take, "--instrument", "tenor sax", "--json", "--midi", tmp_path / "a.mid")
    told = json.loads(run.out)
    found = track(take, instrument="tenor sax")
    write_midi(found, tmp_path / "b.mid")
    assert (tmp_path / "a.mid").read_bytes() == (tmp_path / "b.mid").read_bytes()
    assert [n["midi"] for n in told["notes"]] == [n.midi for n in found.played.notes]
    tuning = tuning_of(found)
    assert told["tuning"]["median_cents"] == pytest.approx(tuning.median_cents)
    assert [n["mean_cents"] for n in told["tuning"]["notes"]] == pytest.approx([n.mean_cents for n in tuning.notes])
    assert told["range_hz"] == pytest.approx(list(found.range_hz))


@pytest.mark.parametrize(("a4_hz", "cents"), [(440.0, 0.0), (442.0, -7.85)])  # 1200 log2(440 / 442)
def test_the_tuner_reads_against_any_a4(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], a4_hz: float, cents: float
) -> None:
    take = take_file(tmp_path, tone(440.0), RATE_HZ)
    run = ran(capsys, "track", take, "--tuner", "--json", "--a4-hz", a4_hz)
    readings = json.loads(run.out)["tuning"]["readings"]
    assert len(readings) >= 3
    for reading in readings:
        assert reading["name"] == "A4"
        assert reading["cents"] == pytest.approx(cents, abs=1.0)  # PI-6: what tuners claim


def test_stereo_is_folded_and_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    x = tone(220.0)
    mono = take_file(tmp_path, x, RATE_HZ, "mono.wav")
    stereo = take_file(tmp_path, np.hstack([x, x]), RATE_HZ, "stereo.wav")
    run = ran(capsys, "track", stereo)
    assert "left and right folded to their mean" in run.out
    assert track(stereo).rows.tobytes() == track(mono).rows.tobytes()


def test_channels_that_cancel_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    x = tone(220.0)
    for n, other in enumerate((-x, -0.9 * x)):  # 0.05 of the sum is left: 26 dB less than 0.95
        run = ran(capsys, "track", take_file(tmp_path, np.hstack([x, other]), RATE_HZ, f"{n}.wav"))
        (warning,) = [line for line in run.err.splitlines() if line.startswith("warning")]
        assert "left and right cancel each other" in warning
    assert "is 26 dB softer" in warning
    one_sided = ran(capsys, "track", take_file(tmp_path, np.hstack([x, 0.0 * x]), RATE_HZ, "one.wav"))
    assert "warning" not in one_sided.err


def test_the_picture_is_drawn(take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, begins in (("t.png", b"\x89PNG"), ("t.svg", b"<?xml"), ("t.pdf", b"%PDF")):
        assert ran(capsys, "track", take, "--plot", tmp_path / name).code == 0
        assert (tmp_path / name).read_bytes().startswith(begins)


def test_a_name_with_signs_of_money_is_drawn_as_it_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = take_file(tmp_path, tone(220.0, 0.3), RATE_HZ, "two$_{fee$.wav")
    assert ran(capsys, "track", take, "--plot", tmp_path / "t.svg").code == 0


@pytest.mark.parametrize(
    "sound",
    [
        np.zeros((RATE_HZ, 1)),
        0.1 * np.random.default_rng(1).standard_normal((2 * RATE_HZ, 1)),
        np.zeros((3, 1)),
        sum(tone(f) for f in (196.0, 277.2, 349.2, 493.9)) / 4.0,
    ],
    ids=["silence", "noise", "three samples", "four voices"],
)
def test_what_has_no_pitch_is_unsure_and_no_failure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], sound: np.ndarray
) -> None:
    take = take_file(tmp_path, sound, RATE_HZ)
    outputs = ("--csv", tmp_path / "t.csv", "--midi", tmp_path / "t.mid", "--plot", tmp_path / "t.png")
    run = ran(capsys, "track", take, *outputs, "--tuner")
    assert run.code == 0
    assert "Traceback" not in run.err
    assert names(tmp_path) == ["t.csv", "t.mid", "t.png", "take.wav"]
    mido.MidiFile(tmp_path / "t.mid")


def test_silence_and_noise_are_said_to_be_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "track", take_file(tmp_path, np.zeros((RATE_HZ, 1)), RATE_HZ))
    assert "no notes; voiced 0 %" in run.out
    assert "warning: the take is nearly silent" in run.err
    noise = 0.1 * np.random.default_rng(1).standard_normal((2 * RATE_HZ, 1))
    assert "hardly any pitch is sure" in ran(capsys, "track", take_file(tmp_path, noise, RATE_HZ)).err


@pytest.mark.parametrize("f0_hz", [98.0, 2093.0])
def test_a_take_outside_the_range_gives_no_pitch_outside_it(tmp_path: Path, f0_hz: float) -> None:
    found = track(take_file(tmp_path, tone(f0_hz), RATE_HZ), range_hz=(250.0, 800.0))
    given = found.f0_hz[found.f0_hz > 0.0]
    assert given.size == 0 or (given.min() > 240.0 and given.max() < 830.0)


BAD = {
    "upside down": (("--low-hz", 900, "--high-hz", 100), "range 900 ... 100 Hz: the lower end comes first"),
    "equal": (("--low-hz", 100, "--high-hz", 100), "range 100 ... 100 Hz: the lower end comes first"),
    "one end": (("--low-hz", 100), "--low-hz and --high-hz go together"),
    "nan": (("--low-hz", "nan", "--high-hz", 100), "range nan ... 100 Hz"),
    "too high": (("--low-hz", 100, "--high-hz", 9000), "range 100 ... 9000 Hz, allowed 25 ... 5000 Hz"),
    "no horn": (("--instrument", "trombome"), 'no horn "trombome"; did you mean "trombone"?'),
    "written": (("--pitch-names", "written"), "written pitch needs a horn"),
    "a4": (("--a4-hz", 300), "a4_hz = 300 Hz, allowed 380 ... 480 Hz"),
    "tempo": (("--tempo-bpm", 0), "--tempo-bpm = 0 bpm, allowed 20 ... 400 bpm"),
    "bend": (("--bend-range", 0), "bend_range_semitones = 0 semitones, allowed 1 ... 96 semitones"),
    "bend in part of a cent": (("--bend-range", 2.005), "bend_range_semitones = 2.005 semitones, allowed whole cents"),
    "as sent": (("--as-sent",), "--as-sent says how the MIDI file is written"),
    "picture": (("--plot", "t.gif"), 't.gif: cannot draw ".gif" files, allowed .png | .svg | .pdf'),
    "folder": (("--csv", "nowhere/t.csv"), "does not exist"),
    "no sketch": (("--sketch", "none.toml"), "none.toml"),
}


@pytest.mark.parametrize(("arguments", "message"), BAD.values(), ids=BAD)
def test_what_is_wrong_gets_one_line(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[object, ...],
    message: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    take = take_file(tmp_path, tone(220.0, 0.3), RATE_HZ)
    assert message in complaint(ran(capsys, "track", take, *arguments))
    assert names(tmp_path) == ["take.wav"]


def test_outputs_never_replace_the_take_or_each_other(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = take_file(tmp_path, tone(220.0, 0.3), RATE_HZ)
    before = take.read_bytes()
    assert "is the take itself" in complaint(ran(capsys, "track", take, "--midi", take))
    same = tmp_path / "t.x"
    assert "two outputs would be one file" in complaint(ran(capsys, "track", take, "--midi", same, "--csv", same))
    assert take.read_bytes() == before


@pytest.mark.parametrize("option", ["--csv", "--midi", "--plot"])
def test_outputs_never_replace_the_sketch(tmp_path: Path, capsys: pytest.CaptureFixture[str], option: str) -> None:
    take = take_file(tmp_path, tone(220.0, 0.3), RATE_HZ)
    sketch = sketch_file(tmp_path)
    before = sketch.read_bytes()
    (tmp_path / "other.png").symlink_to(sketch)
    for out in (sketch, tmp_path / "other.png"):
        assert "is the sketch itself" in complaint(ran(capsys, "track", take, "--sketch", sketch, option, out))
    assert sketch.read_bytes() == before


def test_rates_that_cannot_carry_a_horn_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = take_file(tmp_path, tone(550.0, 0.3, 8_000), 8_000)
    run = ran(capsys, "track", take, "--instrument", "piccolo")
    assert run.code == 0
    assert "at a sample rate of 8000 Hz pitch is looked for up to 1600 Hz; the piccolo reaches 4699 Hz" in run.err
    assert ran(capsys, "track", take).code == 0


def test_a_range_is_looked_in_as_far_as_the_rate_carries_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # A pitch is looked for up to a fifth of the rate; render and check limit a sketch's range in the same way.
    take = take_file(tmp_path, tone(550.0, 0.3, 8_000), 8_000)
    sketch = sketch_file(tmp_path, 'lowest_hz = 100.0\nhighest_hz = 2000.0\nchain = ["gain"]')
    for how in (("--sketch", sketch), ("--low-hz", 100, "--high-hz", 2000)):
        run = ran(capsys, "track", take, *how)
        assert run.code == 0, run.err
        assert "looked for 100.0 ... 1600.0 Hz" in run.out
        assert run.err.count("warning") == 1
        assert "at a sample rate of 8000 Hz pitch is looked for up to 1600 Hz; the range asked for reaches 2000 Hz" in (
            run.err
        )
    high = ran(capsys, "track", take, "--low-hz", 1700, "--high-hz", 2000)
    assert "allowed up to 1600 Hz" in complaint(high)


def test_a_range_narrows_what_a_horn_reaches(tmp_path: Path) -> None:
    take = take_file(tmp_path, tone(220.0), RATE_HZ)
    found = track(take, instrument="tenor sax", range_hz=(150.0, 400.0))
    assert found.range_hz == (150.0, 400.0)
    assert found.horn is not None
    assert found.horn.name == "tenor sax"


@pytest.fixture(params=["sampled_sax", "sampled_trombone"])
def sampled(request: pytest.FixtureRequest) -> SampledHorn:
    horn: SampledHorn = request.getfixturevalue(request.param)
    return horn


def test_notes_of_sampled_horns_are_found(sampled: SampledHorn, tmp_path: Path) -> None:
    found = track(sampled.path)
    write_midi(found, tmp_path / "t.mid")
    read = pretty_midi.PrettyMIDI(str(tmp_path / "t.mid")).instruments[0].notes
    precision, recall, f_measure = note_scores(
        ((n.onset_s, n.end_s, n.f0_hz) for n in sampled.notes),
        ((n.start, n.end, hz_of(n.pitch)) for n in read),
    )
    # The bar that the project sets itself, with the onset (50 ms) and pitch (50 cents) of MIREX.
    assert f_measure >= 0.9, (precision, recall)


def test_the_command_starts_without_what_only_a_picture_or_a_sketch_needs() -> None:
    code = (
        "import sys, chainsim.cli.track; print(*(m for m in ('numpy', 'mido', 'matplotlib', 'pydantic') "
        "if m in sys.modules))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []
