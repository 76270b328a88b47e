"""Combs: told where copies of one sound meet, and heard there; not where one of them is shifted away."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import parse_sketch

RATE_HZ = 48_000.0
BLOCKS = """
instrument = "alto sax"
key = "C major"
[blocks.later]
type = "gain"
latency_ms = 40
[blocks.mates]
type = "pitch_shifter"
"""
UNPITCHED = ", in what passes unshifted alone: tongue, breath, keys, too low notes"


def sketch(settings: str, chain: str = '[{ lanes = ["dry", ["mates"]] }]') -> str:
    return f"chain = {chain}\n{BLOCKS}{settings}\n"


def combs(text: str) -> list[str]:
    return [w for w in build_graph(parse_sketch(text), RATE_HZ).warnings if "a comb with its first notch" in w]


UNISON, FIFTH = 'voices = [{ interval = "unison" }]\n', 'voices = [{ interval = "P5 above" }]\n'
NO_REST = 'unpitched_db = "off"\n'
DRIVEN = (
    '[controllers.foot]\ntype = "breakpoints"\npoints = [[0, 0]]\n'
    'drives = [{ setting = "mates.unpitched_db", low = "off", high = -20 }]\n'
)
CUED = '[patches.breath.blocks.mates]\nunpitched_db = 0\n[[cues]]\nat_s = 1\npatch = "breath"\n'


@pytest.mark.parametrize(
    ("settings", "copies"),
    [
        ("", "all"),  # no voice given is one in unison
        (UNISON, "all"),
        (UNISON + NO_REST, "all"),
        (FIFTH, "rest"),
        (FIFTH + "unpitched_db = -20\n", "rest"),
        (FIFTH + NO_REST, "nothing"),
        (FIFTH + "unpitched_db = -96\n", "nothing"),
        (FIFTH + NO_REST + DRIVEN, "rest"),
        (FIFTH + NO_REST + CUED, "rest"),
        ('voices = [{ interval = "P5 above" }, { interval = "unison", cents = -8 }]\n' + NO_REST, "all"),
        ('voices = [{ interval = "d2 above" }]\n' + NO_REST, "all"),  # in tempered pitch the same note
        ('voices = [{ interval = "unison", cents = 60 }]\n' + NO_REST, "nothing"),
        ('voices = [{ interval = "m2 above", cents = -60 }]\n' + NO_REST, "all"),
        ('voices = [{ pitch = "E3" }]\n' + NO_REST, "nothing"),
        ('voices = [{ interval = "third above" }]\n' + NO_REST, "nothing"),
        (FIFTH + 'notes = "several"\n', "nothing"),
        (UNISON + 'notes = "several"\n', "all"),
    ],
)
def test_a_shifter_beside_the_dry_horn_forms_a_comb_only_of_what_it_copies(settings: str, copies: str) -> None:
    found = combs(sketch(settings))
    assert len(found) == (0 if copies == "nothing" else 1)
    assert all((UNPITCHED in line) == (copies == "rest") for line in found)


def test_a_comb_of_the_whole_sound_outdoes_one_of_its_rest() -> None:
    (line,) = combs(sketch(FIFTH, '[{ lanes = ["dry", ["mates"], ["later"]] }]'))
    assert "differ by 40.00 ms; a comb with its first notch at 12 Hz" in line  # 1 / (2 x 40 ms) = 12.5 Hz
    assert UNPITCHED not in line


def test_a_shifted_voice_forms_one_with_itself() -> None:
    assert len(combs(sketch(FIFTH + NO_REST, '["mates", { lanes = ["dry", ["later"]] }]'))) == 1
    (inner,) = combs(sketch(FIFTH + NO_REST, '[{ lanes = ["dry", ["mates", { lanes = ["dry", ["later"]] }]] }]'))
    assert "differ by 40.00 ms" in inner


def test_in_a_blender_too() -> None:
    chain = '[{ blender = "blender", wet = ["mates"] }]'
    assert [UNPITCHED in line for line in combs(sketch(FIFTH, chain))] == [True]
    assert combs(sketch(FIFTH + NO_REST, chain)) == []


def test_aligned_lanes_form_none_and_go_on_as_copies() -> None:
    aligned = '{ lanes = ["dry", ["mates"]], align = true }'
    assert combs(sketch(FIFTH, f"[{aligned}]")) == []
    (line,) = combs(
        sketch(FIFTH + NO_REST, f'[{{ lanes = [[{aligned}], "dry"] }}]')
    )  # the horn, held back, meets itself
    assert line.startswith("sum of lanes: ")
    assert UNPITCHED not in line


@pytest.mark.parametrize(("settings", "expected_db"), [(UNISON, -math.inf), (FIFTH + NO_REST, 0.0)])
def test_the_notch_is_heard_where_it_is_told_and_only_there(settings: str, expected_db: float) -> None:
    """Two copies t apart cancel at odd multiples of 1 / (2 t); here a steady tone at one of these, 300 to 400 Hz."""
    (told,) = combs(sketch(UNISON))
    first_hz = 500.0 / float(re.findall(r"differ by ([\d.]+) ms", told)[0])
    f0_hz = first_hz * (2 * round(0.5 * 350.0 / first_hz) + 1)
    n = np.arange(round(1.5 * RATE_HZ))
    x = 0.2 * np.sin(2.0 * np.pi * f0_hz * n / RATE_HZ)[np.newaxis]
    y = render_graph(build_graph(parse_sketch(sketch(settings)), RATE_HZ), x)["out"]
    steady = slice(round(0.5 * RATE_HZ), round(1.4 * RATE_HZ))
    carrier = np.exp(-2j * np.pi * f0_hz * n[steady] / RATE_HZ) * np.hanning(n[steady].size)
    level_db = 20.0 * math.log10(abs(y[0, steady] @ carrier) / abs(x[0, steady] @ carrier))
    assert level_db < -40.0 if expected_db == -math.inf else level_db == pytest.approx(expected_db, abs=0.1)
