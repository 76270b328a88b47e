// @ts-check
/** A blind test while it runs: names hidden, all equally loud, letters in their stead, and their keys. */

import { el } from "./dom.js";
import { report } from "./notices.js";

const LETTERS_ARE_TYPED = "input:not([type=radio], [type=checkbox], [type=range]), select, textarea";

/**
 * Tells "heard" when a letter begins to sound or what sounds stops, and "failed" (detail.error) when a sound
 * cannot be had.
 */
export class BlindSitting extends EventTarget {
  /** @param {any} app data, shelf, player */
  constructor({ player }) {
    super();
    this.player = player;
    /** @type {Map<string, string>} letter to key */
    this.letters = new Map();
    /** @type {Set<string>} */
    this.heard = new Set();
    /** @type {string | null} */
    this.letter = null;
    this.asked = 0;
    this.choosing = false;
    this.ended = false;
    this.turn = Promise.resolve();
    /** @type {HTMLElement | null} */
    this.panel = null;
    this.leave = () => {};
    this.onKey = this.onKey.bind(this);
    this.onState = () => {
      if (this.sounding !== null) this.heard.add(this.sounding);
      this.dispatchEvent(new Event("heard"));
    };
    this.onSound = () => {
      // Something else on the page was pressed.
      if (!this.choosing) this.letter = null;
    };
    this.onLevels = () => {
      if (this.player.levels !== "equal") this.player.setLevels("equal");
    };
  }

  /**
   * Hide what sounds and make all equally loud, until `end`.
   * @param {HTMLElement} panel where the letters' buttons are
   * @param {string[]} keys what may sound
   * @param {() => void} leave what Escape does
   */
  begin(panel, keys, leave) {
    const { player } = this;
    this.panel = panel;
    this.leave = leave;
    this.keys = keys;
    player.pause();
    player.hidden = true;
    // Now that whoever else had the player has given it back.
    this.before = { levels: player.levels, current: player.current };
    player.setLevels("equal");
    player.addEventListener("state", this.onState);
    player.addEventListener("sound", this.onSound);
    player.addEventListener("levels", this.onLevels);
    document.addEventListener("keydown", this.onKey, true);
    this.prepare();
  }

  /** Decoded beforehand, no sound takes longer than another to begin, which would tell them apart. */
  prepare() {
    this.turn = this.player.prepare(this.keys).catch((error) => this.fail(error));
  }

  fail(error) {
    if (this.ended) return;
    this.dispatchEvent(new CustomEvent("failed", { detail: { error } }));
  }

  /** Show again what sounds, as it was before. */
  end() {
    const { player } = this;
    this.ended = true;
    this.hush();
    document.removeEventListener("keydown", this.onKey, true);
    player.removeEventListener("state", this.onState);
    player.removeEventListener("sound", this.onSound);
    player.removeEventListener("levels", this.onLevels);
    player.setLevels(this.before.levels);
    if (this.before.current !== null) player.choose(this.before.current).catch(report);
    player.hidden = false;
  }

  /**
   * Give the letters anew, and stop what sounds.
   * @param {Record<string, string>} letters letter to key
   * @param {string[]} known letters that stay as they are, and heard if they were
   */
  deal(letters, known = []) {
    this.hush();
    this.letters = new Map(Object.entries(letters));
    this.heard = new Set(known.filter((letter) => this.heard.has(letter)));
    this.dispatchEvent(new Event("heard"));
  }

  hush() {
    this.asked += 1;
    this.letter = null;
    this.player.pause();
  }

  /** @returns {string | null} the letter that sounds */
  get sounding() {
    return this.player.playing ? this.letter : null;
  }

  /**
   * Those of the letters that have not sounded yet.
   * @param {string[]} letters
   * @returns {string[]}
   */
  unheard(letters) {
    return letters.filter((letter) => !this.heard.has(letter));
  }

  /**
   * Hear a letter from where the take is, or pause it if it sounds.
   *
   * Whatever sounded before, the same happens: it fades out, and the letter fades in. So going from A to X
   * sounds alike whether X is A or not.
   * @param {string} letter
   */
  listen(letter) {
    if (this.sounding === letter) {
      this.hush();
      return this.turn;
    }
    this.asked += 1;
    const asked = this.asked;
    // One after the other: of letters asked for in haste only the last sounds.
    this.turn = this.turn.then(() => (asked === this.asked ? this.sound(letter, asked) : undefined));
    return this.turn;
  }

  /**
   * @param {string} letter
   * @param {number} asked
   */
  async sound(letter, asked) {
    const { player } = this;
    player.pause();
    this.letter = letter;
    this.choosing = true;
    try {
      await player.play(this.letters.get(letter));
      if (asked !== this.asked) player.pause();
    } catch (error) {
      this.letter = null;
      this.fail(error);
    } finally {
      this.choosing = false;
    }
    this.dispatchEvent(new Event("heard"));
  }

  /** @param {KeyboardEvent} event */
  onKey(event) {
    const typing = event.target instanceof Element && event.target.matches(LETTERS_ARE_TYPED);
    if (typing || event.ctrlKey || event.altKey || event.metaKey) return;
    const letter = pageKeysAreOff() ? "" : event.key.toUpperCase();
    if (event.key === "Escape") {
      this.leave();
    } else if (event.repeat && this.letters.has(letter)) {
      // Held down: once is enough.
    } else if (this.letters.has(letter)) {
      // The focus goes to what Enter is to do next for this letter.
      this.panel?.querySelector(`[data-enter="${letter}"]`)?.focus();
      this.listen(letter);
    } else {
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
  }
}

/**
 * The button that lets a letter sound; says whether it sounds and whether it was heard.
 * @param {BlindSitting} sitting
 * @param {string} letter
 * @param {Record<string, any>} attributes
 * @returns {HTMLButtonElement}
 */
export function letterButton(sitting, letter, attributes = {}) {
  const mark = el("span", { class: "trial-letter-mark" });
  const button = el(
    "button",
    { type: "button", class: "trial-letter", on: { click: () => sitting.listen(letter) }, ...attributes },
    el(
      "span",
      { class: "trial-letter-name" },
      el("span", { class: "visually-hidden" }, "Listen to "),
      letter,
    ),
    mark,
  );
  const show = () => {
    const sounds = sitting.sounding === letter;
    button.setAttribute("aria-pressed", String(sounds));
    button.classList.toggle("heard", sitting.heard.has(letter));
    mark.textContent = sounds ? "sounds" : sitting.heard.has(letter) ? "heard" : "unheard";
  };
  sitting.addEventListener("heard", show);
  show();
  return button;
}

/** Whether the reader has switched the page's keys off: letters may then be meant for tools of his own. */
function pageKeysAreOff() {
  return document.querySelector("#shortcuts input[type=checkbox]")?.checked === false;
}
