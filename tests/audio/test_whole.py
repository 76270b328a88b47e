"""Half-written files of killed runs are told from those that are being written."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from chainsim.audio.whole import STALE_S, UNSURE_S, PartFile, left_behind

KILLED = """
import os, sys
from pathlib import Path
from chainsim.audio.whole import PartFile
part = PartFile(Path(sys.argv[1])).part
part.write_bytes(b"half")
print(part)
sys.stdout.flush()
os._exit(9)
"""


def aged(path: Path, seconds: float) -> Path:
    os.utime(path, (time.time() - seconds,) * 2)
    return path


@pytest.mark.skipif(sys.platform == "win32", reason="there processes are not looked at")
def test_a_part_of_a_killed_process_is_left_behind_after_a_minute(tmp_path: Path) -> None:
    told = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path / "a.wav")], capture_output=True, text=True)
    part = Path(told.stdout.strip())
    assert part.read_bytes() == b"half"
    assert not left_behind(part)
    assert left_behind(aged(part, UNSURE_S + 5.0))


def test_a_part_of_a_process_that_lives_is_its_own(tmp_path: Path) -> None:
    with PartFile(tmp_path / "a.wav") as part:
        part.write_bytes(b"half")
        assert not left_behind(aged(part, 2.0 * UNSURE_S))


def test_a_part_of_another_machine_is_left_behind_after_a_day(tmp_path: Path) -> None:
    part = tmp_path / ".0123abcd-1f-0123456789ab.part"
    part.write_bytes(b"half")
    assert not left_behind(aged(part, STALE_S - 60.0))
    assert left_behind(aged(part, STALE_S + 60.0))


def test_a_number_that_no_process_has_is_no_fault(tmp_path: Path) -> None:
    ours = PartFile(tmp_path / "a.wav").part.name
    part = tmp_path / ours.replace(ours.split("-")[1], "ffffffff")
    part.write_bytes(b"half")
    assert not left_behind(aged(part, 2.0 * UNSURE_S))


@pytest.mark.parametrize("name", ["a.part", ".part", ".0123abcd.part", "0123abcd-1f-0123456789ab.part", "a.wav"])
def test_other_files_are_nobodys_parts(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(b"x")
    assert not left_behind(aged(tmp_path / name, 10.0 * STALE_S))
