// @ts-check
/** For browsers that cannot play in time: each sound with the browser's own player. */

import { el } from "./dom.js";

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
      el("p", {}, "This browser cannot go from one sound to another in time. Each can be played by itself:"),
      list,
      el("p", { class: "muted" }, "Or make one audio file of all of them: chainsim compare … --reel FILE."),
    ),
  );
  for (const key of [...shelf.keys("take"), ...shelf.keys("version")]) {
    const sound = shelf.sound(key);
    const audio = el("audio", { controls: true, preload: "none", "aria-label": sound.name });
    list.append(el("div", { class: "field" }, el("span", { class: "label" }, sound.name), audio));
    shelf.bytes(key).then((bytes) => {
      /** @type {HTMLAudioElement} */ (audio).src = URL.createObjectURL(
        new Blob([bytes], { type: sound.mime }),
      );
    });
  }
}
