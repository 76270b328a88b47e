// @ts-check
/** What is to be settled before a blind ranking: which versions. */

import { el } from "./dom.js";
import { RANKING_MOST, startRanking } from "./ranking_panel.js";

const RANKED_AT_FIRST = 8;

/**
 * @param {import("./trial_room.js").TrialRoom} room
 * @param {() => {key: string, name: string}[]} versions
 * @returns {HTMLElement}
 */
export function rankingChoice(room, versions) {
  const boxes = el("div", { class: "trial-boxes" });
  const warning = el("div", { role: "status" });
  /** @type {Map<string, HTMLInputElement>} */
  let inputs = new Map();
  const fill = () => {
    const before = inputs;
    inputs = new Map(
      versions().map(({ key }, i) => {
        const checked = before.get(key)?.checked ?? i < RANKED_AT_FIRST;
        const input = /** @type {HTMLInputElement} */ (el("input", { type: "checkbox" }));
        input.checked = checked;
        return [key, input];
      }),
    );
    boxes.replaceChildren(
      ...versions().map(({ key, name }) =>
        el("label", { class: "trial-box" }, inputs.get(key), el("span", {}, name)),
      ),
    );
  };
  const begin = () => {
    const wanted = versions().filter(({ key }) => inputs.get(key)?.checked);
    if (wanted.length < 2 || wanted.length > RANKING_MOST) {
      const asked = `Choose 2 to ${Math.min(RANKING_MOST, versions().length)} versions, please.`;
      warning.replaceChildren(el("p", { class: "note warn" }, asked));
      return;
    }
    warning.replaceChildren();
    startRanking(room, wanted);
  };
  fill();
  room.app.player.addEventListener("renewed", fill);
  return el(
    "details",
    { class: "card trial-more" },
    el("summary", {}, "Bring them all into an order"),
    el(
      "div",
      { class: "stack" },
      el(
        "p",
        {},
        "Every version gets a letter by chance. Listen, and move the better ones up. Do it three times or " +
          "more, and the mean place of each is told, too.",
      ),
      el("fieldset", { class: "trial-set" }, el("legend", {}, "To be ranked"), boxes),
      warning,
      el("button", { type: "button", class: "button", on: { click: begin } }, "Begin the ranking"),
    ),
  );
}
