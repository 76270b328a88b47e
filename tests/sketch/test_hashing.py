"""A sketch's hash follows its text and the files that it names."""

from __future__ import annotations

import hashlib
from pathlib import Path

from chainsim.sketch.hashing import named_files, sketch_hash
from chainsim.sketch.loading import load_sketch

TEXT = 'title = "band.wav"\nchain = ["reverb"]\ncue_file = "cues.csv"\n'


def test_without_files_it_is_that_of_the_text(tmp_path: Path) -> None:
    assert sketch_hash(TEXT, tmp_path) == sketch_hash(TEXT, None) == hashlib.sha256(TEXT.encode()).hexdigest()


def test_every_file_that_is_named_counts(tmp_path: Path) -> None:
    (tmp_path / "cues.csv").write_text("at_s,mute\n1,true\n")
    (tmp_path / "other.csv").write_text("at_s\n")
    (tmp_path / "sketch.toml").write_text(TEXT)
    before = load_sketch(tmp_path / "sketch.toml").sha256
    (tmp_path / "other.csv").write_text("changed")
    assert load_sketch(tmp_path / "sketch.toml").sha256 == before
    (tmp_path / "cues.csv").write_text("at_s,mute\n2,true\n")
    assert load_sketch(tmp_path / "sketch.toml").sha256 != before


def test_what_lies_elsewhere_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "inside").mkdir()
    (tmp_path / "secret.wav").write_text("x")
    assert (
        named_files('file = "../secret.wav"\nother = ["", ".", "a\\u0000b", "/etc/passwd"]', tmp_path / "inside") == {}
    )
