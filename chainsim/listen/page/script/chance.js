// @ts-check
/** Chance: a whole number below n, each equally likely; and an order drawn from it. */

const UINT32_COUNT = 2 ** 32;

/**
 * Draw a whole number from 0 to n - 1, each equally likely.
 *
 * What would make the small numbers likelier, the rest of 2^32 over n, is drawn again.
 * @param {number} n 1 ... 2^32
 * @returns {number}
 */
export function drawBelow(n) {
  const fair = UINT32_COUNT - (UINT32_COUNT % n);
  const drawn = new Uint32Array(1);
  do {
    crypto.getRandomValues(drawn);
  } while (drawn[0] >= fair);
  return drawn[0] % n;
}

/**
 * The items in an order of chance (Fisher and Yates); the list given stays as it is.
 * @template T
 * @param {readonly T[]} items
 * @param {(n: number) => number} below
 * @returns {T[]}
 */
export function shuffled(items, below) {
  const order = [...items];
  for (let last = order.length - 1; last > 0; last -= 1) {
    const other = below(last + 1);
    [order[last], order[other]] = [order[other], order[last]];
  }
  return order;
}
