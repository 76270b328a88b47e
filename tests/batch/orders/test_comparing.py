"""Orders rendered and compared: what theory says of them, what is left in the folder, what a rerun does."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

import chainsim
from chainsim.audio.writing import TakeWriter
from chainsim.batch.orders.comparing import compare_orders
from chainsim.batch.orders.report import Orders
from chainsim.errors import AudioError, GraphError, SettingError, StorageError
from chainsim.resources import preset_paths
from chainsim.sketch.ordering import OrderRules

RATE_HZ = 48_000
pytestmark = pytest.mark.xdist_group("orders of five knots")  # rendered once, not in every process


def horn_like(seconds: float = 0.8, hz: float = 233.1) -> np.ndarray:
    """Notes on a floor of noise, with harmonics, so that distortion and filters have something to bite on."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    note = sum(0.2 / k * np.sin(2 * np.pi * hz * k * t) for k in range(1, 12))
    sounding = np.clip(8.0 * np.sin(2 * np.pi * 5.0 * t), 0.05, 1.0)
    return note * sounding + 1e-5 * np.random.default_rng(1).standard_normal(t.size)


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("takes") / "solo.wav"
    soundfile.write(path, horn_like(), RATE_HZ, subtype="FLOAT")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("orders")


@pytest.fixture(scope="module")
def knots(take: Path, folder: Path) -> Orders:
    return compare_orders(chainsim.load_sketch(preset_paths()["five_knots"]), [take], folder, most_groups=8)


def test_a_hundred_and_twenty_orders_cost_what_arithmetic_says(knots: Orders) -> None:
    assert len(knots.orders) == knots.possible == 120
    assert (knots.block_runs, knots.single_block_runs) == (325, 600)
    assert (knots.rendered, knots.reused) == (120, 0)


def test_what_commutes_by_theory_nulls_and_nothing_else(knots: Orders) -> None:
    # Filters and echoes are linear and time-invariant; tremolo and ring modulator both multiply by a function of time:
    # each kind commutes with itself (any text on linear systems), and neither with the other, nor with distortion.
    types = {name: entry.type_name for name, entry in knots.orders[0].variant.sketch.base.blocks.items()}
    commute = {frozenset(swap.units) for swap in knots.swaps if swap.commutes}
    assert {frozenset(types[n] for n in pair) for pair in commute} == {
        frozenset({"equalizer", "delay"}),
        frozenset({"tremolo", "ring_modulator"}),
    }
    assert len(knots.swaps) == 10
    assert all(swap.nulls == 0 for swap in knots.swaps if not swap.commutes)


def test_the_different_sounds_are_as_many_as_theory_counts(knots: Orders) -> None:
    # 78 = acyclic orientations of K(2,2,1), the pairs that do not commute: R. P. Stanley, "Acyclic orientations of
    # graphs", Discrete Mathematics 5 (1973); P. Cartier and D. Foata (1969) for words in which some letters commute.
    assert len(knots.identical) == 78
    assert all(one.all_null for one in knots.identical)
    assert max(one.worst_null_db for one in knots.identical) < -200.0


def test_groups_hold_what_sounds_alike(knots: Orders) -> None:
    assert len(knots.groups) == 8
    assert sorted(i for group in knots.groups for i in group.members) == list(range(120))
    for group in knots.groups:
        inside = knots.distances[np.ix_(group.members, group.members)]
        assert inside.max() == pytest.approx(group.group.diameter_steps)
    for one in knots.identical:
        assert len({knots.orders[i].group for i in one.members}) == 1


def test_the_rules_of_groups_are_true(knots: Orders) -> None:
    for group in knots.groups:
        following = [
            i
            for i, order in enumerate(knots.orders)
            if any(all(order.variant.relation(r.first, r.second) == r.how for r in rule) for rule in group.common.rules)
        ]
        if group.common.rules:
            assert len(set(group.members) & set(following)) == group.common.followers
            assert len(following) - group.common.followers == group.common.others


