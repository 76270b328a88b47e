// @ts-check
/**
 * The switches under the foot and what they reach: the rules of chainsim/stage/board.py, on names alone.
 *
 * Choosing a patch ends the dry sound, puts back the blocks that were switched (not the free-standing ones)
 * and keeps the mute. It goes to the first bank that holds the patch, unless the open bank holds it.
 */

/** @typedef {{kind: string, name: string, place: number}} Action */
/**
 * @typedef {Object} Switch
 * @property {string} name
 * @property {Action} press
 * @property {Action|null} secondPress done instead of `press` while what that does is in force
 * @property {Action|null} hold
 * @property {"press"|"hold"|"none"} lamp what lights it
 */
/**
 * @typedef {Object} Position where the board stands
 * @property {string|null} patch null: the sketch as written
 * @property {number} bank from 0
 * @property {Array<[string, boolean]>} switched blocks that are not as the patch says, in order of name
 * @property {boolean} dry
 * @property {boolean} muted
 * @property {string|null} before the patch before this one
 */
/** @typedef {{switch: string, kind: "press"|"hold"}} Gesture */
/** @typedef {{atS: number, column: string, cell: string}} CueCells a cue as `cue_cells` of foot_plain.py gives it */

/** Banks and switches over the patches of a sketch. */
export class Board {
  /** @param {Object} plain as `board_plain` of foot_plain.py gives it */
  constructor(plain) {
    this.banks = plain.banks;
    /** @type {Switch[]} */
    this.switches = plain.switches;
    this._start = plain.start;
    this._byName = new Map(this.switches.map((s) => [s.name, s]));
    this._bankNumbers = new Map(this.banks.map((bank, i) => [bank.name, i]));
    this._engaged = new Map(plain.engaged.map(({ patch, blocks }) => [patch, new Set(blocks)]));
    this._freeStanding = new Set(plain.freeStanding);
  }

  /**
   * Before anything was done.
   * @returns {Position}
   */
  start() {
    return this._start;
  }

  /**
   * After an action; a place that the bank lacks, a tap, and "back" at the start change nothing.
   * @param {Position} position
   * @param {Action} action
   * @returns {Position}
   */
  do(position, action) {
    switch (action.kind) {
      case "patch":
        return this._choose(position, action.name);
      case "place": {
        const patch = this._atPlace(position, action.place);
        return patch === null ? position : this._choose(position, patch);
      }
      case "back":
        return position.before === null ? position : this._choose(position, position.before);
      case "bank":
        return { ...position, bank: this._bankNumber(action.name) };
      case "bank up":
      case "bank down": {
        const count = Math.max(this.banks.length, 1);
        const step = action.kind === "bank up" ? 1 : count - 1;
        return { ...position, bank: (position.bank + step) % count };
      }
      case "block":
        return this._engage(position, action.name, !this.isOn(position, action.name));
      case "dry":
        return { ...position, dry: !position.dry };
      case "mute":
        return { ...position, muted: !position.muted };
      case "tap":
        return position;
      default:
        throw new Error(`no action "${action.kind}"`);
    }
  }

  /**
   * What a gesture does here; a hold of a switch that has none does nothing.
   * @param {Position} position
   * @param {Gesture} gesture
   * @returns {Action|null}
   */
  action(position, gesture) {
    const found = this.switch(gesture.switch);
    if (gesture.kind === "hold") return found.hold;
    const again = found.secondPress !== null && this.inForce(position, found.press);
    return again ? found.secondPress : found.press;
  }

  /**
   * @param {Gesture} gesture
   * @returns {boolean} whether there is such a switch, and a hold on it if it is one
   */
  knows(gesture) {
    const found = this._byName.get(gesture.switch);
    return found !== undefined && (gesture.kind === "press" || found.hold !== null);
  }

  /**
   * After a press or a hold.
   * @param {Position} position
   * @param {Gesture} gesture
   * @returns {Position}
   */
  after(position, gesture) {
    const action = this.action(position, gesture);
    return action === null ? position : this.do(position, action);
  }

  /**
   * After a cue: a press or hold as the foot does it, all else set to what the cue says.
   * @param {Position} position
   * @param {CueCells} cue
   * @returns {Position}
   */
  apply(position, { column, cell }) {
    switch (column) {
      case "patch":
        return this._choose(position, cell);
      case "press":
      case "hold":
        return this.after(position, { switch: cell, kind: column });
      case "on":
      case "off":
        return this._engage(position, cell, column === "on");
      case "mute":
        return { ...position, muted: cell === "on" };
      case "dry":
        return { ...position, dry: cell === "on" };
      default:
        throw new Error(`no cue "${column}"`);
    }
  }

