// @ts-check
/** Presses as a file of cues that chainsim reads: a CSV file with the columns at_s, press, hold. */

/**
 * The file. A cue says when the switch goes down, so that it acts when it did: a press of a switch that also
 * has a hold, when it is let go; a hold, when it has been held.
 * @param {import("./press_list.js").Press[]} presses in order of time
 * @param {import("./pace.js").Pace} pace
 * @returns {string}
 */
export function cueFile(presses, pace) {
  const lines = ["at_s,press,hold"];
  let actsMs = -1;
  for (const press of presses) {
    const { kind, switch: name } = press.gesture;
    const afterMs = pace.actsMs(press.gesture);
    // Nothing goes down before the take begins; what comes after it keeps its place in the order.
    actsMs = Math.max(press.actsMs, actsMs + 1, afterMs);
    const cells = kind === "press" ? [csvCell(name), ""] : ["", csvCell(name)];
    lines.push([secondsText(actsMs - afterMs), ...cells].join(",").replace(/,$/, ""));
  }
  return `${lines.join("\n")}\n`;
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

function secondsText(ms) {
  return String(Number((ms / 1000).toFixed(6)));
}

function csvCell(text) {
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