def test_every_group_can_be_heard_at_one_loudness(knots: Orders, folder: Path, take: Path) -> None:
    x, _ = soundfile.read(take)
    written = knots.orders[0].figures[0].integrated_lufs
    for group in knots.groups:
        (path,) = group.files
        order = knots.orders[group.representative]
        sound, _ = soundfile.read(path, dtype="float32", always_2d=True)
        alone = chainsim.render(order.variant.sketch, x, RATE_HZ).audio
        gain = 10.0 ** (group.trims_db[0] / 20.0)
        np.testing.assert_allclose(sound, gain * alone, rtol=1e-6, atol=1e-7)
        figures = chainsim.measure_file(path)
        assert figures.peaks.true_peak_dbtp <= -1.0 + 0.01  # EBU R 128
        assert figures.loudness.integrated_lufs <= written + 0.01
    heard = [chainsim.measure_file(group.files[0]).loudness.integrated_lufs for group in knots.groups]
    assert max(heard) - min(heard) < 0.1


def test_the_sketch_of_a_group_renders_its_sound(knots: Orders, take: Path) -> None:
    x, _ = soundfile.read(take)
    for group in knots.groups[:3]:
        path = Path(group.files[0])
        (sketch,) = path.parent.glob(f"{path.name.split(', ')[0]}.toml")
        order = knots.orders[group.representative]
        np.testing.assert_array_equal(
            chainsim.render(chainsim.load_sketch(sketch), x, RATE_HZ).audio,
            chainsim.render(order.variant.sketch, x, RATE_HZ).audio,
        )


def test_the_tables_say_what_was_found(knots: Orders, folder: Path) -> None:
    said = json.loads((folder / "orders.json").read_text())
    assert [row["order"] for row in said["rows"]] == [order.name for order in knots.orders]
    assert sum(row["represents_group"] for row in said["rows"]) == len(knots.groups)
    np.testing.assert_allclose(said["distances_steps"], knots.distances)
    assert len((folder / "orders.csv").read_text().splitlines()) == 121


def test_a_rerun_renders_nothing_and_finds_the_same(knots: Orders, folder: Path, take: Path) -> None:
    sketch = chainsim.load_sketch(preset_paths()["five_knots"])
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*.*")}
    again = compare_orders(sketch, [take], folder, most_groups=8)
    assert (again.block_runs, again.rendered, again.reused) == (0, 0, 120)
    changed = {path.name for path in folder.rglob("*.*") if path.stat().st_mtime_ns != before.get(path)}
    assert changed == {"orders.json"}  # which says what this run did
    np.testing.assert_array_equal(again.distances, knots.distances)
    assert [g.members for g in again.groups] == [g.members for g in knots.groups]


@pytest.fixture
def three() -> chainsim.Sketch:
    return chainsim.parse_sketch(
        """
chain = ["late_gate", "torn", "echo"]
[blocks.late_gate]
type = "noise_gate"
threshold_db = -40
[blocks.torn]
type = "drive"
[blocks.echo]
type = "delay"
time_ms = 60
[patches.bare]
chain = ["torn", "echo"]
"""
    )


EVERY = OrderRules(move=("late_gate", "torn", "echo"))


def test_only_what_is_missing_is_made(three: chainsim.Sketch, take: Path, tmp_path: Path) -> None:
    whole = compare_orders(three, [take], tmp_path / "whole", rules=EVERY)
    part = compare_orders(three, [take], tmp_path / "part", rules=EVERY, sample=4)
    assert part.rendered == 4
    rest = compare_orders(three, [take], tmp_path / "part", rules=EVERY)
    assert (rest.rendered, rest.reused) == (2, 4)
    np.testing.assert_array_equal(rest.distances, whole.distances)
    damaged = sorted((tmp_path / "part" / "store").glob("*.npz"))[0]
    damaged.write_bytes(damaged.read_bytes()[:-100])
    assert compare_orders(three, [take], tmp_path / "part", rules=EVERY).rendered >= 1


def test_every_file_is_the_single_render_to_the_bit(three: chainsim.Sketch, take: Path, tmp_path: Path) -> None:
    found = compare_orders(three, [take], tmp_path, rules=EVERY, every_file=True)
    x, _ = soundfile.read(take)
    for order in found.orders:
        (path,) = (tmp_path / "audio").glob(f"{order.name.replace(' > ', ' - ')}, solo, *.wav")
        sound, _ = soundfile.read(path, dtype="float32", always_2d=True)
        expected = chainsim.render(order.variant.sketch, x, RATE_HZ).audio
        np.testing.assert_array_equal(sound, expected.astype(np.float32))


