// @ts-check
/** Repeating a part: from here, to here, no longer. */

import { clock, el, say } from "./dom.js";

const SHORTEST_S = 0.1;

/**
 * What buttons, keys and the pointer do to the loop.
 */
export class LoopControls {
  /** @param {{player: import("./player.js").Player, data: Object}} app */
  constructor({ player, data }) {
    this._player = player;
    this._startsAt = data.startsAt;
    this._last = null;
    player.addEventListener("loop", () => {
      this._last = player.loop ?? this._last;
    });
    player.addEventListener("sound", () => {
      if (this._last && this._last.to > player.seconds) this._last = null;
    });
  }

  /** Repeat from the present place to where the loop ended, or to the end. */
  fromHere() {
    const { position, seconds, loop } = this._player;
    const from = Math.min(position, seconds - SHORTEST_S);
    this.set({ from, to: loop && loop.to >= from + SHORTEST_S ? loop.to : seconds });
  }

  /** Repeat up to the present place, from where the loop began, or from the beginning. */
  toHere() {
    const { position, loop } = this._player;
    const to = Math.max(position, SHORTEST_S);
    this.set({ from: loop && loop.from <= to - SHORTEST_S ? loop.from : 0, to });
  }

  /** Repeat no longer; or the last part again, or all if there was none. */
  toggle() {
    if (this._player.loop) this.set(null);
    else this.set(this._last ?? { from: 0, to: this._player.seconds });
  }

  /** @param {import("./player.js").Loop|null} loop */
  set(loop) {
    this._player.setLoop(loop);
    say(this.words());
  }

  /** What is repeated, in words. */
  words() {
    const loop = this._player.loop;
    if (!loop) return "Nothing is repeated.";
    return `Repeats ${clock(this._startsAt + loop.from)} to ${clock(this._startsAt + loop.to)}.`;
  }

  /**
   * The buttons.
   * @returns {HTMLElement}
   */
  buttons() {
    const button = (text, act) => el("button", { type: "button", class: "button", on: { click: act } }, text);
    const turn = button("", () => this.toggle());
    const words = el("p", { class: "muted loop-words" });
    const show = () => {
      turn.textContent = this._player.loop ? "Stop repeating" : this._last ? "Repeat again" : "Repeat all";
      words.textContent = this._player.loop ? this.words() : "Drag over the pictures to repeat a part.";
    };
    for (const type of ["loop", "sound"]) this._player.addEventListener(type, show);
    show();
    return el(
      "div",
      { class: "loop-controls", role: "group", "aria-label": "Repeating" },
      button("Repeat from here", () => this.fromHere()),
      button("to here", () => this.toHere()),
      turn,
      words,
    );
  }
}
