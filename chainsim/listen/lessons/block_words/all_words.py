"""The words for any block of a sketch."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeAlias

from chainsim.listen.lessons.block_words import levels, times, tone, voices
from chainsim.listen.lessons.block_words.words import BlockWords
from chainsim.sketch.model import BlockEntry

Words: TypeAlias = Callable[[Any], BlockWords]

WORDS: Mapping[str, Words] = {**levels.WORDS, **tone.WORDS, **times.WORDS, **voices.WORDS}
"""By block type."""


def words_for(entry: BlockEntry) -> BlockWords:
    """What a walk tells of a block as it is set."""
    return WORDS[entry.type_name](entry.settings)
