// @ts-check
/** What the board gives is what the page plays, until something else is chosen. */

import { heardKey } from "./board.js";
import { report } from "./notices.js";

const MUTE_S = 0.005;

/** Takes the player over, as loud as on stage, and gives it back as it was. */
export class FootSound {
  /**
   * @param {Array<Object>} sounds as `heard_plain` of foot_plain.py, each with the key of its sound
   * @param {import("./board.js").Board} board
   * @param {import("./player.js").Player} player
   * @param {AbortSignal} ending from when on nothing is listened to
   */
  constructor(sounds, board, player, ending) {
    this._sounds = new Map(sounds.map((sound) => [heardKey(sound), sound.sound]));
    this._keys = new Set(this._sounds.values());
    this._board = board;
    this._player = player;
    this._levelsBefore = player.levels;
    /** Whether the board has the player. */
    this.engaged = false;
    const remember = () => (this._levelsBefore = player.levels);
    player.addEventListener("levels", remember, { signal: ending });
  }

  /**
   * @param {import("./board.js").Position} position
   * @returns {string|undefined} the key of what is heard there; silence and what the page lacks have none
   */
  keyAt(position) {
    return this._sounds.get(heardKey(position));
  }

  /**
   * @param {string} key
   * @returns {boolean} whether it is one of the board's
   */
  owns(key) {
    return this._keys.has(key);
  }

  /**
   * Let the page play what the board gives, and have ready what the next press may call.
   * @param {import("./board.js").Position} position
   */
  engage(position) {
    const player = this._player;
    if (!this.engaged) {
      this.engaged = true;
      const before = player.levels;
      player.setLevels("as it comes"); // as on stage, where patches are as loud as they are
      this._levelsBefore = before;
    }
    const key = this.keyAt(position);
    this._mute(key === undefined);
    // Also where it sounds already: another may have been chosen that is not there yet.
    if (key !== undefined) player.choose(key).catch(report);
    player.prepare(this._nextKeys(position)).catch(report);
  }

  /** Give the player back, with the levels that it had, or that were chosen since. */
  leave() {
    if (!this.engaged) return;
    this.engaged = false;
    this._mute(false);
    if (this._levelsBefore !== this._player.levels) this._player.setLevels(this._levelsBefore);
  }

  _mute(silent) {
    const { output, context } = this._player;
    output.gain.setTargetAtTime(silent ? 0 : 1, context.currentTime, MUTE_S);
  }

  _nextKeys(position) {
    const next = this._board.switches.flatMap(({ name }) =>
      ["press", "hold"].map((kind) => this.keyAt(this._board.after(position, { switch: name, kind }))),
    );
    return [...new Set(next.filter((key) => key !== undefined))];
  }
}
