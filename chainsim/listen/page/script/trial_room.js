// @ts-check
/** The place on the page where a blind test runs and its result is told. */

import { abxResult } from "./abx_panel.js";
import { drawBelow } from "./chance.js";
import { el, say } from "./dom.js";
import { favouriteResult } from "./favourite_panel.js";
import { report } from "./notices.js";
import { rankingResult } from "./ranking_panel.js";
import { BlindSitting } from "./sitting.js";

/** @typedef {{key: string, name: string, digest: string}} Version one that can take part */

const RESULTS = { favourite: favouriteResult, abx: abxResult, ranking: rankingResult };

/**
 * An answer in words.
 * @param {Object} answer
 * @returns {Node[]}
 */
export function resultOf(answer) {
  const names = new Map((answer.versions ?? []).map(({ key, name }) => [key, name]));
  return RESULTS[answer.test](answer, (key) => names.get(key) ?? key);
}

/** Shows one test at a time; tells "opened" and "closed". */
export class TrialRoom extends EventTarget {
  /**
   * @param {HTMLElement} place
   * @param {Object} app
   * @param {import("./answers.js").AnswerBook} book
   */
  constructor(place, app, book) {
    super();
    this.place = place;
    this.app = app;
    this.book = book;
    this.sitting = null;
    this.fault = null;
    this.chance = (n) => (this.app.chance ?? drawBelow)(n);
    this.onPageHide = () => this.abandon?.();
    /** What is to be done when the page was written anew. */
    this.renewed = () => {};
  }

  /**
   * Begin a test: from now until `finish` or `close` the page hides what sounds.
   * @param {string[]} keys what may sound
   * @param {() => void} leave what "Stop" and Escape do
   * @param {() => void} [abandon] what is done if the page is left meanwhile
   * @returns {BlindSitting}
   */
  sit(keys, leave, abandon) {
    this.sitting?.end();
    this.leave = leave;
    this.abandon = abandon;
    this.sitting = new BlindSitting(this.app);
    this.sitting.addEventListener("failed", ({ detail }) => this.tellFailure(detail.error));
    this.sitting.begin(this.place, keys, leave);
    window.addEventListener("pagehide", this.onPageHide);
    this.dispatchEvent(new Event("opened"));
    return this.sitting;
  }

  /**
   * Show what is asked.
   * @param {string} heading
   * @param {string} progress
   * @param {HTMLElement} body
   * @param {Node[]} keys what the keys do
   */
  show(heading, progress, body, keys) {
    this.heading = el("h3", { tabindex: "-1" }, heading);
    this.progressLine = el("p", { class: "muted" }, progress);
    this.noteLine = el("div", { class: "trial-note", role: "status" });
    const stop = el(
      "button",
      { type: "button", class: "button quiet", on: { click: () => this.leave() } },
      "Stop",
    );
    this.place.replaceChildren(
      el("div", { class: "trial-head" }, el("div", {}, this.heading, this.progressLine), stop),
      body,
      this.noteLine,
      el("p", { class: "trial-keys muted" }, ...keys),
    );
    this.place.hidden = false;
    this.focusHeading();
  }

  focusHeading() {
    this.heading.focus();
  }

  /** @param {string} text */
  progress(text) {
    this.progressLine.textContent = text;
  }

  /**
   * Tell something about what was just tried; "" takes it away.
   * @param {string} text
   * @param {...Node} buttons
   */
  note(text, ...buttons) {
    this.noteLine.replaceChildren(...(text === "" ? [] : [el("p", { class: "note" }, text)]));
    if (buttons.length > 0) this.noteLine.append(el("div", { class: "row" }, ...buttons));
  }

  /** A sound cannot be had. Which, would tell who hides behind a letter: that comes when the test is over. */
  tellFailure(error) {
    this.fault = error;
    const again = () => {
      this.fault = null;
      this.note("");
      this.sitting.prepare();
    };
    const stop = { type: "button", class: "button quiet", on: { click: () => this.leave() } };
    this.note(
      "A sound of this test cannot be had. Go on, and it is tried again; or stop, and you are told which.",
      el("button", { type: "button", class: "button", on: { click: again } }, "Go on"),
      el("button", stop, "Stop the test"),
    );
  }

  /**
   * Seconds since a time of the page's clock, in tenths.
   * @param {number} since `performance.now()`
   * @returns {number}
   */
  secondsSince(since) {
    return Math.round((performance.now() - since) / 100) / 10;
  }

  /**
   * End the test, keep its answer and tell its result.
   * @param {Object} answer
   * @param {Version[]} versions those that took part
   * @param {() => void} again
   */
  finish(answer, versions, again) {
    this.end();
    this.book.add(answer);
    const result = el("div", { class: "stack trial-result" }, ...resultOf(answer));
    const heading = el("h3", { tabindex: "-1" }, "What came of it");
    const once = el("button", { type: "button", class: "button", on: { click: again } }, "Once more");
    this.renewed = () => {
      if (!versions.every((version) => this.isHere(version))) once.remove();
    };
    this.place.replaceChildren(
      heading,
      result,
      el(
        "div",
        { class: "row" },
        once,
        el("button", { type: "button", class: "button quiet", on: { click: () => this.close() } }, "Done"),
      ),
    );
    heading.focus();
    say([...result.children].map((part) => (part.matches("details") ? "" : part.textContent)).join(" "));
  }

  /** End the test, if one runs, and leave nothing of it. */
  close() {
    this.end();
    this.place.replaceChildren();
    this.place.hidden = true;
    this.dispatchEvent(new Event("closed"));
  }

  /**
   * @param {Version} version
   * @returns {boolean} whether the page still has it as it was
   */
  isHere({ key, digest }) {
    const { shelf } = this.app;
    return shelf.has(key) && shelf.sound(key).digest === digest;
  }

  end() {
    this.sitting?.end();
    this.sitting = null;
    if (this.fault) report(this.fault);
    this.fault = null;
    this.abandon = undefined;
    window.removeEventListener("pagehide", this.onPageHide);
  }
}
