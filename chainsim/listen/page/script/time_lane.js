// @ts-check
/** The seconds beneath the pictures. */

import { clock } from "./dom.js";

const STEPS_S = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300];
const LEAST_GAP = 56;

/**
 * @param {import("./lane.js").Surface} surface
 * @param {number} startsAt time of the left edge in the take
 * @param {number} seconds
 * @returns {string}
 */
export function paintTimes({ pen, width, height, colour }, startsAt, seconds) {
  const step = STEPS_S.find((s) => (width * s) / seconds >= LEAST_GAP) ?? STEPS_S[STEPS_S.length - 1];
  pen.textBaseline = "top";
  for (let k = Math.ceil(startsAt / step - 1e-9); k * step <= startsAt + seconds; k += 1) {
    const x = (width * (k * step - startsAt)) / seconds;
    pen.fillStyle = colour("--line");
    pen.fillRect(Math.min(Math.round(x), width - 1), 0, 1, 5);
    const text = step < 1 ? clock(k * step) : clock(k * step).slice(0, -2);
    const room = pen.measureText(text).width;
    if (x + room + 4 > width) continue;
    pen.fillStyle = colour("--muted");
    pen.fillText(text, x + 4, height - 14);
  }
  return `${clock(startsAt)} to ${clock(startsAt + seconds)}.`;
}
