// @ts-check
/** The versions as buttons: press one to hear it, press it again to stop. */

/**
 * @param {HTMLElement} root holds the buttons, each with `data-version`
 * @param {{player: import("./player.js").Player}} app
 */
export function setUpVersions(root, { player }) {
  const buttons = () => [...root.querySelectorAll("[data-version]")];
  const show = () => {
    for (const button of buttons()) {
      const chosen = !player.hidden && button.getAttribute("data-version") === player.current;
      button.setAttribute("aria-pressed", String(chosen));
    }
  };
  root.addEventListener("click", (event) => {
    const button = /** @type {Element} */ (event.target).closest("[data-version]");
    if (!button) return;
    const key = button.getAttribute("data-version");
    if (key === player.current && player.playing) player.pause();
    else player.play(key ?? undefined);
  });
  for (const type of ["sound", "hidden"]) player.addEventListener(type, show);
  show();
}
