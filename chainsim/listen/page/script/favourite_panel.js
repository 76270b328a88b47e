// @ts-check
/** The favourite of three, on the page. */

import { el, say } from "./dom.js";
import { beginFavourite, favouriteRounds, nextFavouriteRound } from "./favourite.js";
import { letterButton } from "./sitting.js";
import { listed, withKeys } from "./words.js";

const FAVOURITE_LETTERS = ["A", "B", "C"];

/**
 * Begin a choice of the favourite.
 * @param {any} stage see trials.js
 * @param {import("./trial_room.js").Version[]} versions two or more
 */
export function startFavourite(stage, versions) {
  const keys = versions.map(({ key }) => key);
  const started = new Date().toISOString();
  const rounds = favouriteRounds(keys.length);
  let state = beginFavourite(keys, stage.chance);
  let since = 0;
  const sitting = stage.sit(keys, () => stage.close());

  const choose = (letter) => {
    const missing = sitting.unheard(lettersOf(state));
    if (missing.length > 0) {
      stage.note(`Listen to ${listed(missing)} first, please; then choose.`);
      return;
    }
    const seconds = stage.secondsSince(since);
    state = nextFavouriteRound(
      state,
      state.offered[FAVOURITE_LETTERS.indexOf(letter)],
      seconds,
      stage.chance,
    );
    if (state.favourite === null) {
      showRound();
    } else {
      const { favourite } = state;
      const answer = { test: "favourite", started, versions, rounds: state.rounds, favourite };
      stage.finish(answer, versions, () => startFavourite(stage, versions));
    }
  };

  const showRound = () => {
    const letters = lettersOf(state);
    sitting.deal(Object.fromEntries(letters.map((letter, i) => [letter, state.offered[i]])));
    since = performance.now();
    const progress = rounds === 1 ? "" : `Round ${state.rounds.length + 1} of ${rounds}.`;
    const heading = `Which of these ${letters.length === 2 ? "two" : "three"} do you like best?`;
    stage.show(
      heading,
      progress,
      el(
        "div",
        { class: "trial-letters" },
        ...letters.map((letter) =>
          el(
            "div",
            { class: "trial-choice", role: "group", "aria-label": letter },
            letterButton(sitting, letter),
            el(
              "button",
              {
                type: "button",
                class: "button",
                "data-enter": letter,
                on: { click: () => choose(letter) },
              },
              "This one",
              el("span", { class: "visually-hidden" }, ` ${letter}`),
            ),
          ),
        ),
      ),
      withKeys(`[${letters.join("] [")}] to listen, then [Enter] to choose that one. [Esc] stops.`),
    );
    say(`${progress} ${heading}`);
  };
  showRound();
}

/** @param {import("./favourite.js").FavouriteState} state */
function lettersOf(state) {
  return FAVOURITE_LETTERS.slice(0, state.offered.length);
}

/**
 * What was chosen, in words.
 * @param {any} answer
 * @param {(key: string) => string} nameOf
 * @returns {Node[]}
 */
export function favouriteResult({ rounds, favourite }, nameOf) {
  const path = rounds.map(({ offered, chosen }) => {
    const others = offered.filter((key) => key !== chosen).map(nameOf);
    return el("li", {}, `${nameOf(chosen)} rather than ${listed(others)}`);
  });
  return [
    el("p", {}, "Your favourite: ", el("strong", { class: "trial-winner" }, nameOf(favourite))),
    el("ol", { class: "trial-path" }, ...path),
  ];
}
