"""The printed JSON Schema accepts what the loader accepts, judged by a validator from outside."""

from __future__ import annotations

import tomllib
from functools import cache

import jsonschema
import pytest

from chainsim.resources import preset_paths
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.schema import sketch_schema
from tests.sketch.test_loading import GOOD
from tests.test_readme import SKETCH_PAGE, fenced


@cache
def validator() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(sketch_schema())


def fits(text: str) -> None:
    """ValidationError unless the schema accepts this sketch."""
    validator().validate(tomllib.loads(text))


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(sketch_schema())


@pytest.mark.parametrize("name", preset_paths())
def test_presets_fit(name: str) -> None:
    fits(preset_paths()[name].read_text())


def test_good_sketches_fit() -> None:
    fits(GOOD)


@pytest.mark.parametrize("text", fenced("toml", SKETCH_PAGE))
def test_the_examples_of_the_sketch_page_fit(text: str) -> None:
    fits(text)


def test_a_block_named_as_its_type_needs_no_type() -> None:
    for text in ('chain = ["reverb"]\n[blocks.reverb]\ndecay_s = 2', 'chain = []\n[blocks.reverb]\ntype = "gain"'):
        fits(text)
        parse_sketch(text)


@pytest.mark.parametrize(
    "text",
    [
        'chain = ["reverb"]\n[blocks.reverb]\ndecay_s = 900',
        "tempo_bpm = 3\nchain = []",
        'titel = "x"\nchain = []',
        'chain = ["a"]\n[blocks.a]\ntype = "gain"\ngain_db = 99',
        'chain = ["a"]\n[blocks.a]\ntype = "gain"\npan = 0',
        "chain = [{ lanes = [] }]",
        "title = 'no chain'",
        "chain = []\n[[cues]]\nat_s = 1",
        "chain = []\n[[cues]]\nat_s = 1\nat_bar = '2'\nmute = true",
        "chain = []\n[[cues]]\nat_s = 1\nmute = true\ndry = true",
        "chain = []\n[[switches]]\nname = 'A'",
        "chain = []\n[patches.p.controllers.c]\npoints = []",
        "chain = []\n[rooms.r]\ntempo_bpm = 90",
        "chain = []\n[marks.hall.decay_s]\nknob = 'length'",
    ],
)
def test_bad_sketches_do_not(text: str) -> None:
    with pytest.raises(jsonschema.ValidationError):
        fits(text)
