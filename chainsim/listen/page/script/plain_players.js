// @ts-check
/** For browsers that cannot play in time: each sound with the browser's own player. */

import { el } from "./dom.js";

const NEEDS_TIME = ["transport", "timeline", "trials", "foot"];
const BUTTONS = ["data-version", "data-hear"];

/**
 * @param {HTMLElement} root
 * @param {import("./shelf.js").SoundShelf} shelf
 */
export function setUpPlainPlayers(root, shelf) {
  const list = el("div", { class: "stack" });
  root.append(
    el(
      "div",
      { class: "note warn stack" },
      el(
        "p",
        {},
        "This browser cannot go from one sound to another in time, or has no way out for sound. ",
        "Each can be tried by itself:",
      ),
      list,
      el("p", { class: "muted" }, "Or make one audio file of all of them: chainsim compare … --reel FILE."),
    ),
  );
  for (const id of NEEDS_TIME) document.getElementById(id)?.toggleAttribute("hidden", true);
  const players = new Map();
  for (const key of [...shelf.keys("take"), ...shelf.keys("version")]) {
    const sound = shelf.sound(key);
    const audio = /** @type {HTMLAudioElement} */ (
      el("audio", { controls: true, preload: "none", "aria-label": sound.name })
    );
    const fault = el("span", { class: "muted" });
    players.set(key, audio);
    list.append(el("div", { class: "field" }, el("span", { class: "label" }, sound.name), audio, fault));
    shelf
      .bytes(key)
      .then((bytes) => {
        audio.src = URL.createObjectURL(new Blob([bytes], { type: sound.mime }));
      })
      .catch((error) => {
        fault.textContent = `This did not work: ${error.message}.`;
      });
  }
  letButtonsPlay(players);
}

/** A version's button plays its player; whichever begins, the others stop. */
function letButtonsPlay(players) {
  for (const audio of players.values()) {
    audio.addEventListener("play", () => {
      for (const other of players.values()) if (other !== audio) other.pause();
    });
  }
  document.addEventListener("click", (event) => {
    for (const name of BUTTONS) {
      const button = /** @type {Element} */ (event.target).closest(`[${name}]`);
      const audio = players.get(button?.getAttribute(name));
      if (audio?.paused) audio.play().catch(() => undefined); // the player itself shows why
      else audio?.pause();
    }
  });
}
