// @ts-check
/** Which press answers which cue: in order, each press at most one. */

/**
 * Of all ways to do it the one with the most presses in time, among these the one with the most answers
 * at all, and among these the one that is least apart.
 * @param {number[]} dueMs when cues are due, in order
 * @param {number[]} actsMs when presses act, in order
 * @param {{inTimeMs: number, aboutMs: number}} apart what is in time, and how far apart an answer may be
 * @returns {Array<number|null>} for each cue how much later its press is; null without one
 */
export function answersTo(dueMs, actsMs, { inTimeMs, aboutMs }) {
  /** @type {Way[][]} the best way for cues from the i-th on, by presses from the k-th on */
  const best = dueMs.map(() => []);
  best.push([...actsMs, null].map(() => ({ worth: [0, 0, 0], laterMs: [] })));
  for (let i = dueMs.length - 1; i >= 0; i--) {
    best[i][actsMs.length] = unanswered(best[i + 1][actsMs.length]);
    for (let k = actsMs.length - 1; k >= 0; k--) {
      const laterMs = actsMs[k] - dueMs[i];
      const ways = [unanswered(best[i + 1][k]), best[i][k + 1]];
      if (Math.abs(laterMs) <= aboutMs) ways.push(answered(best[i + 1][k + 1], laterMs, inTimeMs));
      best[i][k] = ways.reduce((one, other) => (isWorthMore(other, one) ? other : one));
    }
  }
  return best[0][0].laterMs;
}

/**
 * @typedef {Object} Way
 * @property {number[]} worth how many are in time, how many are answered, and how far apart in all, negative
 * @property {Array<number|null>} laterMs
 */

function unanswered({ worth, laterMs }) {
  return { worth, laterMs: [null, ...laterMs] };
}

function answered({ worth: [inTime, count, nearness], laterMs }, byMs, inTimeMs) {
  const apartMs = Math.abs(byMs);
  const worth = [inTime + (apartMs <= inTimeMs ? 1 : 0), count + 1, nearness - apartMs];
  return { worth, laterMs: [byMs, ...laterMs] };
}

function isWorthMore(one, other) {
  const i = one.worth.findIndex((x, k) => x !== other.worth[k]);
  return i >= 0 && one.worth[i] > other.worth[i];
}
