"""Sets in `render`: every patch at one loudness, trims that are written, soft and loud playing."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile

from chainsim import load_sketch
from tests.cli.lantern_walk import FILES, FS, PATCH_DB, SET, render, set_folder, sound
from tests.cli.running import complaint, notes, ran, sketch_file, take_file


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return set_folder(tmp_path)


def test_every_patch_at_one_loudness(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Measured by another library at 48 kHz, where its filters are those of the standard (ITU-R BS.1770)."""
    t = np.arange(5 * 48_000) / 48_000
    take_file(folder, (0.2 * np.sin(2.0 * np.pi * 440.0 * t))[:, None], 48_000)
    run = ran(capsys, *render(folder, "--all-patches", folder / "patches", "--loudness", "-23"))
    assert run.code == 0
    meter = pyloudnorm.Meter(48_000)
    for name in FILES:
        y, _ = soundfile.read(folder / "patches" / name)
        assert meter.integrated_loudness(y) == pytest.approx(-23.0, abs=0.1)
    trims = [float(v) for v in re.findall(r"trimmed by ([+-][0-9.]+) dB", run.out)]
    soft, loud, plain = trims  # in the order of the patches
    assert soft - plain == pytest.approx(12.0, abs=0.11)
    assert loud - plain == pytest.approx(-3.0, abs=0.11)


def test_a_trim_stops_at_the_ceiling(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Brought to 0 LUFS a note would peak far over full scale: it stays as much quieter as the ceiling asks."""
    arguments = render(folder, "-o", folder / "out.wav", "--patch", "soft", "--loudness", "0", "--format", "pcm16")
    run = ran(capsys, *arguments, "--ceiling", "-3", "--json")
    assert run.code == 0
    (report,) = json.loads(run.out)["rendered"]
    assert report["lowered_by_db"] == 0.0
    assert report["true_peak_dbtp"] == pytest.approx(-3.0, abs=1e-6)
    assert f"it is brought to {report['integrated_lufs']:.1f} LUFS" in run.err
    assert 20.0 * math.log10(np.abs(sound(folder / "out.wav")).max()) == pytest.approx(-3.0, abs=0.1)


def test_one_peak_keeps_all_patches_quieter(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A click in the take: no patch can be brought to -6 LUFS under -1 dBTP, and all end alike, uncompressed."""
    take = notes()
    take[len(take) // 2] = 1.0
    take_file(folder, take)
    run = ran(capsys, *render(folder, "--all-patches", folder / "p", "--loudness", "-6", "--json"))
    reports = json.loads(run.out)["rendered"]
    assert max(r["true_peak_dbtp"] for r in reports) == pytest.approx(-1.0, abs=1e-6)
    assert len({round(r["integrated_lufs"], 6) for r in reports}) == 1
    assert run.err.count("over the ceiling of -1: all are brought to") == 1


def test_trims_are_written_into_the_sketch_and_heard(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (folder / "sketch.toml").read_text()
    arguments = render(folder, "--all-patches", folder / "p", "--loudness", "-23")
    assert ran(capsys, *arguments, "--write-trims").code == 0
    after = (folder / "sketch.toml").read_text()
    lines = [line for line in after.splitlines() if line and not line.startswith("trim_db")]
    assert lines == [line for line in before.splitlines() if line]
    run = ran(capsys, *arguments, "--json", "--write-trims")
    for report in json.loads(run.out)["rendered"]:
        assert report["trim_db"] == pytest.approx(0.0, abs=0.006)  # written in hundredths of a dB
    assert (folder / "sketch.toml").read_text().count("trim_db") == len(PATCH_DB)
    run = ran(capsys, *render(folder, "-o", folder / "whole.wav"))
    take, whole = sound(folder / "take.wav"), sound(folder / "whole.wav")
    trims = {p: v.state.trim_db for p, v in load_sketch(folder / "sketch.toml").patches.items()}
    for patch, at_s in (("soft", 0.9), ("loud", 1.4), ("last act / quay", 2.5)):
        i = slice(round(at_s * FS), round(at_s * FS) + 400)
        gain = np.linalg.norm(whole[i]) / np.linalg.norm(take[i])
        assert 20.0 * math.log10(gain) == pytest.approx(PATCH_DB[patch] + trims[patch], abs=1e-4)


def test_trims_that_could_not_be_read_again_are_not_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = SET.replace("[patches.soft]", "[patches.soft]\ntrim_db = -29").replace("\n", "\r\n")
    (folder / "sketch.toml").write_bytes(text.encode())
    arguments = render(folder, "--patch", "soft", "-o", folder / "o.wav", "--write-trims", "--loudness")
    lower = ran(capsys, *arguments, "-60")
    assert "patches.soft.trim_db = -" in complaint(lower)
    assert "allowed -30 ... 30 dB" in lower.err
    assert (folder / "sketch.toml").read_bytes() == text.encode()
    assert ran(capsys, *arguments, "-50").code == 0
    assert b"\r\n" in (folder / "sketch.toml").read_bytes()
    assert b"\r\r" not in (folder / "sketch.toml").read_bytes()


def test_soft_and_loud_playing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A gain raises all alike; a gate in its place lowers soft playing and leaves the loud one."""
    t = np.arange(6 * FS) / FS
    levels = np.repeat([0.01, 0.05, 0.09], 2 * FS)
    take_file(folder, (levels * np.sin(2.0 * np.pi * 440.0 * t))[:, None])
    gated = SET.replace('type = "gain"\ngain_db = 3', 'type = "noise_gate"\nthreshold_db = -30\nfloor_db = -20')
    sketch_file(folder, gated)
    run = ran(capsys, *render(folder, "--all-patches", folder / "p", "--loudness", "-30", "--json"))
    for report in json.loads(run.out)["rendered"]:
        soft, medium, loud = (v - report["trim_db"] for v in report["dynamics"]["offset_lu"])
        db = {"soft": -12.0, "loud": 0.0, "last act / quay": 0.0}[report["patch"]]
        assert [medium, loud] == pytest.approx([db, db], abs=0.05)
        assert soft == pytest.approx(-20.0 if report["patch"] == "loud" else db, abs=0.05)
    run = ran(capsys, *render(folder, "--all-patches", folder / "p", "--loudness", "-30"))
    assert "LU against the take, and how far soft and loud playing lie apart:" in run.out
    assert re.search(r"^loud .* 39\.1$", run.out, re.MULTILINE)
    assert "19.1 LU apart." in run.out
