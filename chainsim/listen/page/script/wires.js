// @ts-check
/** Wires of a drawing: press one to hear what runs through it. */

import { report } from "./notices.js";

const WIRES = ".drawing [data-sound]";

/** @param {{player: import("./player.js").Player, shelf: import("./shelf.js").SoundShelf}} app */
export function setUpWires({ player, shelf }) {
  const press = (event) => {
    const wire = /** @type {Element} */ (event.target).closest(WIRES);
    const key = wire?.getAttribute("data-sound");
    if (!key || !shelf.has(key) || player.hidden) return false;
    if (key === player.current && player.playing) player.pause();
    else player.play(key).catch(report);
    return true;
  };
  document.addEventListener("click", press);
  document.addEventListener("keydown", (event) => {
    if ((event.key === "Enter" || event.key === " ") && press(event)) event.preventDefault();
  });
  const show = () => {
    for (const wire of document.querySelectorAll(WIRES)) {
      const chosen = !player.hidden && wire.getAttribute("data-sound") === player.current;
      wire.setAttribute("aria-pressed", String(chosen));
      wire.classList.toggle("sounding", chosen && player.playing);
    }
  };
  for (const type of ["sound", "state", "hidden", "renewed"]) player.addEventListener(type, show);
  show();
}
