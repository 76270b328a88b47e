// @ts-check
/** What is to be settled before a test whether a difference is heard: which two, and how many trials. */

import { ABX_LEVEL, ABX_TRIALS, ABX_TRIALS_USUAL } from "./abx.js";
import { startAbx } from "./abx_panel.js";
import { guessingChance, rightAnswersNeeded } from "./binomial.js";
import { shuffled } from "./chance.js";
import { el } from "./dom.js";

/**
 * @param {import("./trial_room.js").TrialRoom} room
 * @param {() => import("./trial_room.js").Version[]} versions
 * @returns {{element: HTMLElement, fill: () => void}} `fill` takes up other versions
 */
export function abxChoice(room, versions) {
  const first = el("select", { id: "abx-first" });
  const second = el("select", { id: "abx-second" });
  const trials = el(
    "select",
    { id: "abx-trials", on: { change: () => tellNeeded() } },
    ...ABX_TRIALS.map((n) => el("option", { value: n, selected: n === ABX_TRIALS_USUAL }, String(n))),
  );
  const needed = el("p", { class: "muted" });
  const warning = el("div", { role: "status" });
  const tellNeeded = () => {
    const count = Number(trials.value);
    const right = rightAnswersNeeded(count, ABX_LEVEL);
    const tries = Math.round(1 / guessingChance(right, count));
    needed.textContent =
      `With ${right} or more of ${count} right you hear a difference: who guesses gets there ` +
      `about once in ${tries} tries.`;
  };
  const choose = (one, other) => {
    [first.value, second.value] = [one, other];
    warning.replaceChildren();
  };
  const fill = () => {
    const before = [first, second].map((select) => select.selectedOptions[0]?.textContent);
    const named = before.map((text) => versions().find(({ name }) => name === text)?.key);
    const keys = versions().map(({ key }) => key);
    for (const select of [first, second]) {
      select.replaceChildren(...versions().map(({ key, name }) => el("option", { value: key }, name)));
    }
    choose(...(named.includes(undefined) ? keys : named));
  };
  const begin = () => {
    const [a, b] = [first, second].map(({ value }) => versions().find(({ key }) => key === value));
    if (a === undefined || b === undefined || a.key === b.key) {
      warning.replaceChildren(el("p", { class: "note warn" }, "Choose two different versions, please."));
      return;
    }
    startAbx(room, a, b, Number(trials.value));
  };
  const byChance = () =>
    choose(
      ...shuffled(
        versions().map(({ key }) => key),
        room.chance,
      ),
    );
  fill();
  tellNeeded();
  const element = el(
    "details",
    { class: "card trial-more" },
    el("summary", {}, "Do you hear a difference at all?"),
    el(
      "div",
      { class: "stack" },
      el(
        "p",
        {},
        "A and B are two versions. X is one of the two; chance draws it anew each time. Listen to all " +
          "three as often as you like, and say which one X is. (Known as an ABX test.)",
      ),
      el(
        "div",
        { class: "row" },
        el("div", { class: "field" }, el("label", { for: "abx-first" }, "A"), first),
        el("div", { class: "field" }, el("label", { for: "abx-second" }, "B"), second),
        el("button", { type: "button", class: "button quiet", on: { click: byChance } }, "Any two"),
      ),
      el(
        "div",
        { class: "field" },
        el("label", { for: "abx-trials" }, "Trials; fixed once you begin"),
        trials,
      ),
      needed,
      warning,
      el("button", { type: "button", class: "button", on: { click: begin } }, "Begin the test"),
    ),
  );
  return { element, fill };
}
