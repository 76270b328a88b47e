"""Orders of a sketch: what moves, which rules hold or contradict each other, and sketches that sound as they should."""

from __future__ import annotations

import math
import pickle
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from chainsim import render
from chainsim.batch.orders.variants import OrderSet, order_variants, swap_variants
from chainsim.errors import ChainsimError, SettingError, SketchError
from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, Lane, LanesStep
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch
from chainsim.sketch.ordering import OrderRules as Rules

FIVE = 'chain = ["tone", "dirt", "shake", "echo", "hall"]\n'
BLOCKS = """
[blocks]
tone = { type = "equalizer" }
dirt = { type = "drive" }
shake = { type = "tremolo" }
echo = { type = "delay", dry_db = -2 }
hall = { type = "reverb", dry_db = -5 }
gate = { type = "noise_gate" }
mix = { type = "blender" }
quiet = { type = "pan", engaged = false }
"""


def sketch(chain: str, more: str = "") -> Sketch:
    return parse_sketch(f"chain = {chain}\n{more}{BLOCKS}")


def names(found: OrderSet) -> list[str]:
    return [variant.name for variant in found.variants]


def steps(chain: str) -> Chain:
    return tuple(map(BlockStep, chain.split(" > ")))


def test_every_order_once_and_the_written_one_first() -> None:
    found = order_variants(sketch('["tone", "dirt", "shake"]'))
    assert found.count == 6
    assert names(found) == [" > ".join(order) for order in permutations(("tone", "dirt", "shake"))]
    assert [variant.as_written for variant in found.variants] == [True, *[False] * 5]
    for variant in found.variants:
        assert variant.sketch.base.chain == steps(variant.name)
        assert variant.units == tuple(variant.name.split(" > "))
    assert pickle.loads(pickle.dumps(found.variants[1])).name == "tone > shake > dirt"


@pytest.mark.parametrize(
    ("chain", "rules", "count", "first_few", "notes"),
    [
        # a gate that opens and a reverb that closes stay
        ('["gate", "dirt", "echo", "hall"]', Rules(), 2, ["dirt > echo", "echo > dirt"], ["gate", "hall"]),
        ('["gate", "dirt", "hall"]', Rules(before=(("gate", "dirt"),)), 1, ["gate > dirt"], ["hall"]),
        ('["dirt", "gate", "echo"]', Rules(), 6, ["dirt > gate > echo"], []),
        ('["dirt", "hall", "echo"]', Rules(), 6, ["dirt > hall > echo"], []),
        ('["gate", "dirt", "hall"]', Rules(move=("gate", "hall")), 2, ["gate > dirt > hall", "hall > dirt > gate"], []),
        # what moves does so among its own places
        (
            '["tone", "dirt", "shake", "echo"]',
            Rules(move=("echo", "tone", "dirt"), last=("echo",)),
            2,
            ["tone > dirt > shake > echo", "dirt > tone > shake > echo"],
            [],
        ),
        # an inner chain; a fork as a whole, by any of its blocks
        ('["dirt", { lanes = ["dry", ["tone", "echo"]] }]', Rules(move=("echo", "tone")), 2, ["tone > echo"], []),
        ('[{ lanes = ["dry", ["tone", "echo"]] }, "dirt"]', Rules(), 2, ["[tone > echo] > dirt"], []),
        ('["dirt", { lanes = ["tone", "echo"] }]', Rules(first=("echo",)), 1, ["[tone | echo] > dirt"], ["left out"]),
        # disengaged blocks do not move, and part nothing
        ('["dirt", "quiet", "tone"]', Rules(together=(("dirt", "tone"),)), 2, ["dirt > tone", "tone > dirt"], []),
        # sets
        ('["tone", "dirt", "echo"]', Rules(together=(("echo", "tone"),)), 4, ["tone > echo > dirt"], ["left out"]),
        (
            '["tone", "dirt", "echo"]',
            Rules(side_by_side=(("tone", "dirt"),)),
            6,
            ["tone > dirt > echo", "dirt > tone > echo", "echo > tone > dirt", "echo > dirt > tone"],
            [],
        ),
        # said of one before the other in a set, it holds where they are in series
        (
            '["tone", "dirt"]',
            Rules(side_by_side=(("tone", "dirt"),), before=(("dirt", "tone"),)),
            2,
            ["dirt > tone", "[tone | dirt]"],
            ["left out"],
        ),
        ('["tone", "dirt"]', Rules(side_by_side=(("tone", "dirt"),), first=("tone",)), 2, ["tone > dirt"], []),
    ],
)
def test_what_moves_under_rules(chain: str, rules: Rules, count: int, first_few: list[str], notes: list[str]) -> None:
    found = order_variants(sketch(chain), rules)
    assert found.count == len(found.variants) == count
    assert names(found)[: len(first_few)] == first_few
    assert len(found.notes) == len(notes)
    for note, word in zip(found.notes, notes, strict=True):
        assert word in note


