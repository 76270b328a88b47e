// @ts-check
/** What is to be settled before a blind ranking: which versions. */

import { el } from "./dom.js";
import { RANKING_MOST, startRanking } from "./ranking_panel.js";

const RANKED_AT_FIRST = 8;

/**
 * @param {import("./trial_room.js").TrialRoom} room
 * @param {() => import("./trial_room.js").Version[]} versions
 * @returns {{element: HTMLElement, fill: () => void}} `fill` takes up other versions
 */
export function rankingChoice(room, versions) {
  const boxes = el("div", { class: "trial-boxes" });
  const warning = el("div", { role: "status" });
  /** @type {Map<string, HTMLInputElement>} by name */
  let inputs = new Map();
  const fill = () => {
    const before = inputs;
    inputs = new Map(
      versions().map(({ name }, i) => {
        const checked = before.get(name)?.checked ?? i < RANKED_AT_FIRST;
        const input = /** @type {HTMLInputElement} */ (el("input", { type: "checkbox" }));
        input.checked = checked;
        return [name, input];
      }),
    );
    boxes.replaceChildren(
      ...versions().map(({ name }) =>
        el("label", { class: "trial-box" }, inputs.get(name), el("span", {}, name)),
      ),
    );
  };
  const begin = () => {
    const wanted = versions().filter(({ name }) => inputs.get(name)?.checked);
    if (wanted.length < 2 || wanted.length > RANKING_MOST) {
      const asked = `Choose 2 to ${Math.min(RANKING_MOST, versions().length)} versions, please.`;
      warning.replaceChildren(el("p", { class: "note warn" }, asked));
      return;
    }
    warning.replaceChildren();
    startRanking(room, wanted);
  };
  fill();
  const element = el(
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
  return { element, fill };
}
