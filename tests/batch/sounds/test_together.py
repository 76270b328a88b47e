"""Many sounds of one take from one graph: how much is shared, and that nothing of it is heard."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

import chainsim
from chainsim.audio.reading import take_hash
from chainsim.batch.results.keys import sketch_digest
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.together import Sound, Task, render_together
from chainsim.batch.sounds.union import Union
from chainsim.measure.fitness import measure_fitness
from chainsim.sketch.chain import BlockStep
from chainsim.sketch.model import Sketch

RATE_HZ = 48_000
GAINS = "\n".join(f'[blocks.g{i}]\ntype = "gain"\ngain_db = {i}\n' for i in range(6))
FIVE = """
chain = ["late_gate", "sweep", "torn", "thick", "echo"]
instrument = "alto sax"

[blocks.late_gate]
type = "noise_gate"
threshold_db = -40

[blocks.sweep]
type = "envelope_filter"

[blocks.torn]
type = "drive"

[blocks.thick]
type = "chorus"

[blocks.echo]
type = "delay"
time_ms = 37
feedback_percent = 20
"""


def in_order(sketch: Sketch, names: Sequence[str]) -> Sketch:
    return replace(sketch, base=replace(sketch.base, chain=tuple(BlockStep(name) for name in names)))


def every_order(sketch: Sketch, names: Sequence[str]) -> dict[str, Sketch]:
    return {" ".join(order): in_order(sketch, order) for order in itertools.permutations(names)}


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Half a second: a note, a rest, a note, on a floor of noise."""
    rng = np.random.default_rng(7)
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    note = sum(0.2 / k * np.sin(2 * np.pi * 233.1 * k * t) for k in range(1, 9))
    x = note * ((t < 0.2) | (t > 0.3)) + 1e-4 * rng.standard_normal(t.size)
    soundfile.write(tmp_path / "take.wav", x, RATE_HZ, subtype="DOUBLE")
    return tmp_path / "take.wav"


@pytest.mark.parametrize(
    ("blocks", "runs", "single_runs"),
    [(2, 4, 4), (3, 15, 18), (4, 64, 96), (5, 325, 600), (6, 1956, 4320)],
)
def test_orders_run_each_common_beginning_once(blocks: int, runs: int, single_runs: int) -> None:
    # Of n blocks n! / (n - k)! beginnings of k blocks differ: their sum, against n * n! (arithmetic).
    assert runs == sum(math.perm(blocks, k) for k in range(1, blocks + 1))
    names = [f"g{i}" for i in range(blocks)]
    sketch = chainsim.parse_sketch(f"chain = {names}\n{GAINS}")
    union = Union(RATE_HZ, 1, every_order(sketch, names))
    assert union.block_runs == runs
    assert union.single_block_runs == single_runs


def test_a_beginning_by_beginning_cut_costs_no_run() -> None:
    names = [f"g{i}" for i in range(5)]
    orders = every_order(chainsim.parse_sketch(f"chain = {names}\n{GAINS}"), names)
    parts = [Union(RATE_HZ, 1, {k: s for k, s in orders.items() if k.startswith(name)}) for name in names]
    assert sum(part.block_runs for part in parts) == 325


def test_sounds_of_a_union_are_those_of_single_renders_to_the_bit(take: Path, tmp_path: Path) -> None:
    sketch = chainsim.parse_sketch(FIVE)
    chains = [*itertools.islice(itertools.permutations(sketch.block_order), 0, 120, 7)]
    sketches = {str(i): in_order(sketch, chain) for i, chain in enumerate(chains)}
    lanes = FIVE.replace('"torn", "thick"', '{ lanes = ["torn", { chain = ["thick"], pan = 0.5 }] }')
    sketches["lanes"] = chainsim.parse_sketch(lanes)
    sketches["long"] = chainsim.parse_sketch(
        FIVE.replace('"thick", "echo"', '"hall"') + '[blocks.hall]\ntype = "reverb"'
    )
    sketches["mono"] = chainsim.parse_sketch('feed = "mono"' + FIVE)
    sketches["cued"] = chainsim.parse_sketch(
        FIVE + '[patches.bare]\nchain = ["torn"]\n[[cues]]\nat_s = 0.1\npatch = "bare"\n'
    )
    sounds = tuple(Sound(key, s, tmp_path / f"{key}.wav") for key, s in sketches.items())
    result = render_together(Task(take, sounds, tmp_path / "store"), threads=2)
    assert [d.key for d in result.done] == list(sketches)
    assert not [d.error for d in result.done if d.error]
    assert result.block_runs < result.single_block_runs
    x, _ = soundfile.read(take)
    for key, each in sketches.items():
        expected = chainsim.render(each, x, RATE_HZ).audio
        sound, _ = soundfile.read(tmp_path / f"{key}.wav", dtype="float32", always_2d=True)
        assert sound.shape == expected.shape, key
        np.testing.assert_array_equal(sound, expected.astype(np.float32), key)


