"""Two sounds have one key only if nothing that can be heard differs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from chainsim import load_sketch, parse_sketch
from chainsim.batch.results import keys
from chainsim.batch.results.keys import NamedFiles, identity, sketch_digest, sound_key
from chainsim.sketch.model import Sketch

TEXT = """
chain = ["tone", "grit"]
tempo_bpm = 96
[blocks.tone]
type = "equalizer"
bands = [{ shape = "bell", freq_hz = 800, gain_db = 3 }]
[blocks.grit]
type = "drive"
[controllers.pedal]
type = "lfo"
drives = [{ setting = "grit.drive_db", low = 0, high = 12 }]
[patches.soft]
engage = ["tone"]
[patches.loud]
engage = ["tone", "grit"]
trim_db = 2
[rooms.hall]
feed = "mono"
[[cues]]
at_s = 1
patch = "soft"
"""
TAKE = "ab" * 32


def other_order(text: str) -> str:
    return text.replace('["tone", "grit"]', '["grit", "tone"]', 1)


def test_every_sound_of_a_sketch_has_its_own() -> None:
    sketch = parse_sketch(TEXT)
    reordered = replace(sketch.base, chain=sketch.base.chain[::-1])
    gain = sketch.base.blocks["grit"]
    settings = gain.settings.model_copy(update={"drive_db": 1.5})
    changed = replace(sketch.base, blocks={**sketch.base.blocks, "grit": replace(gain, settings=settings)})
    off = replace(gain, common=gain.common.model_copy(update={"engaged": False}))
    sketches = [
        sketch,
        sketch.alone(),
        sketch.alone("soft"),
        sketch.alone("loud"),
        sketch.in_room("hall"),
        sketch.in_room("hall").alone("soft"),
        replace(sketch, base=reordered),
        replace(sketch, base=changed),
        replace(sketch, base=replace(sketch.base, blocks={**sketch.base.blocks, "grit": off})),
        replace(sketch, base=replace(sketch.base, drives={})),
        replace(sketch, base=replace(sketch.base, tempo_bpm=97.0)),
        replace(sketch, base=replace(sketch.base, key="C major")),
        replace(sketch, base=replace(sketch.base, trim_db=1.0)),
        replace(sketch, cues=()),
        parse_sketch(other_order(TEXT)),
    ]
    made = [sound_key(s, TAKE) for s in sketches]
    assert len(set(made)) == len(made)
    assert sound_key(sketch, "cd" * 32) not in made


def test_the_same_sound_has_the_same_one() -> None:
    for patch in (None, "soft", "loud"):
        one, other = (parse_sketch(TEXT).alone(patch) for _ in range(2))
        assert sound_key(one, TAKE) == sound_key(other, TAKE)
    sketch = parse_sketch(TEXT)
    turned = dict(reversed(list(sketch.base.blocks.items())))  # in what order blocks are declared is not heard
    assert sound_key(replace(sketch, base=replace(sketch.base, blocks=turned)), TAKE) == sound_key(sketch, TAKE)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "# a comment\n" + text,
        lambda text: 'title = "Lantern walk"' + text,
        lambda text: text + '[orders]\nfirst = ["tone"]\n',
        lambda text: text.replace("tempo_bpm = 96", "tempo_bpm = 96.0"),
    ],
)
def test_what_is_not_heard_does_not_count(change: Callable[[str], str]) -> None:
    changed = parse_sketch(change(TEXT))
    assert changed.sha256 != parse_sketch(TEXT).sha256
    assert sound_key(changed, TAKE) == sound_key(parse_sketch(TEXT), TAKE)


def test_what_the_switches_of_a_sketch_with_cues_do_counts() -> None:
    cue = '[[cues]]\nat_s = 2\npress = "A"\n'
    switch = '[[switches]]\nname = "A"\npress = "block grit"\n'
    one, other = (parse_sketch(TEXT + cue + text) for text in (switch, switch.replace("grit", "tone")))
    assert sound_key(one, TAKE) != sound_key(other, TAKE)
    assert sound_key(one.alone("soft"), TAKE) == sound_key(other.alone("soft"), TAKE)  # where nobody presses it


def response_sketch(folder: Path, name: str = "one.wav") -> Sketch:
    for file in ("one.wav", "two.wav"):
        (folder / file).write_bytes(b"x")
    return parse_sketch(f'chain = ["room"]\n[blocks.room]\ntype = "convolver"\nfile = "{name}"\n', folder=folder)


def test_the_files_of_a_sketch_count_as_they_are_now(tmp_path: Path) -> None:
    sketch = response_sketch(tmp_path)
    before, said = sound_key(sketch, TAKE), sketch.sha256
    (tmp_path / "two.wav").write_bytes(b"y")
    assert sound_key(sketch, TAKE) == before
    (tmp_path / "one.wav").write_bytes(b"y")
    assert sound_key(sketch, TAKE) != before
    assert sketch.sha256 != said


def test_a_file_that_is_named_in_memory_counts(tmp_path: Path) -> None:
    sketch = response_sketch(tmp_path)
    room = sketch.base.blocks["room"]
    settings = room.settings.model_copy(update={"file": "two.wav"})
    swapped = replace(sketch, base=replace(sketch.base, blocks={"room": replace(room, settings=settings)}))
    before = sound_key(swapped, TAKE)
    assert before == sound_key(response_sketch(tmp_path, "two.wav"), TAKE)
    (tmp_path / "two.wav").write_bytes(b"y")
    assert sound_key(swapped, TAKE) != before


def test_files_are_read_once_for_many_sketches(tmp_path: Path) -> None:
    files, sketch = NamedFiles(), response_sketch(tmp_path)
    before = sketch_digest(sketch, files)
    (tmp_path / "one.wav").write_bytes(b"y")
    assert sketch_digest(sketch, files) == before
    assert sketch_digest(sketch, NamedFiles()) != before


def test_a_file_of_cues_and_the_code_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "s.toml").write_text('chain = ["gain"]\ncue_file = "cues.csv"\n')
    made = []
    for at_s in (1, 2):
        (tmp_path / "cues.csv").write_text(f"at_s,mute\n{at_s},true\n")
        made.append(sound_key(load_sketch(tmp_path / "s.toml"), TAKE))
    monkeypatch.setattr(keys, "identity", lambda: "9.9.9+0123456789abcdef")
    made.append(sound_key(load_sketch(tmp_path / "s.toml"), TAKE))
    assert len(set(made)) == 3


def test_the_identity_names_version_and_sources() -> None:
    version, plus, sources = identity().partition("+")
    assert (version[0].isdigit(), plus, len(sources)) == (True, "+", 16)


def test_an_upgrade_of_a_library_is_another_identity(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keys, "version", lambda name: "1.0")
    known = identity.__wrapped__()
    monkeypatch.setattr(keys, "version", lambda name: "2.0" if name == "numpy" else "1.0")
    assert identity.__wrapped__() != known
