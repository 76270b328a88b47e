"""Who meets whom, what X is, and what the answers show: the rules of the blind tests."""

from __future__ import annotations

from itertools import pairwise

import pytest
from scipy.stats import chisquare

from tests.listen.page.node import answer_of, needs_node

pytestmark = needs_node

SEEDED = """
    let state = 12345;
    const below = (n) => { state = (state * 1103515245 + 12345) % 2147483648; return Math.floor(state / 65536) % n; };
"""


@pytest.mark.parametrize(
    ("versions", "sizes"), [(2, [2]), (3, [3]), (4, [3, 2]), (5, [3, 3]), (8, [3, 3, 3, 2]), (9, [3, 3, 3, 3])]
)
def test_the_winner_meets_new_ones_until_all_were_heard(versions: int, sizes: list[int]) -> None:
    names = [f"v{i}" for i in range(versions)]
    done, foreseen = answer_of(f"""
        import {{ beginFavourite, nextFavouriteRound, favouriteRounds }} from "./favourite.js";
        {SEEDED}
        let round = beginFavourite({names}, below);
        while (round.favourite === null) {{
          round = nextFavouriteRound(round, [...round.offered].sort().at(-1), 1.5, below);
        }}
        answer([round, favouriteRounds({versions})]);
    """)
    rounds = done["rounds"]
    assert [len(r["offered"]) for r in rounds] == sizes
    assert foreseen == len(sizes)
    assert done["favourite"] == rounds[-1]["chosen"] == max(names)
    for before, after in pairwise(rounds):
        assert before["chosen"] in after["offered"]
    # Everyone is new once, and once only.
    new = [set(rounds[0]["offered"])] + [set(r["offered"]) - {b["chosen"]} for b, r in pairwise(rounds)]
    assert sorted(name for names_of in new for name in names_of) == names


def test_chance_favours_no_order() -> None:
    # 6 orders of three and 2 sides of a coin; a fair draw fails each of these once in a million runs.
    orders, sides = answer_of("""
        import { drawBelow, shuffled } from "./chance.js";
        import { beginAbx } from "./abx.js";
        const orders = {};
        for (let i = 0; i < 6000; i += 1) {
          const order = shuffled(["a", "b", "c"], drawBelow).join("");
          orders[order] = (orders[order] ?? 0) + 1;
        }
        const sides = { a: 0, b: 0 };
        for (let i = 0; i < 300; i += 1) { for (const x of beginAbx(20, drawBelow).xs) { sides[x] += 1; } }
        answer([orders, sides]);
    """)
    assert len(orders) == 6
    assert chisquare(list(orders.values())).pvalue > 1e-6
    assert chisquare(list(sides.values())).pvalue > 1e-6


def test_a_finished_test_counts_what_was_right() -> None:
    outcome, verdict, too_many = answer_of("""
        import { beginAbx, nextAbxTrial, abxOutcome, abxVerdict } from "./abx.js";
        let turn = 0;
        let test = beginAbx(16, (n) => { turn += 1; return turn % n; });
        test.xs.forEach((x, i) => { test = nextAbxTrial(test, i < 12 ? x : x === "a" ? "b" : "a", 2); });
        answer([abxOutcome(test), abxVerdict(abxOutcome(test)), nextAbxTrial(test, "a", 1).answers.length]);
    """)
    # 2517 / 65536, the ways to have 12 to 16 right of 16: 1820 + 560 + 120 + 16 + 1.
    assert outcome == {"needed": 12, "finished": True, "right": 12, "p": 2517 / 65536}
    assert (
        verdict == "You hear a difference. By guessing alone, a result as good as this happens about once in 26 tries."
    )
    assert too_many == 16


def test_a_test_given_up_shows_nothing() -> None:
    outcome, verdict = answer_of("""
        import { beginAbx, nextAbxTrial, abxOutcome, abxVerdict } from "./abx.js";
        let test = beginAbx(10, () => 0);
        for (let i = 0; i < 9; i += 1) { test = nextAbxTrial(test, "a", 2); }
        answer([abxOutcome(test), abxVerdict(abxOutcome(test))]);
    """)
    assert outcome == {"needed": 9, "finished": False, "right": None, "p": None}
    assert verdict == "Stopped before the end: this shows nothing either way."


@pytest.mark.parametrize(
    ("right", "p", "words"),
    [
        (0, 1.0, "every time"),
        (5, 638 / 1024, "62 times in 100"),
        # AB-2: not to be taken for a difference.
        (8, 56 / 1024, "about once in 18 tries"),
    ],
)
def test_what_is_not_shown_is_not_disproved(right: int, p: float, words: str) -> None:
    outcome, verdict = answer_of(f"""
        import {{ beginAbx, nextAbxTrial, abxOutcome, abxVerdict }} from "./abx.js";
        let test = beginAbx(10, () => 1);
        for (let i = 0; i < 10; i += 1) {{ test = nextAbxTrial(test, i < {right} ? "b" : "a", 2); }}
        answer([abxOutcome(test), abxVerdict(abxOutcome(test))]);
    """)
    assert (outcome["right"], outcome["p"]) == (right, p)
    assert verdict.startswith("Not shown.")
    assert words in verdict
    assert verdict.endswith("That does not prove that there is no difference.")


def test_a_ranking_moves_one_place_at_a_time() -> None:
    shown, moves, mean = answer_of("""
        import { beginRanking, movedInRanking, meanRanks } from "./ranking.js";
        let run = beginRanking(["w", "x", "y", "z"], (n) => n - 1);
        const moves = [["y", -1], ["w", -1], ["z", 1], ["y", -1], ["nobody", 1]];
        const orders = moves.map(([key, by]) => { run = movedInRanking(run, key, by); return run.order.join(""); });
        answer([run.shown.join(""), orders, meanRanks([["x", "y", "z"], ["x", "z", "y"], ["y", "x", "z"]])]);
    """)
    assert shown == "wxyz"
    assert moves == ["wyxz", "wyxz", "wyxz", "ywxz", "ywxz"]
    # x 1 1 2, y 2 3 1, z 3 2 3.
    assert [(m["key"], m["mean"]) for m in mean] == [
        ("x", pytest.approx(4 / 3)),
        ("y", pytest.approx(2.0)),
        ("z", pytest.approx(8 / 3)),
    ]


def test_rankings_of_the_same_versions_go_together() -> None:
    """By name and sound: a key is but a number, and two versions that sound alike are still two."""
    orders = answer_of("""
        import { meanRanks, nameIn, sameRankings } from "./ranking.js";
        const version = (key, name, digest) => ({ key, name, digest });
        const [a, b, moved] = [version("1", "pier", "x"), version("2", "quay", "x"), version("1", "quay", "x")];
        const runs = sameRankings([
          { versions: [a, b], order: ["1", "2"] },
          { versions: [moved, version("2", "pier", "x")], order: ["1", "2"] },
          { versions: [version("1", "pier", "y"), b], order: ["1", "2"] },
        ]);
        answer(runs.map((run) => meanRanks(run).map(({ key, mean }) => [nameIn(key), mean])));
    """)
    assert [sorted(run) for run in orders] == [[["pier", 1.5], ["quay", 1.5]], [["pier", 1], ["quay", 2]]]
