"""What guessing gives, as the page computes it."""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from tests.listen.page.node import answer_of, needs_node

pytestmark = needs_node

MOST = 50
PRINTED = {
    # CHECKS AB-1: exact one-sided binomial test, p 0.5.
    (12, 16): 0.0384, (9, 10): 0.0107, (10, 12): 0.0193, (15, 20): 0.0207, (18, 25): 0.0216, (20, 30): 0.0494,
    # CHECKS AB-2: not significant, though some printed tables list them.
    (8, 10): 0.0547, (14, 20): 0.0577,
}  # fmt: skip
NEEDED = {
    # CHECKS AB-1: p <= 0.01.
    0.01: {10: 10, 12: 11, 16: 14, 20: 16, 25: 19, 30: 22},
    # CHECKS AB-1 and AB-2 together, and the minima of 16 and 25 trials there.
    0.05: {10: 9, 12: 10, 16: 12, 20: 15, 25: 18, 30: 20},
}


@pytest.fixture(scope="module")
def chances() -> list[list[float]]:
    """`chances[trials - 1][right]`."""
    table = answer_of(f"""
        import {{ guessingChance }} from "./binomial.js";
        const of = (trials) => Array.from({{ length: trials + 1 }}, (_, right) => guessingChance(right, trials));
        answer(Array.from({{ length: {MOST} }}, (_, i) => of(i + 1)));
    """)
    assert isinstance(table, list)
    return table


def test_the_chance_of_guessing_is_the_printed_one(chances: list[list[float]]) -> None:
    for (right, trials), p in PRINTED.items():
        assert round(chances[trials - 1][right], 4) == p, (right, trials)


def test_the_chance_of_guessing_is_that_of_the_exact_test(chances: list[list[float]]) -> None:
    for trials, of_trials in enumerate(chances, 1):
        # scipy sums rounded terms, hence 1e-12. What the page offers is tried to the last right answer.
        some = range(trials + 1) if trials in (10, 16, 20, 25, MOST) else (0, trials // 2, trials)
        for right in some:
            exact = float(binomtest(right, trials, 0.5, alternative="greater").pvalue)
            assert of_trials[right] == pytest.approx(exact, rel=1e-12), (right, trials)


def test_the_fewest_right_answers_are_the_printed_ones() -> None:
    asked = [(trials, level) for level, of in NEEDED.items() for trials in of]
    needed = answer_of(f"""
        import {{ rightAnswersNeeded }} from "./binomial.js";
        answer({[list(pair) for pair in asked]}.map(([trials, level]) => rightAnswersNeeded(trials, level)));
    """)
    assert dict(zip(asked, needed, strict=True)) == {
        (t, level): k for level, of in NEEDED.items() for t, k in of.items()
    }


def test_too_few_trials_never_suffice() -> None:
    # 4 right of 4 is 1 in 16, over 0.05.
    assert answer_of('import { rightAnswersNeeded } from "./binomial.js"; answer(rightAnswersNeeded(4));') == 5