@pytest.mark.parametrize(
    ("rules", "line"),
    [
        (
            Rules(before=(("dirt", "tone"),), first=("tone",)),
            '"tone first" and "dirt before tone" contradict each other',
        ),
        (
            Rules(before=(("dirt", "tone"), ("tone", "echo"), ("echo", "dirt"), ("shake", "echo"))),
            '"dirt before tone", "tone before echo" and "echo before dirt" contradict each other',
        ),
        (Rules(first=("dirt",), last=("dirt", "echo")), '"dirt first" and "dirt, echo last" contradict each other'),
        (
            Rules(together=(("dirt", "echo"),), before=(("dirt", "tone"), ("tone", "echo"))),
            '"dirt before tone", "tone before echo" and "dirt, echo together" contradict each other',
        ),
        (
            Rules(together=(("tone", "echo"),), first=("tone", "dirt")),
            '"tone, dirt first" and "tone, echo together" contradict each other',
        ),
        (
            Rules(together=(("tone", "echo"),), side_by_side=(("echo", "dirt"),)),
            '"tone, echo together" and "echo, dirt side by side" share a block',
        ),
        (
            Rules(move=("tone", "shake"), together=(("tone", "shake"),)),
            '"tone, shake together" cannot be: between the places of those that move stands what does not',
        ),
        (Rules(move=("tone", "dirt"), last=("hall",)), 'last: "hall" does not move; what does: tone, dirt'),
        (Rules(move=("tone", "drit")), 'move: "drit" is not in the chain; did you mean "dirt"?'),
        (Rules(move=("tone",)), 'move: only "tone", allowed two or more'),
        (Rules(before=(("tone", "tone"),)), 'before: only "tone", allowed two or more'),
        (Rules(first=("gate",)), 'first: "gate" is not in the chain'),
        (Rules(move=("tone", "tone", "dirt")), 'move: "tone" stands there 2 times'),
        (Rules(together=(("tone", "dirt", "tone"),)), 'together: "tone" stands there 2 times'),
        (Rules(last=("echo", "echo")), 'last: "echo" stands there 2 times'),
    ],
)
def test_rules_that_cannot_be(rules: Rules, line: str) -> None:
    with pytest.raises(SketchError) as caught:
        order_variants(parse_sketch(FIVE + BLOCKS), rules)
    assert line in str(caught.value)
    assert len(caught.value.faults) == 1


def test_one_fork_is_one_unit() -> None:
    forked = sketch('["dirt", { lanes = ["tone", "echo"] }, { blender = "mix", wet = ["hall"] }]')
    for rules, line in [
        (Rules(move=("tone", "echo", "dirt")), 'move: "tone" and "echo" stand in one fork, which moves as a whole'),
        (Rules(move=("tone", "echo")), 'move: "tone" and "echo" stand in one fork'),
        (Rules(move=("mix", "hall")), 'move: "mix" and "hall" stand in one fork'),
        (Rules(before=(("echo", "tone"),)), 'before: "echo" and "tone" stand in one fork'),
    ]:
        with pytest.raises(SketchError) as caught:
            order_variants(forked, rules)
        assert line in str(caught.value)
    assert names(order_variants(forked, Rules(move=("tone", "hall")))) == ["[tone | echo] > mix", "mix > [tone | echo]"]


def test_too_many_need_a_sample() -> None:
    seven = sketch('["tone", "dirt", "shake", "echo", "phaser", "pan", "gain"]')
    with pytest.raises(SketchError, match=r"5,040 orders, at most 720 are rendered: .* --sample 200"):
        order_variants(seven)
    found = order_variants(seven, sample=50, seed=4)
    assert found.count == 5040
    assert len(set(names(found))) == 50
    assert found.variants[0].as_written
    assert names(found) == names(order_variants(seven, sample=50, seed=4)) != names(order_variants(seven, sample=50))
    assert len(order_variants(seven, Rules(first=("tone",)), sample=720).variants) == 720
    with pytest.raises(SettingError, match=r"a sample of 0 orders, allowed 1 \.\.\. 720"):
        order_variants(seven, sample=0)
    many = ", ".join(f'"g{i}"' for i in range(21))
    blocks = "".join(f'blocks.g{i}.type = "gain"\n' for i in range(21))
    with pytest.raises(SketchError, match="21 blocks that change places, allowed 20"):
        order_variants(parse_sketch(f"chain = [{many}]\n{blocks}"))
    with pytest.raises(SketchError, match="hall: an order needs two that change places"):
        order_variants(sketch('["gate", "hall"]'), Rules(first=("hall",)))