def test_an_order_whose_detector_would_listen_downstream_is_left_out_and_counted(take: Path) -> None:
    sketch = chainsim.parse_sketch(
        """
chain = ["torn", "late_gate", "echo"]
[blocks.torn]
type = "drive"
[blocks.late_gate]
type = "noise_gate"
listens_to = "torn"
[blocks.echo]
type = "delay"
"""
    )
    found = compare_orders(sketch, [take])
    # Of 6 orders 3 have the gate before the block that it listens to.
    assert len(found.left_out) == len(found.orders) == 3
    assert all("loop through listens_to" in reason for reason in found.left_out.values())
    assert all(name.index("late_gate") < name.index("torn") for name in found.left_out)


def test_an_unreadable_take_among_many_is_told_once(three: chainsim.Sketch, take: Path, tmp_path: Path) -> None:
    (tmp_path / "torn.wav").write_bytes(b"RIFF")
    soundfile.write(tmp_path / "late.wav", np.r_[horn_like(0.3), np.nan, 0.0], RATE_HZ, subtype="FLOAT")
    takes = [tmp_path / "torn.wav", take, tmp_path / "late.wav"]
    found = compare_orders(three, takes, tmp_path / "out", rules=EVERY)
    assert found.takes == (str(take),)
    assert [line.split(":")[0] for line in found.failed] == [str(takes[0]), str(takes[2])]
    assert len(found.orders) == 6
    with pytest.raises(AudioError, match="torn"):
        compare_orders(three, [takes[0]], tmp_path / "none", rules=EVERY)


def test_two_takes_differ_where_one_does(three: chainsim.Sketch, take: Path, tmp_path: Path) -> None:
    soundfile.write(tmp_path / "other.wav", 0.3 * horn_like(0.5, 415.3), RATE_HZ, subtype="FLOAT")
    one, other, both = (
        compare_orders(three, takes, rules=EVERY)
        for takes in ([take], [tmp_path / "other.wav"], [take, tmp_path / "other.wav"])
    )
    np.testing.assert_allclose(both.distances, np.maximum(one.distances, other.distances), rtol=1e-9)
    assert [len(order.figures) for order in both.orders] == [2] * 6


def test_a_swap_is_two_orders(three: chainsim.Sketch, take: Path, tmp_path: Path) -> None:
    found = compare_orders(three, [take], tmp_path, swap=("torn", "late_gate"), threshold_steps=0.0)
    assert [order.name for order in found.orders] == ["late_gate > torn", "torn > late_gate"]
    assert len(found.groups) == 2
    assert all(Path(group.files[0]).is_file() for group in found.groups)


def test_lanes_are_tried_beside_series(three: chainsim.Sketch, take: Path) -> None:
    rules = OrderRules(side_by_side=(("torn", "echo"),))
    found = compare_orders(three, [take], rules=rules)
    assert {order.name for order in found.orders} == {"torn > echo", "echo > torn", "[torn | echo]"}
    assert {fork.units for fork in found.forks} == {("torn", "echo")}
    assert found.distances[0].max() > 1.0


def test_what_cannot_be_done_is_said(three: chainsim.Sketch, take: Path, tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="no takes"):
        compare_orders(three, [])
    loop = 'chain = ["late_gate", "torn"]\n[blocks.late_gate]\ntype = "noise_gate"\nlistens_to = "torn"\n'
    rules = OrderRules(before=(("late_gate", "torn"),))
    with pytest.raises(GraphError, match="loop through listens_to"):
        compare_orders(chainsim.parse_sketch(loop + '[blocks.torn]\ntype = "drive"\n'), [take], rules=rules)


