// @ts-check
/** The switches of a board as buttons: by finger, mouse or key, pressed and held as a foot would. */

import { actionText } from "./board.js";
import { el } from "./dom.js";

/** Letters that lie side by side on most keyboards of the world, without those that the page uses itself. */
const LETTERS = [..."SDGHJKXCVBMERUIOP"];
const WRITTEN_IN = "input:not([type=radio], [type=checkbox], [type=range], [type=button]), textarea, select";

/**
 * @typedef {Object} Doing
 * @property {(gesture: import("./board.js").Gesture) => void} act called when a gesture acts
 * @property {() => boolean} allowed whether switches may be pressed now
 */

/** Buttons of all switches, in the order of the board. */
export class FootSwitches {
  /**
   * @param {import("./board.js").Board} board
   * @param {number} holdMs
   * @param {Doing} doing
   * @param {AbortSignal} ending from when on nothing is listened to
   */
  constructor(board, holdMs, doing, ending) {
    this.board = board;
    this.all = board.switches.map((s, i) => new FootSwitch(s, LETTERS[i] ?? null, holdMs, doing));
    this.element = el("div", { class: "foot-switches" }, ...this.all.map(({ element }) => element));
    this._byLetter = new Map(this.all.filter(({ letter }) => letter).map((s) => [s.letter, s]));
    /** Whether letters press switches wherever on the page one is. */
    this.lettersOn = true;
    const cancel = () => this.all.forEach((s) => s.cancel());
    document.addEventListener("keydown", (event) => this._onKey(event), { signal: ending });
    document.addEventListener("keyup", (event) => this._letter(event)?.up(), { signal: ending });
    window.addEventListener("blur", cancel, { signal: ending });
    ending.addEventListener("abort", cancel);
  }

  /**
   * Show lamps, and what each press does now.
   * @param {import("./board.js").Position} position
   */
  show(position) {
    const lamps = this.board.lamps(position);
    for (const s of this.all) s.show(this.board, position, lamps.get(s.name) ?? false);
  }

  _onKey(event) {
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
    const target = /** @type {Element} */ (event.target);
    if (target.closest(WRITTEN_IN) || !(this.lettersOn || this.element.contains(target))) return;
    const pressed = this._letter(event);
    if (!pressed) return;
    event.preventDefault();
    if (!event.repeat) pressed.down();
  }

  _letter(event) {
    return this._byLetter.get(event.key.toUpperCase());
  }
}

/** One switch: acts when it goes down; one with a hold, when it is let go or has been held. */
class FootSwitch {
  constructor(plain, letter, holdMs, doing) {
    this.name = plain.name;
    this.letter = letter;
    this._plain = plain;
    this._holdMs = holdMs;
    this._doing = doing;
    this._isDown = false;
    this._timer = 0;
    this._does = el("span", { class: "foot-does" });
    const hold = () => this._act("hold");
    this._holds =
      plain.hold && el("button", { type: "button", class: "button quiet", on: { click: hold } });
    this.button = el(
      "button",
      { type: "button", class: "foot-switch", "data-switch": plain.name, on: this._listeners() },
      plain.lamp === "none" ? null : el("span", { class: "foot-lamp", "aria-hidden": "true" }),
      el("span", { class: "foot-name" }, plain.name),
      el("span", { class: "visually-hidden" }, ": "),
      this._does,
      letter === null ? null : el("span", { class: "visually-hidden" }, ", key "),
      letter === null ? null : el("kbd", {}, letter),
    );
    this.element = el("div", { class: "foot-place" }, this.button, this._holds);
  }

  show(board, position, lit) {
    if (this._plain.lamp !== "none") this.button.setAttribute("aria-pressed", String(lit));
    const press = board.action(position, { switch: this.name, kind: "press" });
    this._does.textContent = inWords(board, position, press);
    if (this._holds === null) return;
    const held = inWords(board, position, this._plain.hold);
    this._holds.replaceChildren(`hold: ${held}`, el("span", { class: "visually-hidden" }, ` (${this.name})`));
  }

  down() {
    if (this._isDown || !this._doing.allowed()) return;
    this._isDown = true;
    this.button.classList.add("down");
    if (this._plain.hold === null) this._act("press");
    else this._timer = window.setTimeout(() => this._held(), this._holdMs);
  }

  up() {
    const waits = this._isDown && this._timer !== 0;
    this.cancel();
    if (waits) this._act("press");
  }

  /** Let go without having pressed. */
  cancel() {
    window.clearTimeout(this._timer);
    this._timer = 0;
    this._isDown = false;
    this.button.classList.remove("down");
  }

  _held() {
    this._timer = 0;
    this._act("hold");
  }

  _act(kind) {
    if (this._doing.allowed()) this._doing.act({ switch: this.name, kind });
  }

  _listeners() {
    const byKey = (event) => event.key === "Enter" || event.key === " ";
    return {
      pointerdown: (event) => {
        if (event.button !== 0) return;
        this.button.setPointerCapture(event.pointerId);
        this.down();
      },
      pointerup: () => this.up(),
      pointercancel: () => this.cancel(),
      mousedown: (event) => event.preventDefault(), // the focus stays where it was
      contextmenu: (event) => event.preventDefault(),
      keydown: (event) => {
        if (!byKey(event) || event.ctrlKey || event.metaKey || event.altKey) return;
        event.preventDefault();
        if (!event.repeat) this.down();
      },
      keyup: (event) => {
        if (!byKey(event)) return;
        event.preventDefault();
        this.up();
      },
      blur: () => this.cancel(),
      // What comes from no pointer, as from a screen reader, has no length; some browsers name none at all.
      click: (event) => {
        if (event.detail === 0 && !event.pointerType) this._act("press");
      },
    };
  }
}

/** What an action would do here, in the words of a player. */
function inWords(board, position, action) {
  const bank = (number) => `bank ${board.banks[number]?.name ?? ""}`.trim();
  switch (action.kind) {
    case "patch":
      return action.name;
    case "place":
      return board.banks[position.bank]?.patches[action.place - 1] ?? "nothing here";
    case "back":
      return position.before === null ? "nothing here" : `back to ${position.before}`;
    case "bank up":
    case "bank down":
      return bank(board.do(position, action).bank);
    case "block":
      return `${action.name} ${board.isOn(position, action.name) ? "off" : "on"}`;
    case "dry":
      return position.dry ? "no longer dry" : "dry";
    case "mute":
      return position.muted ? "sound again" : "mute";
    default:
      return actionText(action);
  }
}
