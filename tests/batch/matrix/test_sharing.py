"""How the sounds of a batch are shared out: common beginnings together, and work for everyone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from chainsim import parse_sketch
from chainsim.batch.matrix.sharing import in_groups, split_tasks
from chainsim.batch.sounds.together import Sound, Task

PLAIN = 'chain = ["gain"]\n[blocks.gain]\ntype = "gain"\ngain_db = -6\n'


def test_groups_hold_common_beginnings_together_and_are_bounded() -> None:
    text = 'chain = ["a", "b"]\n[blocks.a]\ntype = "gain"\ngain_db = {}\n[blocks.b]\ntype = "gain"\ngain_db = {}\n'
    numbers = [(a, b) for b in range(5) for a in range(6)]  # the last block changes slowest
    sounds = [Sound(f"{a} {b}", parse_sketch(text.format(a, b))) for a, b in numbers]
    groups = in_groups(sounds, most=10)
    assert sorted(sound.key for group in groups for sound in group) == sorted(sound.key for sound in sounds)
    assert [len(group) for group in groups] == [10, 10, 10]
    assert [len({sound.key[0] for sound in group}) for group in groups] == [2, 2, 2]
    assert [len(group) for group in in_groups(sounds, most=29)] == [15, 15]
    assert in_groups([]) == []


@pytest.mark.parametrize(
    ("sounds", "where", "sizes"),
    [
        (12, {"threads": 1}, [6, 6]),
        (12, {"threads": 2}, [4, 4, 4]),  # as few as are worth it
        (40, {"threads": 2}, [10, 10, 10, 10]),
        (198, {"threads": 2}, [22] * 9),  # 24 at most
        (40, {"scheduler": "tcp://127.0.0.1:1"}, [8, 8, 8, 8, 8]),
    ],
)
def test_a_take_is_split_so_that_everyone_has_work(sounds: int, where: dict[str, Any], sizes: list[int]) -> None:
    plain = parse_sketch(PLAIN)
    task = Task(Path("take.wav"), tuple(Sound(str(i), plain) for i in range(sounds)), Path("out"), take_sha256="ab")
    split = split_tasks([task], **where)
    assert [len(part.sounds) for part in split] == sizes
    assert {part.take_sha256 for part in split} == {"ab"}
