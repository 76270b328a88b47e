"""Settings written into a sketch's text: nothing else changes, however the tables are written."""

from __future__ import annotations

import copy
import math
import tomllib
from typing import Any

import pytest

from chainsim.errors import SketchError
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.rewriting import with_settings, without_tables

WAH = 'type = "envelope_filter"'
LAYOUTS = [
    f'chain = ["wah", "reverb"]  # one\n[blocks.wah]\n{WAH}\nq = 3  # sharp\n\n# --- two\n[patches.q]\n',
    f'chain = ["wah", "reverb"]\n[blocks]\nwah = {{ {WAH} }}\n[patches.q]\n',
    f'chain = ["wah", "reverb"]\nblocks.wah.{WAH}\n',
    f'chain = ["wah", "reverb"]\nblocks = {{ wah = {{ {WAH} }} }}\n[patches.q]\n',
    f'chain = ["wah", "reverb"]\n[blocks.wah]\n{WAH}\n[patches.q]\n[blocks.reverb]\nsize = 1.5\n# end\n',
    f'chain = ["wah", "reverb", "tone"]\n[blocks.wah]\n{WAH}\n[blocks.tone]\ntype = "equalizer"\n'
    '[[blocks.tone.bands]]\nshape = "bell"\nfreq_hz = 200\n',
    f'chain = ["wah", "reverb"]\r\n\r\n# one\r\n[blocks.wah]\r\n{WAH}\r\n',
    f'tempo_bpm = 60\nchain = ["wah",\n  "reverb"]\n[blocks.wah]\n{WAH}\n[patches.q]\n[house]\nvenue = "marsh"\n',
]


@pytest.mark.parametrize("text", LAYOUTS)
def test_only_the_settings_change(text: str) -> None:
    settings: dict[tuple[str, str], Any] = {
        ("wah", "q"): 2.5,
        ("reverb", "space"): "plate",
        ("reverb", "wet_db"): -math.inf,
        ("", "tempo_bpm"): 96,
    }
    found = with_settings(text, settings)
    wanted: dict[str, Any] = copy.deepcopy(tomllib.loads(text))
    wanted["tempo_bpm"] = 96
    wanted["blocks"]["wah"]["q"] = 2.5
    wanted["blocks"].setdefault("reverb", {}).update(space="plate", wet_db="off")
    assert tomllib.loads(found) == wanted
    assert with_settings(found, settings) == found
    comments = [line.partition("#")[2] for line in text.splitlines() if "#" in line]
    assert [line.partition("#")[2] for line in found.splitlines() if "#" in line] == comments


def test_a_comment_stays_with_what_it_is_about() -> None:
    found = with_settings(LAYOUTS[0], {("wah", "q"): 2.0, ("reverb", "decay_s"): 4})
    assert found == (
        f'chain = ["wah", "reverb"]  # one\n[blocks.wah]\n{WAH}\nq = 2.0  # sharp\n\n# --- two\n[patches.q]\n'
        "\n[blocks.reverb]\ndecay_s = 4\n"
    )


def test_what_stands_for_the_same_is_put_aside() -> None:
    text = 'chain = ["echo"]\n[blocks.echo]\ntype = "delay"\ntime_ms = 300\nwet_db = -9\n'
    found = with_settings(text, {("echo", "note"): "1/8 dotted"})
    assert found == text.replace("time_ms = 300\n", "") + 'note = "1/8 dotted"\n'
    assert parse_sketch(found).base.blocks["echo"].settings.model_dump()["note"] == "1/8 dotted"


def test_words_are_written_as_words() -> None:
    for words in ('a "quay"', "a\nb\t\x01\x7f", "ünter \\ 'x'", "[blocks]"):
        assert tomllib.loads(with_settings("chain = []", {("", "title"): words}))["title"] == words


def test_what_cannot_be_written() -> None:
    with pytest.raises(SketchError, match=r"write it yourself: blocks\.wah\.q = null"):
        with_settings("chain = []", {("wah", "q"): None})


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("# a\na = 1\n# p\n[p]\nb = 2\n# of it\n\n# q\n[q]\nc = 3\n", "# a\na = 1\n# q\n[q]\nc = 3\n"),
        ('[q]\nc = 3\n[p."a b".c]\nd = [\n  [1, 2],\n  [3, 4]\n]\n[[ p.z ]]\n# end\n', "[q]\nc = 3\n# end\n"),
        ("p = { a = 1 }\n[q]\n", "p = { a = 1 }\n[q]\n"),
        ('[q]\nc = """\n[p]\n"""\n[p]\nd = 3\n', '[q]\nc = """\n[p]\n"""\n[p]\nd = 3\n'),  # cannot be told, so it stays
    ],
)
def test_tables_go_with_the_comments_over_them(text: str, left: str) -> None:
    assert without_tables(text, ["p"]) == left
