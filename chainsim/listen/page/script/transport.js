// @ts-check
/** The bar that stays in sight: play, what sounds, where in it. */

import { clock, el, icon } from "./dom.js";
import { report } from "./notices.js";
import { whilePlaying } from "./ticking.js";

const STILL_MS = 250;

/**
 * @param {HTMLElement} root
 * @param {{player: import("./player.js").Player, shelf: import("./shelf.js").SoundShelf, data: Object}} app
 */
export function setUpTransport(root, { player, shelf, data }) {
  const button = el("button", { type: "button", class: "button primary play", on: { click: toggle } });
  const name = el("span", { class: "transport-name" });
  const time = el("span", { class: "transport-time" });
  const slider = /** @type {HTMLInputElement} */ (
    el("input", { type: "range", id: "position", min: "0", step: "0.01", "aria-label": "Position" })
  );
  slider.addEventListener("input", () => player.seek(Number(slider.value)));
  root.append(button, el("div", { class: "transport-what" }, name, time), slider);

  function toggle() {
    if (player.playing) player.pause();
    else if (!player.hidden) player.play().catch(report);
  }

  function showState() {
    button.toggleAttribute("disabled", player.hidden && !player.playing);
    button.replaceChildren(
      icon(player.playing ? "pause" : "play"),
      el("span", {}, player.playing ? "Pause" : "Play"),
    );
    showPlace();
  }

  function showSound() {
    const known = player.current !== null && !player.hidden && shelf.has(player.current);
    name.textContent = player.hidden
      ? "What sounds is hidden"
      : known
        ? shelf.sound(player.current).name
        : "";
    slider.max = String(player.seconds);
    showPlace();
  }

  function showPlace() {
    const place = clock(data.startsAt + player.position);
    time.textContent = `${place} of ${clock(data.startsAt + player.seconds)}`;
    slider.value = String(player.position);
    slider.setAttribute("aria-valuetext", place);
  }

  for (const type of ["state", "hidden"]) player.addEventListener(type, showState);
  for (const type of ["sound", "hidden", "renewed"]) player.addEventListener(type, showSound);
  player.addEventListener("seek", showPlace);
  whilePlaying(player, showPlace, STILL_MS);
  showState();
  showSound();
}
