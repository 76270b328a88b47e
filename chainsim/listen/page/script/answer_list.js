// @ts-check
/** What was answered so far, to be read, saved and forgotten. */

import { saveFile } from "./answers.js";
import { el, say } from "./dom.js";
import { rankingMeans } from "./ranking_panel.js";
import { resultOf } from "./trial_room.js";

const ANSWER_TITLES = { favourite: "Favourite", abx: "Difference heard or not", ranking: "Order" };

/**
 * @param {import("./answers.js").AnswerBook} book
 * @param {EventTarget} room while a test is open in it, nothing is shown of what was answered before
 * @returns {HTMLElement}
 */
export function answerList(book, room) {
  let testing = false;
  const list = el("ol", { class: "answers" });
  const means = el("div", { class: "stack" });
  const save = el(
    "button",
    {
      type: "button",
      class: "button",
      on: { click: () => saveFile("answers.json", book.asJson(), "application/json") },
    },
    "Save answers",
  );
  const forget = el(
    "button",
    { type: "button", class: "button quiet", on: { click: () => askToForget() } },
    "Forget",
  );
  const asked = el("div", { class: "row" });
  const whole = el(
    "div",
    { class: "stack answers-all" },
    el("h3", { id: "answers-heading", tabindex: "-1" }, "Your answers"),
    el("p", { class: "muted" }, "Kept while this page is open. Save them to have them for good."),
    list,
    means,
    el("div", { class: "row" }, save, forget),
    asked,
  );

  const askToForget = () => {
    const keep = el("button", { type: "button", class: "button", on: { click: keepThem } }, "Keep them");
    asked.replaceChildren(
      el("p", {}, "Forget all answers? There is no way back."),
      keep,
      el("button", { type: "button", class: "button quiet", on: { click: forgetThem } }, "Forget all"),
    );
    keep.focus();
  };
  const keepThem = () => {
    asked.replaceChildren();
    forget.focus();
  };
  const forgetThem = () => {
    book.forget();
    say("All answers are forgotten.");
  };
  const show = () => {
    whole.hidden = testing || book.answers.length === 0;
    asked.replaceChildren();
    list.replaceChildren(
      ...book.answers.map((answer) =>
        el(
          "li",
          { class: "answer" },
          el("p", { class: "answer-title" }, `${ANSWER_TITLES[answer.test]}, ${timeOfDay(answer.started)}`),
          ...resultOf(answer),
        ),
      ),
    );
    means.replaceChildren(...rankingMeans(book.answers.filter(({ test }) => test === "ranking")));
  };
  book.addEventListener("changed", show);
  for (const type of ["opened", "closed"]) {
    room.addEventListener(type, () => {
      testing = type === "opened";
      show();
    });
  }
  show();
  return whole;
}

/** @param {string} iso */
function timeOfDay(iso) {
  return new Date(iso).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
}
