// @ts-check
/** Where the board stands along the take: what was pressed acts, and acts again as the take goes by. */

const JUMP_MS = 50;

/** Goes along a list of presses with the time of the take. */
export class FootCourse {
  /**
   * @param {import("./press_list.js").PressList} list
   * @param {number} startMs when in the take the page begins
   */
  constructor(list, startMs) {
    this.list = list;
    /** How many presses have acted by now. */
    this.count = 0;
    /** How far was played. */
    this.reachedMs = startMs;
    this._startMs = startMs;
    this._floorMs = startMs;
    this._lastMs = startMs;
  }

  /** @returns {import("./board.js").Position} */
  get position() {
    return this.list.positionAfter(this.count);
  }

  /**
   * A gesture acts now, or a moment later if the clock has not gone on since the last.
   * @param {import("./board.js").Gesture} gesture
   * @param {number} nowMs
   */
  press(gesture, nowMs) {
    const press = this.list.add(gesture, Math.max(nowMs, this._floorMs));
    this._floorMs = press.actsMs;
    this.count = this.list.presses.length;
    this.reach(press.actsMs);
  }

  /**
   * The take has come to here.
   * @param {number} nowMs
   * @returns {boolean} whether other presses have acted by now than before
   */
  follow(nowMs) {
    if (nowMs < this._lastMs - JUMP_MS) this._floorMs = this._startMs;
    this._lastMs = nowMs;
    return this._recount(nowMs);
  }

  /**
   * The take goes on from here: whatever was pressed last, its time may come again.
   * @param {number} nowMs
   * @returns {boolean} as `follow`
   */
  jump(nowMs) {
    this._floorMs = this._startMs;
    return this.follow(nowMs);
  }

  /**
   * It was played up to here.
   * @param {number} nowMs
   */
  reach(nowMs) {
    this.reachedMs = Math.max(this.reachedMs, nowMs);
  }

  /** @param {number} nowMs */
  undo(nowMs) {
    this.list.undo();
    this._recount(nowMs);
  }

  /** @param {number} nowMs */
  clear(nowMs) {
    this.list.clear();
    this.reachedMs = this._startMs;
    this._recount(nowMs);
  }

  _recount(nowMs) {
    const before = this.count;
    this.count = this.list.countUntil(Math.max(nowMs, this._floorMs));
    return this.count !== before;
  }
}
