// @ts-check
/** The set's own cues beside what was pressed: met, early, late, missed, or another patch in its place. */

import { answersTo } from "./cue_match.js";

/** So near to its time a press is in time. */
export const NEAR_MS = 150;
const ABOUT_MS = 1000;

/**
 * @typedef {Object} OwnCue as `cues_plain` of foot_plain.py gives it
 * @property {number} actsS
 * @property {string} when
 * @property {string} text
 * @property {{kind: "patch"|"press"|"hold"|"block"|"mute"|"dry", name: string, on: boolean}} asks
 */
/**
 * @typedef {Object} Finding
 * @property {"met"|"early"|"late"|"wrong"|"missed"|"to come"} verdict
 * @property {string} text
 */

/**
 * What became of each cue. One that asks for a press is met by that press, and a press answers one cue;
 * any other is met, if what it asks for holds 0.15 s after it is due, and has not held since more than 0.15 s
 * before.
 * @param {OwnCue[]} cues in order of time
 * @param {import("./press_list.js").Press[]} presses
 * @param {import("./board.js").Board} board
 * @param {number} reachedMs how far was played
 * @returns {Finding[]}
 */
export function checkCues(cues, presses, board, reachedMs) {
  const pressedMs = pressesApart(cues, presses);
  return cues.map((cue, i) => {
    if (dueMs(cue) + NEAR_MS > reachedMs) return finding("to come");
    return isGesture(cue) ? checkGesture(pressedMs.get(cue) ?? null) : checkState(cues, i, presses, board);
  });
}

function dueMs({ actsS }) {
  return 1000 * actsS;
}

function isGesture({ asks }) {
  return asks.kind === "press" || asks.kind === "hold";
}

function isOf({ asks }, { gesture }) {
  return gesture.switch === asks.name && gesture.kind === asks.kind;
}

/** How much later than each cue for a press its press is. */
function pressesApart(cues, presses) {
  const apart = new Map();
  for (const first of cues.filter(isGesture)) {
    if (apart.has(first)) continue;
    const same = cues.filter(({ asks }) => asks.kind === first.asks.kind && asks.name === first.asks.name);
    const actsMs = presses.filter((press) => isOf(first, press)).map((press) => press.actsMs);
    const laterMs = answersTo(same.map(dueMs), actsMs, { inTimeMs: NEAR_MS, aboutMs: ABOUT_MS });
    same.forEach((cue, i) => apart.set(cue, laterMs[i]));
  }
  return apart;
}

function checkGesture(laterMs) {
  if (laterMs === null) return finding("missed");
  if (Math.abs(laterMs) <= NEAR_MS) return finding("met");
  return finding(laterMs < 0 ? "early" : "late", Math.abs(laterMs));
}

/** What a cue is about: of two about the same, the later ends what the earlier asks for. */
function subject({ kind, name }) {
  return kind === "block" ? `block ${name}` : kind;
}

function holds({ kind, name, on }, position, board) {
  if (kind === "patch") return position.patch === name && !position.dry;
  if (kind === "block") return board.isOn(position, name) === on;
  return (kind === "mute" ? position.muted : position.dry) === on;
}

function checkState(cues, i, presses, board) {
  const { asks } = cues[i];
  const due = dueMs(cues[i]);
  const alike = (other) => subject(other.asks) === subject(asks);
  const since = cues.slice(0, i).findLast(alike);
  const until = cues.slice(i + 1).find(alike);
  const sinceMs = since ? dueMs(since) : -Infinity;
  const untilMs = until ? dueMs(until) : Infinity;
  const course = [{ actsMs: -Infinity, position: board.start() }, ...presses];
  const states = course.map(({ actsMs, position }) => ({ actsMs, there: holds(asks, position, board) }));
  const soon = states.filter(({ actsMs }) => actsMs <= due + NEAR_MS);
  if (soon.at(-1)?.there) {
    const began = soon[soon.findLastIndex(({ there }) => !there) + 1].actsMs;
    // Asked for twice, what answered the first is no early answer to the second.
    const firstMs = sinceMs + NEAR_MS;
    const wasMet = began > firstMs && states.findLast(({ actsMs }) => actsMs <= firstMs)?.there;
    const answersFirst = since && isSame(since.asks, asks) && !wasMet;
    const before = began < due - NEAR_MS;
    if (before && began > sinceMs && !answersFirst) return finding("early", due - began);
    const ended = states.findIndex(({ actsMs, there }) => !there && actsMs > due + NEAR_MS);
    const end = ended < 0 ? undefined : presses[ended - 1];
    if (end && isUndoing(end, due, cues.slice(i + 1))) {
      return { verdict: "met", text: `met, but undone ${inSeconds(end.actsMs - due)} later` };
    }
    return before ? { verdict: "met", text: "met: so already" } : finding("met");
  }
  const came = states.find(({ actsMs, there }) => there && actsMs > due + NEAR_MS && actsMs < untilMs);
  if (came) return finding("late", came.actsMs - due);
  const fromMs = Math.max(due - ABOUT_MS, sinceMs);
  const chosen = course.filter(
    ({ actsMs, position }, k) =>
      k > 0 && actsMs > fromMs && actsMs < untilMs && position.patch !== course[k - 1].position.patch,
  );
  if (asks.kind !== "patch" || chosen.length === 0) return finding("missed");
  return { verdict: "wrong", text: `wrong: ${chosen[0].position.patch}` };
}

function isSame(one, other) {
  return one.kind === other.kind && one.name === other.name && one.on === other.on;
}

/** Whether a press ends soon what was due, and is no answer to a cue that comes after it. */
function isUndoing(press, due, later) {
  const isNear = (cue) => press.actsMs >= dueMs(cue) - ABOUT_MS;
  const answers = later.some((cue) => isNear(cue) && (!isGesture(cue) || isOf(cue, press)));
  return press.actsMs <= due + ABOUT_MS && !answers;
}

/** @returns {Finding} */
function finding(verdict, byMs) {
  return { verdict, text: byMs === undefined ? verdict : `${verdict} by ${inSeconds(byMs)}` };
}

function inSeconds(ms) {
  return `${(ms / 1000).toFixed(2)} s`;
}
