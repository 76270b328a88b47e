// @ts-check
/** The blind ranking, as rules. No page, no sound. */

import { shuffled } from "./chance.js";

/**
 * @typedef {object} RankingState
 * @property {string[]} shown keys, in the order of the letters
 * @property {string[]} order keys, the best first
 */

/**
 * Letters by chance, and the order of the letters to begin with.
 * @param {readonly string[]} keys two or more
 * @param {(n: number) => number} below
 * @returns {RankingState}
 */
export function beginRanking(keys, below) {
  const shown = shuffled(keys, below);
  return { shown, order: shown };
}

/**
 * Move one a place up (-1) or down (1); at the end of the list it stays.
 * @param {RankingState} state
 * @param {string} key
 * @param {-1 | 1} by
 * @returns {RankingState}
 */
export function movedInRanking(state, key, by) {
  const from = state.order.indexOf(key);
  const to = from + by;
  if (from < 0 || to < 0 || to >= state.order.length) {
    return state;
  }
  const order = [...state.order];
  [order[from], order[to]] = [order[to], order[from]];
  return { ...state, order };
}

/**
 * The mean rank (1 is best) of each over several runs, the best first. All runs must be of the same ones.
 * @param {readonly (readonly string[])[]} orders the best first
 * @returns {{key: string, mean: number}[]}
 */
export function meanRanks(orders) {
  const sums = new Map();
  for (const order of orders) {
    order.forEach((key, place) => sums.set(key, (sums.get(key) ?? 0) + place + 1));
  }
  const means = [...sums].map(([key, sum]) => ({ key, mean: sum / orders.length }));
  return means.sort((one, other) => one.mean - other.mean);
}

/**
 * Rankings of the same versions together, each as the order of what tells one version from all others: its
 * name and its sound.
 * @param {{versions: {key: string, name: string, digest: string}[], order: string[]}[]} answers
 * @returns {string[][][]} orders, the best first
 */
export function sameRankings(answers) {
  const runs = new Map();
  for (const { versions, order } of answers) {
    const byKey = new Map(versions.map((version) => [version.key, version]));
    const ranked = order.map((key) => JSON.stringify([byKey.get(key).name, byKey.get(key).digest]));
    const alike = JSON.stringify([...ranked].sort());
    runs.set(alike, [...(runs.get(alike) ?? []), ranked]);
  }
  return [...runs.values()];
}

/**
 * @param {string} identity as `sameRankings` gives it
 * @returns {string} the name of the version
 */
export function nameIn(identity) {
  return JSON.parse(identity)[0];
}
