"""What never ends by itself: endless echoes are faded out and told, generators that are left fall silent."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import parse_sketch
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)


def test_an_endless_echo_fades_though_cues_go_on() -> None:
    cues = '[[cues]]\nat_s = 1\npatch = "bare"\n'
    cues += "".join(
        f'[[cues]]\nat_s = {t}\npatch = "other"\n[[cues]]\nat_s = {t + 5}\npatch = "bare"\n' for t in (20, 40, 60)
    )
    text = f"""
chain = ["delay", "g"]
[blocks.delay]
time_ms = 100
feedback_percent = 100
low_cut_hz = 10
high_cut_hz = 18000
dry_db = "off"
wet_db = 0
[blocks.g]
type = "gain"
[patches.bare]
engage = []
[patches.other]
engage = ["g"]
{cues}
"""
    x = np.zeros((1, 80 * 48_000))
    x[0, :48_000] = 0.1
    y = render_graph(build_graph(parse_sketch(text), 48_000.0), x)["out"][0]
    assert np.abs(y[50 * 48_000 : 55 * 48_000]).max() > 0.1
    assert not y[round(61.1 * 48_000) : 80 * 48_000].any()


def test_a_tail_that_never_ends_is_faded_out_and_told() -> None:
    text = 'chain = ["delay"]\n[blocks.delay]\nfeedback_percent = 100\nlow_cut_hz = 10\nhigh_cut_hz = 18000\nwet_db = 0'
    graph = build_graph(parse_sketch(text), 48_000.0)
    assert any("never ends" in w for w in graph.warnings)
    x = np.zeros((1, 800))
    x[0, 10] = 0.4
    y = render_graph(graph, x)["out"][0]
    assert y.size == 800 + 60 * 48_000
    assert np.abs(y[54 * 48_000 : 55 * 48_000]).max() == pytest.approx(0.4, rel=1e-9)  # echoes go on unchanged ...
    assert np.abs(y[round(59.5 * 48_000) :]).max() < 0.05  # ... and are faded in the last 5 s: a tenth of 0.4 left


def test_an_endless_tail_in_a_union_fades_no_other() -> None:
    from chainsim.graph.build import GraphBuilder

    endless = 'chain = ["delay"]\n[blocks.delay]\nfeedback_percent = 100\nlow_cut_hz = 10\nhigh_cut_hz = 18000'
    long = 'chain = ["hall"]\n[blocks.hall]\ntype = "test_hall"\ndecay = 0.95'
    x = np.zeros((1, 800))
    x[0, 10] = 0.5
    builder = GraphBuilder(8_000.0, 1)
    builder.add(parse_sketch(endless), label="endless")
    builder.add(parse_sketch(long), label="long")
    together = render_graph(builder.build(), x)
    for label, text in (("endless", endless), ("long", long)):
        alone = render_graph(build_graph(parse_sketch(text), 8_000.0), x)["out"]
        frames = min(alone.shape[1], together[f"{label}:out"].shape[1])
        assert np.array_equal(together[f"{label}:out"][:, :frames], alone[:, :frames])


def test_an_endless_block_left_by_a_patch_is_faded_out_not_cut_off() -> None:
    text = """
chain = ["delay"]
[blocks.delay]
time_ms = 100
feedback_percent = 100
low_cut_hz = 10
high_cut_hz = 18000
dry_db = "off"
wet_db = 0
[patches.bare]
engage = []
[[cues]]
at_s = 0.5
patch = "bare"
"""
    x = np.zeros((1, 70 * 48_000))
    x[0, :24_000] = 0.1  # ends with the cue, so that what is heard later is the delay alone
    y = render_graph(build_graph(parse_sketch(text), 48_000.0), x)["out"][0]
    assert np.abs(y[50 * 48_000 : 55 * 48_000]).max() > 0.1
    end = round(60.52 * 48_000)
    assert not y[end:].any()
    assert np.abs(y[end - 24_000 : end]).max() < 0.2 * np.abs(y[50 * 48_000 : 55 * 48_000]).max()


@pytest.mark.parametrize("tails", ["by_kind", "ring", "cut"])
def test_a_generator_is_silent_when_disengaged_and_never_clicks(tails: str) -> None:
    text = f"""
chain = [{{ lanes = ["dry", ["tone"]] }}]
[blocks.tone]
type = "test_tone"
level_db = -6
tails = "{tails}"
[patches.bare]
engage = []
[patches.full]
[[cues]]
at_s = 0.1
patch = "bare"
[[cues]]
at_s = 0.3
patch = "full"
"""
    y = render_graph(build_graph(parse_sketch(text), 8_000.0), np.zeros((1, 4_000)))["out"][0]
    whole = 10 ** (-6 / 20) * np.sin(2 * np.pi * np.arange(4_000) / 16)
    assert np.abs(y[:800] - whole[:800]).max() < 1e-12
    assert not y[880:2_400].any()
    assert np.abs(y[2_480:] - whole[2_480:]).max() < 1e-12
    assert np.abs(np.diff(y)).max() <= np.abs(np.diff(whole)).max() + 1.0 / 80
