// @ts-check
/** What a foot has pressed along a take, and where the board stands at any time of it. */

/**
 * @typedef {Object} Press
 * @property {import("./board.js").Gesture} gesture
 * @property {number} actsMs when it acted, in whole ms of the take; no two at once: a file keeps their order
 * @property {import("./board.js").Position} position after it
 */

/** Presses in order of time. One that is made anew replaces all that came later. */
export class PressList {
  /** @param {import("./board.js").Board} board */
  constructor(board) {
    this.board = board;
    /** @type {Press[]} */
    this.presses = [];
    this._before = [];
  }

  /**
   * @param {import("./board.js").Gesture} gesture
   * @param {number} ms when in the take
   * @returns {Press}
   */
  add(gesture, ms) {
    const kept = this.presses.slice(0, this.countUntil(ms));
    const last = kept.at(-1);
    const actsMs = Math.max(Math.round(ms), last ? last.actsMs + 1 : 0);
    const position = this.board.after(last ? last.position : this.board.start(), gesture);
    const press = { gesture, actsMs, position };
    this._change([...kept, press]);
    return press;
  }

  /**
   * Take over what was pressed on another board, but for switches and holds that this one lacks.
   * @param {Press[]} presses
   */
  takeOver(presses) {
    for (const { gesture, actsMs } of presses) if (this.board.knows(gesture)) this.add(gesture, actsMs);
    this._before = [];
  }

  /** As it was before the last press, or before all were cleared. */
  undo() {
    this.presses = this._before.pop() ?? this.presses;
  }

  clear() {
    if (this.presses.length > 0) this._change([]);
  }

  /** @returns {boolean} whether there is something to undo */
  get canUndo() {
    return this._before.length > 0;
  }

  /**
   * @param {number} ms
   * @returns {number} how many presses have acted by then
   */
  countUntil(ms) {
    const later = this.presses.findIndex((press) => press.actsMs > Math.round(ms));
    return later < 0 ? this.presses.length : later;
  }

  /**
   * @param {number} count
   * @returns {import("./board.js").Position} after so many presses
   */
  positionAfter(count) {
    return count > 0 ? this.presses[count - 1].position : this.board.start();
  }

  _change(presses) {
    this._before.push(this.presses);
    this.presses = presses;
  }
}
