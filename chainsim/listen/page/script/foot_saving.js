// @ts-check
/** Presses saved as a file of cues, and what is to be done with it. */

import { saveFile } from "./answers.js";
import { cueFile, cueFileName } from "./cue_list.js";
import { clock, el, say } from "./dom.js";
import { mutedFromS } from "./foot_muting.js";

/**
 * Offer the file.
 * @param {Object} plain as `FootAtKeys.plain` of foot_sounds.py gives it
 * @param {import("./press_list.js").Press[]} presses
 * @param {import("./pace.js").Pace} pace
 * @returns {Array<Node|string>} what to tell of it
 */
export function savePresses(plain, presses, pace) {
  const name = cueFileName(plain.title);
  saveFile(name, cueFile(presses, pace, plain.cuesBefore, plain.cuesAfter), "text/csv");
  const muted = mutedText(plain, mutedFromS(plain, presses, pace));
  say(`Saved as ${name}. ${muted}`.trim());
  return [
    `Saved as ${name}. `,
    partText(plain),
    muted && el("strong", {}, `${muted} `),
    "Next: put it beside the sketch, write ",
    el("code", {}, `cue_file = "${name}"`),
    " in the sketch's head in the place of the cues it has, then ",
    el("code", {}, "chainsim render"),
    ": that is what the audience hears. Its times are those at which the foot comes down; ",
    el("code", {}, "chainsim check"),
    " tells what this foot can do.",
  ];
}

/** That nothing is heard any more from some time on: a mute is easily forgotten, and a patch does not end it. */
function mutedText({ startsS, cuesAfter }, fromS) {
  if (fromS === null) return "";
  const from = fromS < startsS ? `before ${clock(startsS)}` : clock(fromS);
  return `Muted from ${from} to the end${cuesAfter.length > 0 ? ": the set's later cues keep it" : ""}.`;
}

/** What the file has of the rest of the take, where the page holds a part of it. */
function partText({ startsS, endsS, cuesBefore, cuesAfter }) {
  if (endsS === null) return "";
  const pressed = `What you pressed stands in it from ${clock(startsS)} to ${clock(endsS)} of the take; `;
  const [before, after] = [cuesBefore.length > 0, cuesAfter.length > 0];
  if (!before && !after) return `${pressed}the set has no cues before or after that. `;
  const where = [before && "before", after && "after"].filter(Boolean).join(" and ");
  return `${pressed}${where} that stand the set's own cues, so that it serves for the whole take. `;
}
