// @ts-check
/**
 * The time that a foot needs from where one gesture acts to where the next does: chainsim/stage/gesture.py.
 *
 *     t = down(a) - acts(a) + acts(b)
 *     acts = 0 for a press, release for a press of a switch that also has a hold, hold for a hold
 *     down = max(gap, acts) for a press, hold + gap for a hold
 *
 * where gap is that of one switch or of two.
 */

const NS_PER_MS = 1e6;
const NS_PER_S = 1e9;
const ROUNDING_NS = 1;

/** How fast one foot is on one board. */
export class Pace {
  /**
   * @param {import("./board.js").Board} board
   * @param {{sameSwitchMs: number, otherSwitchMs: number, holdMs: number, releaseMs: number}} foot
   */
  constructor(board, foot) {
    this.board = board;
    this.foot = foot;
  }

  /**
   * When a gesture acts after the switch goes down.
   * @param {import("./board.js").Gesture} gesture
   * @returns {number} ms
   */
  actsMs(gesture) {
    if (gesture.kind === "hold") return this.foot.holdMs;
    return this.board.switch(gesture.switch).hold === null ? 0 : this.foot.releaseMs;
  }

  /**
   * The equation above, in whole nanoseconds.
   * @param {import("./board.js").Gesture} first
   * @param {import("./board.js").Gesture} then
   * @returns {number}
   */
  betweenNs(first, then) {
    const { sameSwitchMs, otherSwitchMs, holdMs } = this.foot;
    const gapMs = first.switch === then.switch ? sameSwitchMs : otherSwitchMs;
    const actsMs = this.actsMs(first);
    const downMs = first.kind === "hold" ? holdMs + gapMs : Math.max(gapMs, actsMs);
    return roundedToEven(NS_PER_MS * (downMs - actsMs + this.actsMs(then)));
  }

  /**
   * Which gestures come sooner after the one before than this foot can: as chainsim/stage/walk.py judges them.
   * @param {Array<{gesture: import("./board.js").Gesture, actsS: number}>} done in order of time
   * @returns {Array<{hasS: number, needsS: number}|null>} null where there is time enough
   */
  tooFast(done) {
    return done.map((one, i) => {
      if (i === 0) return null;
      const needsNs = this.betweenNs(done[i - 1].gesture, one.gesture);
      const hasNs = roundedToEven(NS_PER_S * one.actsS) - roundedToEven(NS_PER_S * done[i - 1].actsS);
      return needsNs <= hasNs + ROUNDING_NS ? null : { hasS: hasNs / 1e9, needsS: needsNs / 1e9 };
    });
  }
}

/** Halves go to the even number, as in Python. */
function roundedToEven(x) {
  const below = Math.floor(x);
  const rest = x - below;
  if (rest !== 0.5) return Math.round(x);
  return below % 2 === 0 ? below : below + 1;
}
