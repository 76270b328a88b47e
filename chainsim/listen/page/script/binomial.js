// @ts-check
/** What guessing would give: the exact binomial distribution with one half. */

/**
 * The probability that who guesses has at least so many right.
 *
 * P(X >= right) = sum over k >= right of C(trials, k) / 2^trials. Every term is a whole number below 2^53, so
 * the sum is exact; and so is the division, by a power of two.
 * @param {number} right 0 ... trials
 * @param {number} trials 1 ... 50
 * @returns {number}
 */
export function guessingChance(right, trials) {
  let ways = 1; // C(trials, k), from k = trials downwards
  let sum = 0;
  for (let k = trials; k >= right; k -= 1) {
    sum += ways;
    ways = (ways * k) / (trials - k + 1);
  }
  return sum / 2 ** trials;
}

/**
 * The fewest right answers that guessing gives with a probability of `level` at most.
 * @param {number} trials 1 ... 50
 * @param {number} level 0 ... 1
 * @returns {number} trials + 1 where not even all right are enough
 */
export function rightAnswersNeeded(trials, level = 0.05) {
  let needed = 0;
  while (needed <= trials && guessingChance(needed, trials) > level) {
    needed += 1;
  }
  return needed;
}
