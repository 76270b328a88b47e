// @ts-check
/** The blind ranking, on the page. */

import { el, say } from "./dom.js";
import { beginRanking, meanRanks, movedInRanking, nameIn, sameRankings } from "./ranking.js";
import { letterButton } from "./sitting.js";
import { listed, withKeys } from "./words.js";

const RANKING_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";
/** How many can be ranked at once: one a letter. */
export const RANKING_MOST = RANKING_LETTERS.length;
const RUNS_FOR_A_MEAN = 3;

/**
 * Begin a ranking.
 * @param {Object} stage see trials.js
 * @param {import("./trial_room.js").Version[]} versions two or more
 */
export function startRanking(stage, versions) {
  const started = new Date().toISOString();
  const keys = versions.map(({ key }) => key);
  let state = beginRanking(keys, stage.chance);
  const since = performance.now();
  const letterOf = new Map(state.shown.map((key, i) => [key, RANKING_LETTERS[i]]));
  const sitting = stage.sit(keys, () => stage.close());
  sitting.deal(Object.fromEntries([...letterOf].map(([key, letter]) => [letter, key])));

  const move = (key, by) => {
    const before = state;
    state = movedInRanking(state, key, by);
    if (state === before) return;
    arrange();
    const item = items.get(key);
    const wanted = item.querySelector(by < 0 ? "[data-up]" : "[data-down]");
    (wanted.disabled ? item.querySelector("[data-up]:enabled, [data-down]:enabled") : wanted).focus();
    say(`${letterOf.get(key)} is now ${state.order.indexOf(key) + 1} of ${keys.length}.`);
  };
  const mover = (key, by, name, sign) =>
    el(
      "button",
      {
        type: "button",
        class: "button quiet",
        "aria-label": `Move ${letterOf.get(key)} ${name}`,
        [`data-${name}`]: true,
        on: { click: () => move(key, by) },
      },
      sign,
    );
  const items = new Map(
    state.order.map((key) => [
      key,
      el(
        "li",
        { class: "ranking-item" },
        el("span", { class: "ranking-place", "aria-hidden": "true" }),
        letterButton(sitting, letterOf.get(key), { "data-enter": letterOf.get(key) }),
        el("span", { class: "row ranking-moves" }, mover(key, -1, "up", "↑"), mover(key, 1, "down", "↓")),
      ),
    ]),
  );
  const list = el("ol", { class: "ranking", "aria-label": "your order, the best first" });
  const arrange = () => {
    list.replaceChildren(...state.order.map((key) => items.get(key)));
    state.order.forEach((key, place) => {
      const item = items.get(key);
      item.querySelector(".ranking-place").textContent = `${place + 1}.`;
      item.querySelector("[data-up]").disabled = place === 0;
      item.querySelector("[data-down]").disabled = place === keys.length - 1;
    });
  };
  const finish = () => {
    const missing = sitting.unheard([...letterOf.values()]);
    if (missing.length > 0) {
      stage.note(`Listen to ${listed(missing)} first, please.`);
      return;
    }
    const { shown, order } = state;
    const answer = { test: "ranking", started, versions, shown, order, seconds: stage.secondsSince(since) };
    stage.finish(answer, versions, () => startRanking(stage, versions));
  };
  arrange();
  stage.show(
    "Bring these into your order, the best on top",
    "",
    el(
      "div",
      { class: "stack" },
      list,
      el("button", { type: "button", class: "button primary", on: { click: finish } }, "This is my order"),
    ),
    withKeys("A letter to listen, [Tab] to its arrows and [Enter] to move it. [Esc] stops."),
  );
}

/**
 * The order, in words.
 * @param {Object} answer
 * @param {(key: string) => string} nameOf
 * @returns {Node[]}
 */
export function rankingResult({ order }, nameOf) {
  return [el("ol", { class: "ranking-result" }, ...order.map((key) => el("li", {}, nameOf(key))))];
}

/**
 * Mean ranks over the runs that ranked the same versions, if there are three or more. What is the same is
 * told by name and sound: keys number the versions of a page, which may have been written anew meanwhile.
 * @param {Object[]} answers all rankings
 * @returns {Node[]} one table for each set of versions
 */
export function rankingMeans(answers) {
  return sameRankings(answers)
    .filter((orders) => orders.length >= RUNS_FOR_A_MEAN)
    .map((orders) =>
      el(
        "table",
        { class: "table" },
        el("caption", {}, `Mean place over ${orders.length} rankings, 1 is the best`),
        el(
          "thead",
          {},
          el("tr", {}, el("th", { scope: "col" }, "Version"), el("th", { scope: "col" }, "Mean place")),
        ),
        el(
          "tbody",
          {},
          ...meanRanks(orders).map(({ key, mean }) =>
            el("tr", {}, el("th", { scope: "row" }, nameIn(key)), el("td", {}, mean.toFixed(2))),
          ),
        ),
      ),
    );
}
