// @ts-check
/** What was pressed, and the set's own cues beside it, as tables. */

import { positionText } from "./board.js";
import { checkCues } from "./cue_check.js";
import { secondsText, timesInFile } from "./cue_list.js";
import { el } from "./dom.js";
import { pressPlaces } from "./song_bars.js";

/**
 * Rows of what was pressed, the last one first: while playing one looks for it.
 * @param {import("./press_list.js").PressList} list
 * @param {import("./pace.js").Pace} pace
 * @param {import("./song_bars.js").Bars} bars
 * @param {number} heardCount how many of them have acted by now
 * @returns {HTMLElement}
 */
export function pressTable(list, pace, bars, heardCount) {
  const { presses } = list;
  const places = pressPlaces(presses, list.board, bars);
  const times = timesInFile(presses, pace);
  const hurried = pace.tooFast(presses.map(({ gesture }, i) => ({ gesture, actsS: times[i].actsS })));
  const rows = presses.map(({ gesture, position }, i) =>
    el(
      "tr",
      { class: i < heardCount ? null : "foot-to-come" },
      when(times[i].actsS, places[i], times[i].downS),
      el("th", { scope: "row" }, gesture.kind === "hold" ? `hold ${gesture.switch}` : gesture.switch),
      el("td", {}, whatItDid(list, i, position), hurried[i] && remark(tooFastText(hurried[i]))),
    ),
  );
  const heads = ["Acts at", "Switch", "What then holds"];
  return table("Your presses", heads, rows.reverse());
}

/**
 * Rows of the set's own cues, with what became of each.
 * @param {import("./cue_check.js").OwnCue[]} cues
 * @param {import("./press_list.js").PressList} list
 * @param {number} reachedMs how far was played
 * @returns {HTMLElement}
 */
export function ownCueTable(cues, list, reachedMs) {
  const found = checkCues(cues, list.presses, list.board, reachedMs);
  const rows = cues.map((cue, i) =>
    el(
      "tr",
      {},
      when(cue.actsS, cue.when.startsWith("bar ") ? cue.when.slice("bar ".length) : ""),
      el("th", { scope: "row" }, cue.text),
      el("td", { class: `foot-${found[i].verdict.replace(" ", "-")}` }, found[i].text),
    ),
  );
  return table("The set's own cues", ["Acts at", "Due", "You"], rows);
}

function table(caption, heads, rows) {
  return el(
    "table",
    { class: "table" },
    el("caption", { class: "visually-hidden" }, caption),
    el("thead", {}, el("tr", {}, ...heads.map((head) => el("th", { scope: "col" }, head)))),
    el("tbody", {}, ...rows),
  );
}

/** The sound; where that stays, what else has changed. */
function whatItDid(list, i, position) {
  const before = list.positionAfter(i);
  if (position.bank !== before.bank && position.patch === before.patch) {
    return `bank ${list.board.banks[position.bank].name}`;
  }
  const action = list.board.action(before, list.presses[i].gesture);
  return action?.kind === "tap" ? "tap" : positionText(position);
}

/** When it acts; and when the foot comes down, as a file of cues has it, where that is another time. */
function when(s, place, downS = s) {
  return el(
    "td",
    {},
    seconds(s),
    place && el("span", { class: "foot-bar" }, ` bar ${place}`),
    downS === s ? null : el("span", { class: "foot-down" }, `down at ${secondsText(downS)}\u00a0s`),
  );
}

function remark(text) {
  return el("span", { class: "foot-remark" }, text);
}

function seconds(s) {
  const hundredths = Math.floor(Math.round(s * 1000) / 10);
  const rest = ((hundredths % 6000) / 100).toFixed(2).padStart(5, "0");
  return `${Math.floor(hundredths / 6000)}:${rest}`;
}

/** The time there is rounded down, the time it takes rounded up, so that it never looks like enough. */
function tooFastText({ hasS, needsS }) {
  const has = (Math.floor(Math.round(hasS * 1e6) / 1e4) / 100).toFixed(2);
  const needs = (Math.ceil(Math.round(needsS * 1e6) / 1e4) / 100).toFixed(2);
  return `too fast: ${has}\u00a0s, this foot needs ${needs}\u00a0s`;
}