def test_a_swap_is_two_orders_whatever_the_rules() -> None:
    ruled = parse_sketch(FIVE + '[orders]\nfirst = ["tone"]\n' + BLOCKS)
    written, exchanged = swap_variants(ruled, "echo", "tone")
    assert (written.as_written, exchanged.as_written) == (True, False)
    assert written.name == "tone > dirt > shake > echo"
    assert exchanged.sketch.base.chain == steps("echo > dirt > shake > tone > hall")
    with pytest.raises(ChainsimError, match='only "echo"'):
        swap_variants(ruled, "echo", "echo")


def test_lanes_bring_the_dry_sound_once() -> None:
    """Two echoes beside each other: by linearity the dry sound once, and what each adds to it."""
    both = parse_sketch(
        'chain = ["late", "later"]\n[blocks.late]\ntype = "delay"\ntime_ms = 20\ndry_db = -2\n'
        '[blocks.later]\ntype = "delay"\ntime_ms = 33\n'
    )
    found = order_variants(both, Rules(side_by_side=(("late", "later"),)))
    beside = found.variants[2]
    assert beside.units == (("late", "later"),)
    assert beside.sketch.base.chain == (
        LanesStep((Lane((), -2.0), Lane((BlockStep("late"),)), Lane((BlockStep("later"),)))),
    )
    assert [beside.sketch.base.blocks[name].settings.model_dump()["dry_db"] for name in ("late", "later")] == [
        -math.inf
    ] * 2
    take = np.random.default_rng(1).standard_normal((4800, 1)) * 0.1
    alone = [
        render(parse_sketch(f'chain = ["{n}"]\n' + both.text.split("\n", 1)[1]), take, 48_000.0)
        for n in ("late", "later")
    ]
    heard = render(beside.sketch, take, 48_000.0).audio[:4800]
    dry, late, later = 10 ** (-2 / 20) * take, alone[0].audio[:4800], alone[1].audio[:4800]
    np.testing.assert_allclose(heard, dry + (late - dry) + (later - take), atol=1e-12)


def test_lanes_of_forks_bring_the_dry_sound_once() -> None:
    forks = sketch('[{ lanes = ["dry", "tone"] }, { blender = "mix", wet = ["echo"] }]')
    found = order_variants(forks, Rules(side_by_side=(("tone", "mix"),)))
    assert found.variants[2].name == "[tone | mix]"
    (fork,) = found.variants[2].sketch.base.chain
    assert fork == LanesStep(
        (
            Lane((), 0.0),
            Lane((LanesStep((Lane((BlockStep("tone"),)),)),)),
            Lane((BlenderStep("mix", (BlockStep("echo"),)),)),
        )
    )
    assert found.variants[2].sketch.base.blocks["mix"].settings.model_dump()["dry_db"] == -math.inf


def test_a_straight_lane_keeps_its_pan_and_blocks_that_do_nothing() -> None:
    """A lane of what is not engaged is as straight as an empty one; the louder of two is the dry sound."""
    forks = sketch(
        '[{ lanes = [{ chain = "dry", level_db = -9 }, { chain = ["quiet"], pan = -0.8 }, "tone"] }, "echo"]'
    )
    (fork,) = order_variants(forks, Rules(side_by_side=(("tone", "echo"),))).variants[2].sketch.base.chain
    assert fork == LanesStep(
        (
            Lane((BlockStep("quiet"),), 0.0, -0.8),
            Lane((LanesStep((Lane((BlockStep("tone"),)),)),)),
            Lane((BlockStep("echo"),)),
        )
    )


def test_a_level_that_a_controller_moves_is_not_given_up() -> None:
    driven = 'controllers.swell = {type="envelope", drives=[{setting="echo.dry_db", low=-9, high=0}]}\n'
    with pytest.raises(SketchError, match=r'side_by_side: "swell" drives echo\.dry_db'):
        order_variants(sketch('["echo", "hall"]', driven), Rules(side_by_side=(("echo", "hall"),)))


def test_relations() -> None:
    found = order_variants(sketch('["tone", "echo", "dirt"]'), Rules(side_by_side=(("tone", "echo"),)))
    beside = next(v for v in found.variants if v.name == "dirt > [tone | echo]")
    assert [beside.relation(*pair) for pair in (("tone", "echo"), ("tone", "dirt"), ("dirt", "echo"))] == [
        "beside",
        "after",
        "before",
    ]
    with pytest.raises(SettingError, match='no unit "dirtt"; did you mean "dirt"'):
        beside.relation("tone", "dirtt")


