// @ts-check
/** Presses as a file of cues that chainsim reads: a CSV file with a column for each kind of cue. */

/** @typedef {import("./board.js").CueCells} CueCells */

const CUE_COLUMNS = ["press", "hold", "patch", "on", "off", "mute", "dry"];
const ALWAYS_THERE = ["press", "hold"];

/**
 * The file. A cue says when the switch goes down, so that it acts when it did: a press of a switch that also
 * has a hold, when it is let go; a hold, when it has been held.
 * @param {import("./press_list.js").Press[]} presses in order of time
 * @param {import("./pace.js").Pace} pace
 * @param {CueCells[]} [before] cues of the set that act before the part of the take in which was pressed
 * @param {CueCells[]} [after] and after it
 * @returns {string}
 */
export function cueFile(presses, pace, before = [], after = []) {
  const cues = [...before, ...pressCells(presses, pace), ...after];
  const used = new Set([...ALWAYS_THERE, ...cues.map(({ column }) => column)]);
  const columns = CUE_COLUMNS.filter((column) => used.has(column));
  const lines = cues.map(({ atS, column, cell }) => {
    const cells = columns.map((name) => (name === column ? csvCell(cell) : ""));
    return [secondsText(atS), ...cells].join(",").replace(/,+$/, "");
  });
  return `${["at_s", ...columns].join(",")}\n${lines.map((line) => `${line}\n`).join("")}`;
}

/** @returns {CueCells[]} */
function pressCells(presses, pace) {
  return timesInFile(presses, pace).map(({ downS }, i) => {
    const { gesture } = presses[i];
    return { atS: downS, column: gesture.kind, cell: gesture.switch };
  });
}

/**
 * When switches go down, as the file has it, and when they act by that.
 * @param {import("./press_list.js").Press[]} presses in order of time
 * @param {import("./pace.js").Pace} pace
 * @returns {Array<{downS: number, actsS: number}>}
 */
export function timesInFile(presses, pace) {
  let actsMs = -1;
  return presses.map((press) => {
    const afterMs = pace.actsMs(press.gesture);
    // Nothing goes down before the take begins; what comes after it keeps its place in the order.
    actsMs = Math.max(press.actsMs, actsMs + 1, afterMs);
    const downS = Number(secondsText((actsMs - afterMs) / 1000));
    return { downS, actsS: downS + afterMs / 1000 };
  });
}

/**
 * A name for the file, good on every system.
 * @param {string} title of the sketch
 * @returns {string}
 */
export function cueFileName(title) {
  const words = title.normalize("NFKD").toLowerCase().match(/[a-z0-9]+/g) ?? ["set"];
  return `${words.join("_").slice(0, 60)}_presses.csv`;
}

/**
 * A time as the file has it.
 * @param {number} s
 * @returns {string}
 */
export function secondsText(s) {
  return String(Number(s.toFixed(6)));
}

function csvCell(text) {
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
