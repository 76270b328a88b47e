// @ts-check
/** The versions as buttons: press one to hear it, press it again to stop. */

import { report } from "./notices.js";

/**
 * @param {HTMLElement} root holds the buttons, each with `data-version`
 * @param {{player: import("./player.js").Player}} app
 */
export function setUpVersions(root, { player }) {
  const show = () => {
    for (const button of root.querySelectorAll("[data-version]")) {
      const chosen = !player.hidden && button.getAttribute("data-version") === player.current;
      button.setAttribute("aria-pressed", String(chosen));
      button.disabled = player.hidden;
      button.classList.toggle("sounding", chosen && player.playing);
    }
  };
  root.addEventListener("click", (event) => {
    const button = /** @type {Element} */ (event.target).closest("[data-version]");
    const key = button?.getAttribute("data-version");
    if (!key) return;
    if (key === player.current && player.playing) player.pause();
    else player.play(key).catch(report);
  });
  for (const type of ["sound", "state", "hidden", "renewed"]) player.addEventListener(type, show);
  show();
}