def test_figures_are_those_of_the_file(take: Path, tmp_path: Path) -> None:
    sketch = chainsim.parse_sketch(FIVE)
    render_together(Task(take, (Sound("five", sketch, tmp_path / "five.wav"),), tmp_path / "store"))
    figures = ResultStore(tmp_path / "store").figures("five")
    assert figures is not None
    measured = chainsim.measure_file(tmp_path / "five.wav")
    checked = chainsim.check_sketch(sketch)
    assert figures.integrated_lufs == pytest.approx(measured.loudness.integrated_lufs, abs=1e-3)
    assert figures.true_peak_dbtp == pytest.approx(measured.peaks.true_peak_dbtp, abs=1e-3)
    assert figures.centroid_hz == pytest.approx(measured.centroid_hz, rel=1e-3)
    assert figures.latency_ms == pytest.approx(checked.states[0].latency_ms[0])
    assert figures.frames == round(measured.duration_s * RATE_HZ)
    assert figures.gate_openings == 2  # one a note


def test_rests_are_those_of_the_take(tmp_path: Path) -> None:
    """Hiss of -60 dBFS between two notes: a gain shifts its level, one that is late too; a hall rings there."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    note = 0.3 * np.sin(2 * np.pi * 300.0 * t) * ((t < 0.6) | (t > 1.4))
    x = note + 1e-3 * np.random.default_rng(7).standard_normal(t.size)
    soundfile.write(tmp_path / "take.wav", x, RATE_HZ, subtype="DOUBLE")
    head = 'chain = ["a"]\n[blocks.a]\ntype ='
    sketches = {
        "plain": f'{head} "gain"',
        "late": f'{head} "gain"\ngain_db = 6\nlatency_ms = 150',
        "hall": f'{head} "reverb"\ndecay_s = 6',
    }
    sounds = tuple(Sound(key, chainsim.parse_sketch(text)) for key, text in sketches.items())
    render_together(Task(tmp_path / "take.wav", sounds, tmp_path / "store"))
    store = ResultStore(tmp_path / "store")
    found = {key: figures.rests_dbfs for key in sketches if (figures := store.figures(key)) is not None}
    assert found["plain"] == pytest.approx(-60.0, abs=0.1)
    assert found["plain"] == pytest.approx(measure_fitness(x, RATE_HZ).fitness.noise_rms_dbfs, abs=0.1)  # as check says
    assert found["late"] == pytest.approx(found["plain"] + 6.0, abs=1e-6)
    assert found["hall"] > -45.0


def test_what_cannot_be_built_is_left_out_with_the_reason(take: Path, tmp_path: Path) -> None:
    good = chainsim.parse_sketch('chain = ["gain"]')
    loop = chainsim.parse_sketch(
        'chain = ["late_gate", "echo"]\n[blocks.late_gate]\ntype = "noise_gate"\nlistens_to = "echo"\n'
        '[blocks.echo]\ntype = "delay"'
    )
    high = chainsim.parse_sketch(
        'chain = ["tone"]\n[blocks.tone]\ntype = "equalizer"\nbands = [{ shape = "notch", freq_hz = 30000 }]'
    )
    sounds = (Sound("loop", loop), Sound("good", good), Sound("high", high))
    result = render_together(Task(take, sounds, tmp_path / "store"))
    assert [(d.key, d.built) for d in result.done] == [("loop", False), ("good", True), ("high", False)]
    assert "loop through listens_to" in (result.done[0].error or "")
    assert "30000" in (result.done[2].error or "")
    store = ResultStore(tmp_path / "store")
    assert store.has("good")
    assert not store.has("loop")
    assert not store.has("high")


def test_an_unreadable_take_fails_every_sound_and_raises_nothing(tmp_path: Path) -> None:
    (tmp_path / "take.wav").write_text("no sound")
    sounds = tuple(Sound(key, chainsim.parse_sketch('chain = ["gain"]')) for key in ("a", "b"))
    result = render_together(Task(tmp_path / "take.wav", sounds, tmp_path / "store"))
    assert all("take.wav" in (d.error or "") for d in result.done)


def test_told_to_stop_it_leaves_nothing_half_made(take: Path, tmp_path: Path) -> None:
    audio = tmp_path / "audio"
    audio.mkdir()
    sounds = (Sound("a", chainsim.parse_sketch('chain = ["gain"]'), audio / "a.wav"),)
    with pytest.raises(CancelledError):
        render_together(Task(take, sounds, tmp_path / "store"), keep_going=lambda: False)
    assert not list(audio.iterdir())
    assert not ResultStore(tmp_path / "store").has("a")


def test_a_sound_that_fails_on_the_way_leaves_the_rest_alone(take: Path, tmp_path: Path) -> None:
    # 24 dB in each of 34 blocks: 816 dB more than a 32-bit float holds (1.8e308 at 64 bits, 3.4e38 at 32).
    names = [f"up_{i}" for i in range(34)]
    loud = f"chain = {names}\n" + "".join(f'[blocks.{n}]\ntype = "gain"\ngain_db = 24\n' for n in names)
    sounds = (
        Sound("loud", chainsim.parse_sketch(loud), tmp_path / "loud.wav"),
        Sound("good", chainsim.parse_sketch('chain = ["gain"]'), tmp_path / "good.wav"),
    )
    result = render_together(Task(take, sounds, tmp_path / "store"))
    assert "not a finite number" in (result.done[0].error or "")
    assert result.done[1].error is None
    assert (tmp_path / "good.wav").is_file()
    assert {p.name for p in tmp_path.iterdir()} == {"take.wav", "good.wav", "store"}
    assert not (tmp_path / "loud.wav").exists()


LATE = '[blocks.late]\ntype = "gain"\nlatency_ms = 3\n'
WARNED = {
    "comb": 'chain = [{ lanes = ["late", { chain = ["gain"], pan = 0.5 }] }]\n' + LATE,
    "early": f'chain = ["late", "gate"]\n{LATE}[blocks.gate]\ntype = "noise_gate"\nlistens_to = "input"\n',
    "long": 'chain = ["echo"]\n[blocks.echo]\ntype = "delay"\nfeedback_percent = 99\ntime_ms = 1000\n',
    "high": 'chain = ["late", "bell"]\n' + LATE + '[blocks.bell]\ntype = "ring_modulator"\nfreq_hz = 4000\n',
    "plain": 'chain = ["late"]\n' + LATE,
    "cued": 'chain = ["gain"]\n[patches.bare]\nchain = []\n[[cues]]\nat_s = 3\npatch = "bare"\n',
}


def test_each_sound_is_warned_of_what_is_its_own(tmp_path: Path) -> None:
    rate_hz = 8_000
    soundfile.write(tmp_path / "take.wav", np.full(800, 0.1), rate_hz, subtype="FLOAT")
    sketches = {key: chainsim.parse_sketch(text) for key, text in WARNED.items()}
    sounds = tuple(Sound(key, sketch) for key, sketch in sketches.items() if key != "long")
    result = render_together(Task(tmp_path / "take.wav", sounds, tmp_path / "store"))
    store = ResultStore(tmp_path / "store")
    found = {sound.key: figures.warnings for sound in sounds if (figures := store.figures(sound.key)) is not None}
    expected = {key: tuple(chainsim.check_sketch(sketches[key], rate_hz).warnings) for key in found}  # each alone
    expected["cued"] = ('the cue "patch bare" at 3 s comes after the take, which lasts 0.1 s',)
    assert found == expected
    assert [len(lines) for lines in found.values()] == [1, 1, 1, 0, 1]
    assert set(result.warnings) == {line for lines in found.values() for line in lines}


def test_the_tail_of_one_sketch_is_no_matter_of_another() -> None:
    graph = Union(48_000, 1, {key: chainsim.parse_sketch(WARNED[key]) for key in ("long", "plain")}).graph
    assert graph is not None
    assert [line.startswith("the tail may go on for") for line in graph.own_warnings["long"]] == [True]
    assert (graph.own_warnings["plain"], graph.warnings) == ([], graph.own_warnings["long"])


def test_of_a_take_that_is_cut_off_every_sound_is_warned(take: Path, tmp_path: Path) -> None:
    take.write_bytes(take.read_bytes()[:-80_000])
    (sound,) = sounds = (Sound("a", chainsim.parse_sketch('chain = ["gain"]')),)
    result = render_together(Task(take, sounds, tmp_path / "store"))
    figures = ResultStore(tmp_path / "store").figures(sound.key)
    assert figures is not None
    (line,) = figures.warnings
    assert line.startswith("the take is cut off or damaged: 0.21 s of 0.50 s are missing")
    assert result.warnings == (f"{take}: {line.removeprefix('the take ')}",)


def changing(take: Path, path: Path) -> Callable[[], bool]:
    """Write over a file while a take is rendered."""

    def change() -> bool:
        path.write_bytes(take.read_bytes())
        return True

    return change


def test_a_take_that_changes_while_it_is_rendered_gives_no_sound(take: Path, tmp_path: Path) -> None:
    planned = take_hash(take)
    soundfile.write(tmp_path / "other.wav", np.zeros(RATE_HZ // 2), RATE_HZ, subtype="DOUBLE")
    sounds = (Sound("a", chainsim.parse_sketch('chain = ["gain"]'), tmp_path / "a.wav"),)
    task = Task(take, sounds, tmp_path / "store", take_sha256=planned)
    result = render_together(task, keep_going=changing(tmp_path / "other.wav", take))
    assert [done.error for done in result.done] == [
        f"{take}: changed while it was rendered; run the same command again"
    ]
    again = render_together(task)  # it is the other one now, and the key is not of that
    assert [done.error for done in again.done] == [done.error for done in result.done]
    assert not ResultStore(tmp_path / "store").has("a")
    assert not (tmp_path / "a.wav").exists()


def test_a_file_of_a_sketch_that_changes_leaves_other_sketches_alone(take: Path, tmp_path: Path) -> None:
    soundfile.write(tmp_path / "room.wav", np.r_[1.0, np.zeros(99)], RATE_HZ, subtype="FLOAT")
    text = 'chain = ["room"]\n[blocks.room]\ntype = "convolver"\nfile = "room.wav"\n'
    sketches = {
        "room": chainsim.parse_sketch(text, folder=tmp_path),
        "good": chainsim.parse_sketch('chain = ["gain"]', folder=tmp_path),
    }
    sounds = tuple(Sound(key, each, digest=sketch_digest(each)) for key, each in sketches.items())
    task = Task(take, sounds, tmp_path / "store", take_sha256=take_hash(take))
    result = render_together(task, keep_going=changing(take, tmp_path / "room.wav"))
    assert [done.error for done in result.done] == [
        "a file that the sketch names changed while it was rendered; run the same command again",
        None,
    ]
    assert not ResultStore(tmp_path / "store").has("room")


def test_what_no_file_can_hold_fails_without_one_too(take: Path, tmp_path: Path) -> None:
    # As above: 34 times 24 dB are beyond 32-bit floats, and well within those of 64 bits.
    names = [f"up_{i}" for i in range(34)]
    loud = f"chain = {names}\n" + "".join(f'[blocks.{n}]\ntype = "gain"\ngain_db = 24\n' for n in names)
    errors = []
    for audio in (None, tmp_path / "loud.wav"):
        sounds = (Sound("loud", chainsim.parse_sketch(loud), audio),)
        errors += [done.error for done in render_together(Task(take, sounds, tmp_path / "store")).done]
    assert errors[0] == errors[1]
    assert "is not a finite number of 32 bits" in (errors[0] or "")
    assert not ResultStore(tmp_path / "store").has("loud")
