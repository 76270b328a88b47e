// @ts-check
/** What is seen of a board: its display, its switches, what was pressed, and what is due. */

import { positionText } from "./board.js";
import { el } from "./dom.js";
import { ownCueTable, pressTable } from "./foot_lists.js";

/**
 * @typedef {Object} FootDoing
 * @property {() => void} fromTheTop
 * @property {() => void} undo
 * @property {() => void} clear
 * @property {() => void} save
 * @property {(on: boolean) => void} letters
 */

/** The board's place on the page. */
export class FootPanel {
  /**
   * @param {Object} plain as `FootAtKeys.plain` of foot_sounds.py gives it
   * @param {import("./pace.js").Pace} pace
   * @param {import("./foot_switches.js").FootSwitches} switches
   * @param {FootDoing} does
   */
  constructor(plain, pace, switches, does) {
    this._plain = plain;
    this._pace = pace;
    this._board = pace.board;
    this._switches = switches;
    this._bank = el("span", { class: "foot-bank" });
    this._sound = el("strong", { class: "foot-sound" });
    this._hint = el("p", { class: "muted foot-hint" });
    this._saved = el("p", { class: "note", hidden: true });
    this._undo = footButton("Undo", does.undo);
    this._clear = footButton("Clear all", does.clear);
    this._save = footButton("Save as cues", does.save);
    this._presses = scrolled("Your presses");
    this._own = scrolled("The set's own cues");
    const letters = /** @type {HTMLInputElement} */ (el("input", { type: "checkbox", checked: true }));
    letters.addEventListener("change", () => does.letters(letters.checked));
    this.element = el(
      "div",
      { class: "stack foot-panel" },
      el("div", { class: "foot-display" }, this._bank, this._sound),
      switches.element,
      this._hint,
      el(
        "div",
        { class: "row" },
        footButton("Play from the top", does.fromTheTop, "primary"),
        this._undo,
        this._clear,
        this._save,
      ),
      el(
        "label",
        { class: "foot-letters" },
        letters,
        "The letters press the switches from anywhere on this page",
      ),
      this._saved,
      el(
        "div",
        { class: "foot-lists" },
        el("div", { class: "stack" }, el("h3", {}, "Your presses"), this._presses),
        plain.cues.length === 0
          ? null
          : el("div", { class: "stack" }, el("h3", {}, "The set's own cues"), this._own),
      ),
    );
  }

  /**
   * Show where the board stands.
   * @param {import("./foot_course.js").FootCourse} course
   * @param {string} hint
   */
  show(course, hint) {
    const { list, position } = course;
    const bank = this._board.banks[position.bank]?.name;
    this._bank.textContent = bank === undefined ? "" : `bank ${bank}`;
    this._sound.textContent = positionText(position);
    this._hint.textContent = hint;
    this._switches.show(position);
    const none = list.presses.length === 0;
    this._undo.toggleAttribute("disabled", !list.canUndo);
    this._clear.toggleAttribute("disabled", none);
    this._save.toggleAttribute("disabled", none);
    this._presses.replaceChildren(
      none
        ? el("p", { class: "muted" }, "None yet.")
        : pressTable(list, this._pace, this._plain.bars, course.count),
    );
    this.showCues(course);
  }

  /** @param {import("./foot_course.js").FootCourse} course */
  showCues({ list, reachedMs }) {
    const { cues } = this._plain;
    if (cues.length > 0) this._own.replaceChildren(ownCueTable(cues, list, reachedMs));
  }

  /**
   * Tell what became of the saved presses.
   * @param {Array<Node|string>} words
   */
  tellSaved(words) {
    this._saved.hidden = false;
    this._saved.replaceChildren(...words);
  }
}

function footButton(text, act, kind = "") {
  return el("button", { type: "button", class: `button ${kind}`.trim(), on: { click: act } }, text);
}

function scrolled(label) {
  return el("div", { class: "table-scroll", tabindex: "0", role: "region", "aria-label": label });
}
