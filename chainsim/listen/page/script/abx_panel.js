// @ts-check
/** The test whether a difference is heard (ABX), on the page. */

import { abxOutcome, abxVerdict, beginAbx, nextAbxTrial } from "./abx.js";
import { el, say } from "./dom.js";
import { letterButton } from "./sitting.js";
import { listed, withKeys } from "./words.js";

/**
 * Begin a test between two versions.
 * @param {Object} stage see trials.js
 * @param {import("./trial_room.js").Version} a
 * @param {import("./trial_room.js").Version} b
 * @param {number} trials
 */
export function startAbx(stage, a, b, trials) {
  const started = new Date().toISOString();
  let state = beginAbx(trials, stage.chance);
  let since = 0;
  let asked = false;

  const finish = () => {
    const { needed, finished, right, p } = abxOutcome(state);
    stage.finish(
      { test: "abx", started, a, b, trials, needed, finished, right, p, answers: state.answers },
      [a, b],
      () => startAbx(stage, a, b, trials),
    );
  };
  const leave = () => {
    if (state.answers.length === 0) stage.close();
    else if (asked) finish();
    else askToStop();
  };
  const abandon = () => (state.answers.length > 0 ? finish() : undefined);
  const sitting = stage.sit([a.key, b.key], leave, abandon);

  const askToStop = () => {
    asked = true;
    const goOn = el("button", { type: "button", class: "button", on: { click: dismiss } }, "Go on");
    stage.note(
      "Stop now? The test will stand in your answers as given up. Press Escape once more to stop.",
      goOn,
      el("button", { type: "button", class: "button quiet", on: { click: finish } }, "Give up"),
    );
    goOn.focus();
  };
  const dismiss = () => {
    asked = false;
    stage.note("");
    stage.focusHeading();
  };

  const answer = (side) => {
    const missing = sitting.unheard(["A", "B", "X"]);
    if (missing.length > 0) {
      stage.note(`Listen to ${listed(missing)} first, please; then answer.`);
      return;
    }
    asked = false;
    state = nextAbxTrial(state, side, stage.secondsSince(since));
    if (state.answers.length === trials) finish();
    else showTrial();
  };

  const bar = el("progress", {
    class: "trial-progress",
    max: trials,
    value: 0,
    "aria-label": "answers given",
  });
  const answerButton = (letter, side) =>
    el(
      "button",
      { type: "button", class: "button", "data-enter": letter, on: { click: () => answer(side) } },
      `X is ${letter}`,
    );
  const column = (...buttons) => el("div", { class: "trial-choice" }, ...buttons);
  const showTrial = () => {
    const number = state.answers.length + 1;
    sitting.deal({ A: a.key, B: b.key, X: state.xs[number - 1] === "a" ? a.key : b.key }, ["A", "B"]);
    since = performance.now();
    bar.value = number - 1;
    stage.progress(`Trial ${number} of ${trials}.`);
    stage.note("");
    say(`Trial ${number} of ${trials}. A new X.`);
  };

  stage.show(
    "Is X the same as A, or the same as B?",
    "",
    el(
      "div",
      { class: "stack" },
      bar,
      el(
        "div",
        { class: "trial-letters" },
        column(letterButton(sitting, "A"), answerButton("A", "a")),
        column(letterButton(sitting, "X", { "data-enter": "X" })),
        column(letterButton(sitting, "B"), answerButton("B", "b")),
      ),
    ),
    withKeys("[A] [B] [X] to listen. After A or B, [Enter] answers that X is that one. [Esc] stops."),
  );
  showTrial();
}

/**
 * What came of it, in words.
 * @param {Object} answer
 * @returns {Node[]}
 */
export function abxResult({ a, b, trials, needed, finished, right, p, answers }) {
  const between = el("p", {}, "A: ", el("strong", {}, a.name), ". B: ", el("strong", {}, b.name), ".");
  if (!finished) {
    const given = `Given up after ${answers.length} of ${trials} trials.`;
    return [between, el("p", {}, `${given} ${abxVerdict({ p })}`)];
  }
  const rows = answers.map(({ x, answer }, i) =>
    el(
      "tr",
      {},
      el("th", { scope: "row" }, String(i + 1)),
      el("td", {}, x.toUpperCase()),
      el("td", {}, answer.toUpperCase()),
      el("td", {}, x === answer ? "right" : "wrong"),
    ),
  );
  const heads = ["Trial", "X was", "You said", ""].map((head) =>
    head === "" ? el("td", {}) : el("th", { scope: "col" }, head),
  );
  return [
    between,
    el(
      "p",
      {},
      el("strong", {}, `${right} of ${trials} right`),
      ` (p = ${abxChanceText(p)}; ${needed} right were needed for p of 0.05 or less).`,
    ),
    el("p", {}, abxVerdict({ p })),
    el(
      "details",
      {},
      el("summary", {}, "Each trial"),
      el("table", { class: "table" }, el("thead", {}, el("tr", {}, ...heads)), el("tbody", {}, ...rows)),
    ),
  ];
}

/** @param {number} p */
function abxChanceText(p) {
  return p < 0.0001 ? p.toExponential(1) : p.toFixed(4);
}
