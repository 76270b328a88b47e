// @ts-check
/** The blind tests of a listening page: what can be begun, and what was answered. */

import { abxChoice } from "./abx_choice.js";
import { AnswerBook } from "./answers.js";
import { answerList } from "./answer_list.js";
import { el } from "./dom.js";
import { startFavourite } from "./favourite_panel.js";
import { loudnessWords } from "./loudness_words.js";
import { rankingChoice } from "./ranking_choice.js";
import { TrialRoom } from "./trial_room.js";

/**
 * Fill the place of the blind tests. What can be compared follows a page that is written anew.
 * @param {HTMLElement} root
 * @param {Object} app data, shelf, player; its `chance(n)`, if there, is asked in place of the browser's own
 * @returns {{close: () => void}} ends a test that runs, and takes all of it away again
 */
export function setUpTrials(root, app) {
  const versions = () => app.shelf.keys("version").map((key) => versionOf(app.shelf.sound(key)));
  const book = new AnswerBook(app.data);
  const place = el("div", { class: "card stack trial-room", hidden: true });
  const room = new TrialRoom(place, app, book);
  const abx = abxChoice(room, versions);
  const ranking = rankingChoice(room, versions);
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
    abx.element,
    ranking.element,
  );
  const tooFew = el("p", { class: "note" }, "There is one version here: a blind test needs two or more.");
  const loudness = el("p", {});
  const show = () => {
    const few = versions().length < 2;
    const sounds = app.shelf.keys("version").map((key) => app.shelf.sound(key));
    loudness.textContent = loudnessWords(sounds);
    loudness.className = sounds.some(({ equallyLoud }) => !equallyLoud) ? "note warn" : "";
    loudness.hidden = few;
    tooFew.hidden = !few;
    choices.hidden = few || !place.hidden;
  };
  room.addEventListener("opened", () => {
    choices.hidden = true;
  });
  room.addEventListener("closed", () => {
    show();
    favourite.focus();
  });
  const renew = () => {
    abx.fill();
    ranking.fill();
    room.renewed();
    book.keep();
    show();
  };
  app.player.addEventListener("renewed", renew);
  const content = [loudness, tooFew, place, choices, answerList(book, room)];
  show();
  root.append(...content);
  return {
    close: () => {
      app.player.removeEventListener("renewed", renew);
      room.onPageHide();
      room.end();
      for (const element of content) element.remove();
    },
  };
}

/** @returns {import("./trial_room.js").Version} */
function versionOf({ key, name, digest }) {
  return { key, name, digest };
}
