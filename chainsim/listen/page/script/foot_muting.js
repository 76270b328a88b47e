// @ts-check
/** Whether the cues of a saved file leave the feed muted to the end, as `chainsim check` tells of it. */

import { timesInFile } from "./cue_list.js";

/**
 * When the mute begins that nothing ends any more.
 * @param {Object} plain as `FootAtKeys.plain` of foot_sounds.py gives it
 * @param {import("./press_list.js").Press[]} presses in order of time
 * @param {import("./pace.js").Pace} pace
 * @returns {number|null} s; before the part of the take in which was pressed, -Infinity
 */
export function mutedFromS({ cuesAfter }, presses, pace) {
  const { board } = pace;
  let position = board.start();
  let fromS = position.muted ? -Infinity : null;
  const goOn = (after, atS) => {
    position = after;
    fromS = position.muted ? (fromS ?? atS) : null;
  };
  timesInFile(presses, pace).forEach(({ actsS }, i) => goOn(presses[i].position, actsS));
  for (const cue of cuesAfter) goOn(board.apply(position, cue), actsAtS(cue, pace));
  return fromS;
}

function actsAtS({ atS, column, cell }, pace) {
  const isGesture = column === "press" || column === "hold";
  return isGesture ? atS + pace.actsMs({ switch: cell, kind: column }) / 1000 : atS;
}
