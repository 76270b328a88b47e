// @ts-check
/** Light and dark: as the system has it, until the reader says otherwise. */

import { el, icon } from "./dom.js";

const KEPT = "chainsim theme";
const CHANGED = "themechange";

/**
 * A button that turns the light on and off.
 * @param {HTMLElement} root
 */
export function setUpTheme(root) {
  const system = window.matchMedia("(prefers-color-scheme: dark)");
  const button = el("button", { type: "button", class: "button quiet", on: { click: turn } });
  root.append(button);

  function isDark() {
    const chosen = document.documentElement.getAttribute("data-theme");
    return chosen ? chosen === "dark" : system.matches;
  }

  function turn() {
    const theme = isDark() ? "light" : "dark";
    document.documentElement.setAttribute("data-theme", theme);
    keep(theme);
    show();
  }

  function show() {
    button.replaceChildren(icon(isDark() ? "sun" : "moon"), isDark() ? "Light" : "Dark");
    button.setAttribute("aria-label", isDark() ? "Light page" : "Dark page");
    document.dispatchEvent(new Event(CHANGED));
  }

  const theme = kept();
  if (theme === "light" || theme === "dark") document.documentElement.setAttribute("data-theme", theme);
  system.addEventListener("change", show);
  show();
}

/**
 * Call when colours have changed.
 * @param {() => void} listener
 */
export function onThemeChange(listener) {
  document.addEventListener(CHANGED, listener);
}

/** A page opened from disk may be refused a memory; it does without. */
function kept() {
  try {
    return localStorage.getItem(KEPT);
  } catch {
    return null;
  }
}

function keep(theme) {
  try {
    localStorage.setItem(KEPT, theme);
  } catch {
    return;
  }
}
