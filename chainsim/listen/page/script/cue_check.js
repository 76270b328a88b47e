// @ts-check
/** The set's own cues beside what was pressed: met, early, late, missed, or another sound in its place. */

import { heardKey, positionText } from "./board.js";

/** So near to its time a press is in time. */
export const NEAR_MS = 150;
const ABOUT_MS = 1000;

/**
 * @typedef {Object} OwnCue as `cues_plain` of foot_plain.py gives it
 * @property {number} actsS
 * @property {string} when
 * @property {string} text
 * @property {import("./board.js").Gesture|null} gesture
 * @property {Object} heard
 * @property {string} heardText
 */
/**
 * @typedef {Object} Finding
 * @property {"met"|"early"|"late"|"wrong"|"missed"|"to come"} verdict
 * @property {string} text
 */

/**
 * What became of each cue. A cue is met if what it asks for is heard 0.15 s after it is due and did not come
 * sooner than 0.15 s before; one that changes nothing that is heard, such as a tap, if that press was made.
 * @param {OwnCue[]} cues in order of time
 * @param {import("./press_list.js").Press[]} presses
 * @param {import("./board.js").Position} start
 * @param {number} reachedMs how far was played
 * @returns {Finding[]}
 */
export function checkCues(cues, presses, start, reachedMs) {
  const changes = heardChanges(presses, start);
  const dues = cues.map((cue) => 1000 * cue.actsS);
  return cues.map((cue, i) => {
    if (dues[i] + NEAR_MS > reachedMs) return { verdict: "to come", text: "to come" };
    const asked = heardKey(cue.heard);
    const before = i > 0 ? heardKey(cues[i - 1].heard) : heardKey(start);
    if (asked === before) return checkGesture(cue, dues[i], presses);
    const soonerMs = Math.max(-Infinity, ...dues.filter((due) => due < dues[i] - 1));
    const laterMs = Math.min(Infinity, ...dues.filter((due) => due > dues[i] + 1));
    return checkSound(asked, dues[i], soonerMs, laterMs, changes);
  });
}

/** When what is heard changes, to what; the start among them. */
function heardChanges(presses, start) {
  const changes = [{ ms: -Infinity, heard: heardKey(start), text: positionText(start) }];
  for (const { actsMs, position } of presses) {
    const heard = heardKey(position);
    if (heard !== changes.at(-1)?.heard) changes.push({ ms: actsMs, heard, text: positionText(position) });
  }
  return changes;
}

function checkSound(asked, dueMs, soonerMs, laterMs, changes) {
  const there = changes.filter(({ ms }) => ms <= dueMs + NEAR_MS).at(-1);
  if (there.heard === asked) {
    const early = there.ms < dueMs - NEAR_MS && there.ms > soonerMs;
    return early ? { verdict: "early", text: `early by ${apart(dueMs, there.ms)}` } : MET;
  }
  const after = changes.filter(({ ms }) => ms > dueMs + NEAR_MS && ms < laterMs);
  const came = after.find(({ heard }) => heard === asked);
  if (came) return { verdict: "late", text: `late by ${apart(came.ms, dueMs)}` };
  const sinceMs = Math.max(dueMs - ABOUT_MS, soonerMs);
  const instead = [there, ...after].filter(({ ms }) => ms > sinceMs).at(-1);
  return instead ? { verdict: "wrong", text: `wrong: ${instead.text}` } : MISSED;
}

function checkGesture(cue, dueMs, presses) {
  if (cue.gesture === null) return MET;
  const { switch: name, kind } = cue.gesture;
  const apartMs = presses
    .filter(({ gesture }) => gesture.switch === name && gesture.kind === kind)
    .map(({ actsMs }) => actsMs - dueMs)
    .sort((a, b) => Math.abs(a) - Math.abs(b))[0];
  if (apartMs === undefined || Math.abs(apartMs) > ABOUT_MS) return MISSED;
  if (Math.abs(apartMs) <= NEAR_MS) return MET;
  const verdict = apartMs < 0 ? "early" : "late";
  return { verdict, text: `${verdict} by ${apart(Math.abs(apartMs), 0)}` };
}

/** @type {Finding} */
const MET = { verdict: "met", text: "met" };
/** @type {Finding} */
const MISSED = { verdict: "missed", text: "missed" };

function apart(laterMs, soonerMs) {
  return `${((laterMs - soonerMs) / 1000).toFixed(2)} s`;
}
