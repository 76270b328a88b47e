// @ts-check
/** What the page has to say in large letters: that the browser wants a click, that a sound cannot be had. */

import { el } from "./dom.js";

const NOT_PRESSED = "The browser keeps this page silent until you press something in it. Press this:";
const PRESSED =
  "The way to your loudspeakers or headphones is not open yet; it sounds as soon as it is. " +
  "If it stays silent, press this:";

/**
 * Show when the browser keeps the page silent, and what to press.
 * @param {HTMLElement} root
 * @param {{player: import("./player.js").Player}} app
 */
export function setUpNotices(root, { player }) {
  let waiting = null;
  player.addEventListener("blocked", ({ detail }) => {
    if (waiting) return;
    const button = el("button", {
      type: "button",
      class: "button primary",
      on: { click: () => player.play().catch(report) },
    });
    button.append("Let it sound");
    waiting = el(
      "div",
      { class: "note warn notice", role: "alert" },
      el("p", {}, detail.pressed ? PRESSED : NOT_PRESSED),
      button,
    );
    root.append(waiting);
  });
  player.addEventListener("state", () => {
    if (player.playing && waiting) {
      waiting.remove();
      waiting = null;
    }
  });
}

/**
 * Tell of something that went wrong; for `promise.catch(report)`.
 * @param {Error} error
 */
export function report(error) {
  const root = document.getElementById("notices");
  if (!root) throw error;
  const told = el("p", { class: "note warn fault", role: "alert" }, `This did not work: ${error.message}.`);
  withdraw();
  root.append(told);
}

/** What went wrong no longer matters. */
export function withdraw() {
  document.querySelector("#notices .fault")?.remove();
}
