// @ts-check
/** Whether someone still watches: the time that a watcher renews. */

const PATIENCE_MS = 20000;

/** A watcher lives while its time is new; a clock that goes wrong is forgiven as long as that time changes. */
export class Heartbeat {
  constructor() {
    this._time = null;
    this._changed = 0;
  }

  /**
   * @param {number|undefined} time that the watcher wrote, in milliseconds; 0 when it ended
   * @param {number} now
   */
  heard(time, now) {
    if (time === undefined || time === this._time) return;
    this._changed = this._time === null ? Math.min(time, now) : now;
    this._time = time;
  }

  /**
   * @param {number} now in milliseconds
   * @returns {boolean} whether nobody watches any more
   */
  over(now) {
    if (this._time === null) return false;
    return this._time === 0 || now - this._changed > PATIENCE_MS;
  }

  /**
   * What is told of the watcher.
   * @param {number} now in milliseconds
   * @param {boolean} unread whether what it writes could not be read the last time
   * @param {string} taken what was taken up, or ""
   * @returns {string}
   */
  words(now, unread, taken) {
    if (this.over(now)) return `The watcher has ended: what is saved now is not taken up. ${taken}`.trim();
    if (unread && this._time === null) {
      return "Not watching: now.js is not beside this page, or the browser may not read it there.";
    }
    return `Watching: ${taken || "a new version is taken up as soon as it is saved."}`;
  }
}
