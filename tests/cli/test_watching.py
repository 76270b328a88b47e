"""What is waited for: sketches, the files that they name, and others."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest

from chainsim.cli import watching
from chainsim.cli.watching import Watched
from tests.cli.running import sketch_file

SKETCH = 'chain = []\ncue_file = "cues.csv"\n[blocks.hall]\ntype = "convolution"\nfile = "halls/quay.wav"\n'


@pytest.fixture
def watched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Watched:
    monkeypatch.setattr(watching, "EVERY_S", 0.01)
    monkeypatch.setattr(watching, "MISSING_S", 0.2)
    (tmp_path / "cues.csv").write_text("")
    (tmp_path / "take.wav").write_text("")
    return Watched([sketch_file(tmp_path, SKETCH)], [tmp_path / "take.wav"])


LONG_S = 60.0
"""More than any waiting here takes, unless it never ends."""


def ends(watched: Watched) -> bool:
    """Whether the waiting ends."""
    waiting = threading.Thread(target=watched.wait, daemon=True)
    waiting.start()
    waiting.join(LONG_S)
    return not waiting.is_alive()


def save(path: Path, text: str = "new") -> None:
    time.sleep(0.01)  # so that its time is another
    path.parent.mkdir(exist_ok=True)
    path.write_text(text)


@pytest.mark.parametrize("name", ["sketch.toml", "cues.csv", "halls/quay.wav", "take.wav"])
def test_whatever_is_heard_ends_the_waiting(watched: Watched, tmp_path: Path, name: str) -> None:
    """Also what the sketch names and was not there."""
    watched.look()
    save(tmp_path / name)
    assert ends(watched)


def test_a_broken_sketch_keeps_its_files(watched: Watched, tmp_path: Path) -> None:
    watched.look()
    save(tmp_path / "sketch.toml", "chain = [")
    assert ends(watched)
    watched.look()
    save(tmp_path / "cues.csv")
    assert ends(watched)


def test_a_file_that_is_gone_does_not_hold_up_the_rest(watched: Watched, tmp_path: Path) -> None:
    watched.look()
    (tmp_path / "cues.csv").unlink()
    save(tmp_path / "sketch.toml", "chain = []\n")
    assert ends(watched)


def test_what_is_not_saved_is_waited_for(watched: Watched, tmp_path: Path) -> None:
    save(tmp_path / "beside.wav")
    watched.look()
    save(tmp_path / "beside.wav", "newer")
    waiting = threading.Thread(target=watched.wait, daemon=True)
    waiting.start()
    waiting.join(0.3)
    assert waiting.is_alive()
    save(tmp_path / "take.wav")
    waiting.join(LONG_S)
    assert not waiting.is_alive()
