// @ts-check
/** The test whether a difference is heard (ABX), as rules. No page, no sound. */

import { guessingChance, rightAnswersNeeded } from "./binomial.js";

/** How many trials may be asked for; the number is fixed before the first. */
export const ABX_TRIALS = [10, 16, 20, 25];
export const ABX_TRIALS_USUAL = 16;
export const ABX_LEVEL = 0.05;

/**
 * @typedef {"a" | "b"} AbxSide
 *
 * @typedef {object} AbxAnswer
 * @property {AbxSide} x what X was
 * @property {AbxSide} answer what was said
 * @property {number} seconds how long it took
 *
 * @typedef {object} AbxState
 * @property {number} trials
 * @property {AbxSide[]} xs what X is in each trial: drawn before the first, each on its own, as coins fall
 * @property {AbxAnswer[]} answers
 *
 * @typedef {object} AbxOutcome
 * @property {number} needed right answers that guessing gives with 0.05 at most
 * @property {boolean} finished
 * @property {number | null} right null if given up
 * @property {number | null} p exact, one-sided; null if given up
 */

/**
 * @param {number} trials
 * @param {(n: number) => number} below
 * @returns {AbxState}
 */
export function beginAbx(trials, below) {
  return { trials, xs: Array.from({ length: trials }, () => (below(2) === 0 ? "a" : "b")), answers: [] };
}

/**
 * The state after an answer; a test that is through stays as it is.
 * @param {AbxState} state
 * @param {AbxSide} answer
 * @param {number} seconds
 * @returns {AbxState}
 */
export function nextAbxTrial(state, answer, seconds) {
  if (state.answers.length === state.trials) {
    return state;
  }
  return { ...state, answers: [...state.answers, { x: state.xs[state.answers.length], answer, seconds }] };
}

/**
 * What the answers show. A test given up shows nothing: who stops when he likes finds a difference by luck.
 * @param {AbxState} state
 * @returns {AbxOutcome}
 */
export function abxOutcome(state) {
  const needed = rightAnswersNeeded(state.trials, ABX_LEVEL);
  if (state.answers.length < state.trials) {
    return { needed, finished: false, right: null, p: null };
  }
  const right = state.answers.filter(({ x, answer }) => x === answer).length;
  return { needed, finished: true, right, p: guessingChance(right, state.trials) };
}

/**
 * The outcome in plain words.
 * @param {AbxOutcome} outcome
 * @returns {string}
 */
export function abxVerdict({ p }) {
  if (p === null) return "Stopped before the end: this shows nothing either way.";
  const guessing = `By guessing alone, a result as good as this happens ${abxOften(p)}.`;
  if (p <= ABX_LEVEL) return `You hear a difference. ${guessing}`;
  return `Not shown. ${guessing} That does not prove that there is no difference.`;
}

/** @param {number} p */
function abxOften(p) {
  if (p === 1) return "every time";
  return p < 0.1
    ? `about once in ${Math.round(1 / p).toLocaleString("en")} tries`
    : `${(100 * p).toFixed(0)} times in 100`;
}