SET = """title = "Quay"
key = "A minor"
pitch_names = "written"
instrument = "clarinet"
chain = ["gate", "tone", "dirt", "echo", "hall"]  # as it comes

[orders]
move = ["tone", "dirt", "echo"]
first = ["tone"]
before = [["dirt", "echo"]]

# the pedal
[controllers.pedal]
type = "breakpoints"
points = [[0, 0], [1, 1]]
drives = [{ setting = "tone.gain_db", low = 0, high = 1 }]

[blocks]
gate = { type = "noise_gate" }
tone = { type = "gain" }
dirt = { type = "drive" }
echo = { type = "delay", time_ms = 200, dry_db = -2 }
hall = { type = "reverb", switching = "always_on" }

[patches.verse]
engage = ["dirt", "echo"]
tempo_bpm = 90
key = "G minor"
trim_db = -2

[patches.verse.blocks.echo]
note = "1/8"

[patches.verse.controllers.pedal]
drives = [{ setting = "echo.wet_db", low = "off", high = 0 }]

[patches.other]
chain = ["hall", "echo"]

[house]
venue = "theatre"

[rooms.chapel]
feed = "mono"
blocks.hall.decay_s = 0.8
house.venue = "hall"

[[cues]]
at_s = 1
patch = "verse"
"""


def test_a_patch_keeps_what_the_rules_say_of_its_blocks() -> None:
    whole = parse_sketch(SET)
    assert names(order_variants(whole)) == ["tone > dirt > echo"]
    verse = order_variants(whole.alone("verse"))
    assert names(verse) == ["dirt > echo"]
    assert [note for note in verse.notes if '"tone" is left aside, since it does nothing in the patch "verse"' in note]
    named = order_variants(whole, Rules(move=("echo", "hall")))
    assert names(named) == ["echo > hall", "hall > echo"]
    assert 'orders.first: "tone" is left aside, since it does not move' in named.notes
    with pytest.raises(SketchError, match=r"orders\.move: nothing of what it names"):
        order_variants(
            parse_sketch(SET.replace('move = ["tone", "dirt", "echo"]', 'move = ["tone", "dirt"]')).alone("other")
        )


def test_what_is_taken_for_granted_is_noted() -> None:
    whole = parse_sketch(SET)
    played = "the chain as written is tried, patches and cues play no part; --patch NAME tries one of them"
    assert order_variants(whole).notes == (played,)
    assert played not in order_variants(whole.alone("verse")).notes
    ruled = parse_sketch(FIVE + '[orders]\nfirst = ["tone"]\nlast = ["echo"]\n' + BLOCKS)
    assert order_variants(ruled, Rules(first=("dirt",), last=("echo",))).notes == (
        *order_variants(ruled).notes,
        'first: "tone, dirt", since the sketch says "tone"',
    )


@pytest.mark.parametrize("patch", [None, "verse", "other"])
@pytest.mark.parametrize("room", [None, "chapel"])
def test_an_order_can_be_written_out(patch: str | None, room: str | None) -> None:
    """What is read from the text has that one state, and nothing of a set."""
    whole = parse_sketch(SET)
    chosen = (whole if room is None else whole.in_room(room)).alone(patch)
    found = order_variants(chosen, Rules(move=("echo", "hall"), side_by_side=(("echo", "hall"),)))
    assert found.count == 3
    for variant in found.variants:
        text = variant.text()
        read = parse_sketch(text)
        base, wanted = read.base, variant.sketch.base
        in_chain = {n: b for n, b in wanted.blocks.items() if n in read.block_order}
        assert read.block_order == variant.sketch.block_order
        assert base.chain == wanted.chain
        assert {n: base.blocks[n] for n in in_chain} == in_chain
        assert (base.tempo_bpm, base.key, base.trim_db) == (wanted.tempo_bpm, wanted.key, wanted.trim_db)
        assert (read.header.feed, read.house) == (chosen.header.feed, chosen.house)
        assert base.drives == wanted.drives
        assert [read.patches, read.cues, read.rooms, read.orders] == [{}, (), {}, Rules()]
        assert read.title == f"Quay: {variant.name}"
        assert "# the pedal" in text
        assert "# as it comes" in text


def test_a_text_that_cannot_be_written_says_what_to_write() -> None:
    found = order_variants(parse_sketch(FIVE + BLOCKS), Rules(move=("tone", "dirt")))
    lost = replace(found.variants[1], sketch=replace(found.variants[1].sketch, text=FIVE))
    with pytest.raises(SketchError, match="this state cannot be written as a sketch of its own: "):
        lost.text()
