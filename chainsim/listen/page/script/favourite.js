// @ts-check
/** The favourite of three, as rules: who meets whom. No page, no sound. */

import { shuffled } from "./chance.js";

const FAVOURITE_AT_ONCE = 3;

/**
 * @typedef {object} FavouriteRound
 * @property {string[]} offered keys, in the order of the letters
 * @property {string} chosen
 * @property {number} seconds how long the choice took
 *
 * @typedef {object} FavouriteState
 * @property {string[]} offered keys of this round, in the order of the letters; empty at the end
 * @property {string[]} waiting keys that nobody has heard yet
 * @property {FavouriteRound[]} rounds what was chosen so far
 * @property {string | null} favourite the last winner, once none is waiting
 */

/**
 * The first round: three by chance, or two where there are but two.
 * @param {readonly string[]} keys two or more
 * @param {(n: number) => number} below
 * @returns {FavouriteState}
 */
export function beginFavourite(keys, below) {
  const order = shuffled(keys, below);
  const offered = order.slice(0, FAVOURITE_AT_ONCE);
  return { offered, waiting: order.slice(FAVOURITE_AT_ONCE), rounds: [], favourite: null };
}

/**
 * The round after a choice: the winner meets two new ones (or the last), under new letters.
 * @param {FavouriteState} state
 * @param {string} chosen one of those offered
 * @param {number} seconds
 * @param {(n: number) => number} below
 * @returns {FavouriteState}
 */
export function nextFavouriteRound(state, chosen, seconds, below) {
  const rounds = [...state.rounds, { offered: state.offered, chosen, seconds }];
  if (state.waiting.length === 0) {
    return { offered: [], waiting: [], rounds, favourite: chosen };
  }
  const fresh = state.waiting.slice(0, FAVOURITE_AT_ONCE - 1);
  const offered = shuffled([chosen, ...fresh], below);
  return { offered, waiting: state.waiting.slice(FAVOURITE_AT_ONCE - 1), rounds, favourite: null };
}

/**
 * How many rounds a number of versions takes.
 * @param {number} versions two or more
 * @returns {number}
 */
export function favouriteRounds(versions) {
  return Math.max(1, Math.ceil((versions - 1) / (FAVOURITE_AT_ONCE - 1)));
}