def test_a_full_disk_ends_the_run_and_says_how_far_it_came(
    three: chainsim.Sketch, take: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: object, key: str, *rest: object, **options: object) -> None:
        raise StorageError(f"{key}: cannot be written: No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("chainsim.batch.results.store.ResultStore.keep", full)
        with pytest.raises(StorageError, match="0 of 6 sounds are there"):
            compare_orders(three, [take], tmp_path, rules=EVERY)
    assert compare_orders(three, [take], tmp_path, rules=EVERY).rendered == 6


def heard_lufs(found: Orders) -> list[float]:
    return [chainsim.measure_file(str(group.files[0])).loudness.integrated_lufs for group in found.groups]


def test_files_have_the_loudness_of_the_command_that_lists_them(
    three: chainsim.Sketch, take: Path, tmp_path: Path
) -> None:
    for loudness_lufs in (-45.0, -35.0, -45.0):
        found = compare_orders(three, [take], tmp_path, rules=EVERY, most_groups=2, loudness_lufs=loudness_lufs)
        # EBU R 128 asks for 0.1 LU; the gate of ITU-R BS.1770 lets quiet parts of a take in or out with its level
        assert heard_lufs(found) == pytest.approx([loudness_lufs] * 2, abs=0.1)
        listed = {Path(str(group.files[0])).name for group in found.groups}
        assert listed <= {path.name for path in tmp_path.glob("*.wav")}
    # Two sounds of the louder run stay, and are told of; its sketches are those of the others.
    assert [line for line in found.warnings if "earlier" in line] == [
        f"{tmp_path}: 2 of the .wav and .toml files there are from earlier commands; orders.csv lists the sounds of"
        " this one"
    ]


def test_a_recording_is_tried_once(three: chainsim.Sketch, take: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.wav"
    again.write_bytes(take.read_bytes())
    found = compare_orders(three, [take, again, take], rules=EVERY)
    assert (found.takes, found.rendered, found.reused) == ((str(take),), 6, 0)
    assert found.warnings == (f"{again}: is the same recording as {take}, and is tried once",)


def test_takes_longer_than_what_is_compared_are_told(
    three: chainsim.Sketch, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    soundfile.write(tmp_path / "long.wav", horn_like(0.5), RATE_HZ, subtype="FLOAT")
    monkeypatch.setattr("chainsim.batch.orders.making.COMPARED_S", 0.4)
    found = compare_orders(three, [tmp_path / "long.wav"], swap=("torn", "echo"))
    assert found.warnings == (
        f"{tmp_path / 'long.wav'}: lasts 0.5 s; only its first 0.4 s are compared, nulls are of all of it",
    )


def failing(monkeypatch: pytest.MonkeyPatch, fails: Callable[[Path], bool]) -> None:
    """Let some files be refused when they are to get their names."""
    write = TakeWriter.write

    def refuse(self: TakeWriter, y: np.ndarray) -> None:
        if fails(Path(self.path)):
            raise AudioError(f"{self.path}: cannot be written: Permission denied")
        write(self, y)

    monkeypatch.setattr(TakeWriter, "write", refuse)


def test_an_order_that_cannot_be_rendered_failed_and_is_not_left_out(
    three: chainsim.Sketch, take: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing(monkeypatch, lambda path: path.name.startswith("torn - echo"))
    found = compare_orders(three, [take], tmp_path, rules=EVERY, every_file=True)
    assert (len(found.orders), found.left_out) == (5, {})
    (line,) = found.failed
    assert line.startswith("torn > echo > late_gate: ")
    assert line.endswith("Permission denied")


def test_a_file_that_could_not_be_written_is_not_listed(
    three: chainsim.Sketch, take: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing(monkeypatch, lambda path: path.name.startswith("1 "))
    found = compare_orders(three, [take], tmp_path, rules=EVERY, most_groups=2)
    assert [[file is None for file in group.files] for group in found.groups] == [[True], [False]]
    assert len(found.failed) == 1
    rows = json.loads((tmp_path / "orders.json").read_text())["rows"]
    assert [row["file"] is not None for row in rows if row["represents_group"]].count(True) == 1


NO_NUMBER = float("nan")


@pytest.mark.parametrize(
    ("options", "line"),
    [
        ({"threshold_steps": -1.0}, "threshold_steps = -1, allowed from 0 on"),
        ({"threshold_steps": NO_NUMBER}, "threshold_steps = nan"),
        ({"most_groups": 0}, "most = 0 groups, allowed from 1 on"),
        ({"loudness_lufs": NO_NUMBER}, r"loudness_lufs = nan LUFS, allowed -60 \.\.\. 0"),
        ({"loudness_lufs": 1.0}, "loudness_lufs = 1 LUFS"),
        ({"folder": None, "every_file": True}, "every_file without a folder"),
        ({"folder": None, "scheduler": "tcp://127.0.0.1:1"}, "scheduler without a folder"),
        ({"swap": ("torn", "echo"), "most_groups": 2}, "swap beside rules, sample or most_groups"),
        ({"swap": ("torn", "echo"), "rules": EVERY}, "swap beside rules"),
    ],
)
def test_options_are_refused_before_anything_is_rendered(
    options: dict[str, Any], line: str, three: chainsim.Sketch, take: Path, tmp_path: Path
) -> None:
    with pytest.raises(SettingError, match=line):
        compare_orders(three, [take], **{"folder": tmp_path / "out", **options})
    assert not (tmp_path / "out").exists()
