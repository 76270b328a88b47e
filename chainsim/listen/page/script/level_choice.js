// @ts-check
/**
 * One loudness for all, or each as it comes. Both ways something can become much louder: another version, where
 * each is as loud as it comes; the same one, where all are made equally loud again.
 */

import { el } from "./dom.js";

const CHOICES = [
  ["equal", "All equally loud", "so that the louder does not win for being louder"],
  ["as it comes", "As loud as it comes", "beside the others, as the chain makes it"],
];

/**
 * @param {{player: import("./player.js").Player}} app
 * @returns {HTMLElement}
 */
export function levelChoice({ player }) {
  const inputs = new Map();
  const lines = CHOICES.map(([value, label, why]) => {
    const input = el("input", {
      type: "radio",
      name: "levels",
      value,
      on: { change: () => player.setLevels(value) },
    });
    inputs.set(value, input);
    return el(
      "label",
      { class: "level-line" },
      input,
      el("span", {}, label, el("span", { class: "muted" }, ` – ${why}`)),
    );
  });
  const caution = el(
    "p",
    { class: "note warn" },
    "What you hear next may be much louder than the last. Start low, then raise slowly.",
  );
  let changed = false;
  const fieldset = /** @type {HTMLFieldSetElement} */ (
    el("fieldset", { class: "levels" }, el("legend", {}, "Loudness"), ...lines, caution)
  );
  const show = () => {
    for (const [value, input] of inputs) input.checked = value === player.levels;
    fieldset.disabled = player.hidden;
    changed ||= player.levels !== "equal";
    caution.hidden = !changed || player.hidden;
  };
  for (const type of ["levels", "hidden"]) player.addEventListener(type, show);
  show();
  return fieldset;
}
