// @ts-check
/** The set's own cues beside what was pressed: met, early, late, missed, or another patch in its place. */

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
 * What became of each cue. One that asks for a press is met by that press; any other, if what it asks for
 * holds 0.15 s after it is due, and has not held since more than 0.15 s before.
 * @param {OwnCue[]} cues in order of time
 * @param {import("./press_list.js").Press[]} presses
 * @param {import("./board.js").Board} board
 * @param {number} reachedMs how far was played
 * @returns {Finding[]}
 */
export function checkCues(cues, presses, board, reachedMs) {
  return cues.map((cue, i) => {
    const dueMs = 1000 * cue.actsS;
    if (dueMs + NEAR_MS > reachedMs) return finding("to come");
    if (cue.asks.kind === "press" || cue.asks.kind === "hold") return checkGesture(cue.asks, dueMs, presses);
    const alike = (other) => subject(other.asks) === subject(cue.asks);
    const since = cues.slice(0, i).filter(alike).at(-1);
    const until = cues.slice(i + 1).find(alike);
    const spanMs = [since ? 1000 * since.actsS : -Infinity, until ? 1000 * until.actsS : Infinity];
    return checkState(cue.asks, dueMs, spanMs, presses, board);
  });
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

function checkState(asks, dueMs, [sinceMs, untilMs], presses, board) {
  const course = [{ actsMs: -Infinity, position: board.start() }, ...presses];
  const states = course.map(({ actsMs, position }) => ({ actsMs, there: holds(asks, position, board) }));
  const soon = states.filter(({ actsMs }) => actsMs <= dueMs + NEAR_MS);
  if (soon.at(-1)?.there) {
    const began = soon[soon.findLastIndex(({ there }) => !there) + 1].actsMs;
    const early = began < dueMs - NEAR_MS && began > sinceMs;
    return early ? finding("early", dueMs - began) : finding("met");
  }
  const came = states.find(({ actsMs, there }) => there && actsMs > dueMs + NEAR_MS && actsMs < untilMs);
  if (came) return finding("late", came.actsMs - dueMs);
  const fromMs = Math.max(dueMs - ABOUT_MS, sinceMs);
  const chosen = course.filter(
    ({ actsMs, position }, i) =>
      i > 0 && actsMs > fromMs && actsMs < untilMs && position.patch !== course[i - 1].position.patch,
  );
  if (asks.kind !== "patch" || chosen.length === 0) return finding("missed");
  return { verdict: "wrong", text: `wrong: ${chosen[0].position.patch}` };
}

function checkGesture({ kind, name }, dueMs, presses) {
  const apartMs = presses
    .filter(({ gesture }) => gesture.switch === name && gesture.kind === kind)
    .map(({ actsMs }) => actsMs - dueMs)
    .sort((a, b) => Math.abs(a) - Math.abs(b))[0];
  if (apartMs === undefined || Math.abs(apartMs) > ABOUT_MS) return finding("missed");
  if (Math.abs(apartMs) <= NEAR_MS) return finding("met");
  return finding(apartMs < 0 ? "early" : "late", Math.abs(apartMs));
}

/** @returns {Finding} */
function finding(verdict, byMs) {
  return { verdict, text: byMs === undefined ? verdict : `${verdict} by ${(byMs / 1000).toFixed(2)} s` };
}
