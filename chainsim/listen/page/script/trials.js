// @ts-check
/** The blind tests of a listening page: what can be begun, and what was answered. */

import { abxChoice } from "./abx_choice.js";
import { AnswerBook } from "./answers.js";
import { answerList } from "./answer_list.js";
import { el } from "./dom.js";
import { startFavourite } from "./favourite_panel.js";
import { rankingChoice } from "./ranking_choice.js";
import { TrialRoom } from "./trial_room.js";

/**
 * Fill the place of the blind tests.
 * @param {HTMLElement} root
 * @param {Object} app data, shelf, player; its `chance(n)`, if there, is asked in place of the browser's own
 */
export function setUpTrials(root, app) {
  const versions = () => app.shelf.keys("version").map((key) => ({ key, name: app.shelf.sound(key).name }));
  if (versions().length < 2) {
    root.append(el("p", { class: "note" }, "There is one version here: a blind test needs two or more."));
    return;
  }
  const book = new AnswerBook(app.data);
  const place = el("div", { class: "card stack trial-room", hidden: true });
  const room = new TrialRoom(place, app, book);
  const favourite = el(
    "button",
    { type: "button", class: "button primary", on: { click: () => startFavourite(room, versions()) } },
    "Pick a favourite",
  );
  const choices = el(
    "div",
    { class: "trial-choices" },
    el(
      "div",
      { class: "card stack" },
      el("h3", {}, "Which do you like best?"),
      el(
        "p",
        {},
        "Three versions at a time. Take the one you like; it meets new ones until you have heard all.",
      ),
      favourite,
    ),
    abxChoice(room, versions),
    rankingChoice(room, versions),
  );
  room.addEventListener("opened", () => {
    choices.hidden = true;
  });
  room.addEventListener("closed", () => {
    choices.hidden = false;
    favourite.focus();
  });
  root.append(place, choices, answerList(book, room));
}