  /**
   * @param {Position} position
   * @param {string} block
   * @returns {boolean} whether it is engaged
   */
  isOn(position, block) {
    const changed = position.switched.find(([name]) => name === block);
    return changed === undefined ? this._asWritten(position, block) : changed[1];
  }

  /**
   * Whether what an action does is so already; steps, taps and "back" never are, nor is a patch under "dry".
   * @param {Position} position
   * @param {Action} action
   * @returns {boolean}
   */
  inForce(position, action) {
    switch (action.kind) {
      case "patch":
        return position.patch === action.name && !position.dry;
      case "place": {
        const patch = this._atPlace(position, action.place);
        return patch !== null && patch === position.patch && !position.dry;
      }
      case "bank":
        return position.bank === this._bankNumber(action.name);
      case "block":
        return this.isOn(position, action.name);
      case "dry":
        return position.dry;
      case "mute":
        return position.muted;
      default:
        return false;
    }
  }

  /**
   * Which lamps are lit, in the order of the board.
   * @param {Position} position
   * @returns {Map<string, boolean>} by switch
   */
  lamps(position) {
    const lit = (s) => {
      const shown = s.lamp === "none" ? null : s[s.lamp];
      return shown !== null && this.inForce(position, shown);
    };
    return new Map(this.switches.map((s) => [s.name, lit(s)]));
  }

  /**
   * @param {string} name
   * @returns {Switch}
   */
  switch(name) {
    const found = this._byName.get(name);
    if (found === undefined) throw new Error(`no switch "${name}"`);
    return found;
  }

  _choose(position, patch) {
    if (!this._engaged.has(patch)) throw new Error(`no patch "${patch}"`);
    return {
      patch,
      bank: this._bankWith(patch, position.bank),
      switched: position.switched.filter(([name]) => this._freeStanding.has(name)),
      dry: false,
      muted: position.muted,
      before: patch === position.patch ? position.before : position.patch,
    };
  }

  _atPlace(position, place) {
    return this.banks[position.bank]?.patches[place - 1] ?? null;
  }

  _engage(position, block, on) {
    const switched = position.switched.filter(([name]) => name !== block);
    if (on !== this._asWritten(position, block)) switched.push([block, on]);
    return { ...position, switched: switched.sort(([a], [b]) => inOrderOfName(a, b)) };
  }

  _asWritten(position, block) {
    const patch = this._freeStanding.has(block) ? null : position.patch;
    return this._engaged.get(patch)?.has(block) ?? false;
  }

  _bankWith(patch, open) {
    const holding = this.banks.flatMap((bank, i) => (bank.patches.includes(patch) ? [i] : []));
    return holding.includes(open) || holding.length === 0 ? open : holding[0];
  }

  _bankNumber(name) {
    const number = this._bankNumbers.get(name);
    if (number === undefined) throw new Error(`no bank "${name}"`);
    return number;
  }
}

/**
 * What is heard, in plain words: "chorale with echo off", "dry", "muted".
 * @param {Position} position
 * @returns {string}
 */
export function positionText(position) {
  if (position.muted || position.dry) return position.muted ? "muted" : "dry";
  const changes = position.switched.map(([name, on]) => `${name} ${on ? "on" : "off"}`).join(" and ");
  return (position.patch ?? "the sketch as written") + (changes ? ` with ${changes}` : "");
}

/**
 * The same for two positions that sound the same: muted, or dry, nothing is heard of patch and blocks.
 * @param {{patch: string|null, switched: Array<[string, boolean]>, dry: boolean, muted: boolean}} position
 * @returns {string}
 */
export function heardKey({ patch, switched, dry, muted }) {
  if (muted) return "muted";
  return dry ? "dry" : JSON.stringify([patch, switched]);
}

/**
 * An action as it is written: "patch chorale", "place 2", "mute".
 * @param {Action} action
 * @returns {string}
 */
export function actionText({ kind, name, place }) {
  return kind === "place" ? `place ${place}` : `${kind} ${name}`.trim();
}

/** By code points, as Python sorts: JavaScript would compare halves of them. */
function inOrderOfName(a, b) {
  const [left, right] = [[...a], [...b]];
  const i = left.findIndex((sign, k) => sign !== right[k]);
  if (i < 0) return left.length - right.length;
  return i < right.length ? left[i].codePointAt(0) - right[i].codePointAt(0) : 1;
}
