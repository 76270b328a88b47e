// @ts-check
/** Bars and beats along a take, by the tempo of the sketch and those that its patches bring. */

/**
 * @typedef {Object} Bars as `bars_plain` of foot_plain.py gives it
 * @property {number} beats
 * @property {number} quartersPerBeat
 * @property {number} firstBeatS
 * @property {number} startsS from when in the take on they are counted
 * @property {number} startQuarters from the first beat to there
 * @property {number} writtenBpm
 * @property {Array<[string, number]>} patchBpm
 * @property {boolean} tapped
 */

/**
 * The place of each press, "17:2.5": bar 17, half a beat after its second beat. Empty before bar 1, and from
 * the first tap on, since the tempo that a foot taps is not counted here.
 * @param {import("./press_list.js").Press[]} presses
 * @param {import("./board.js").Board} board
 * @param {Bars} bars
 * @returns {string[]}
 */
export function pressPlaces(presses, board, bars) {
  const ofPatches = new Map(bars.patchBpm);
  const bpmAt = (position) => ofPatches.get(position.patch) ?? bars.writtenBpm;
  let nowS = Math.max(bars.firstBeatS, bars.startsS);
  let [quarters, position, tapped] = [bars.startQuarters, board.start(), bars.tapped];
  return presses.map((press) => {
    const atS = press.actsMs / 1000;
    if (atS > nowS) {
      quarters += ((atS - nowS) * bpmAt(position)) / 60;
      nowS = atS;
    }
    tapped = tapped || board.action(position, press.gesture)?.kind === "tap";
    position = press.position;
    return tapped || atS < bars.firstBeatS ? "" : barBeat(quarters, bars);
  });
}

function barBeat(quarters, { beats, quartersPerBeat }) {
  const tenths = Math.floor((10 * quarters) / quartersPerBeat + 1e-6);
  const bar = Math.floor(tenths / (10 * beats));
  return `${bar + 1}:${(tenths - 10 * beats * bar) / 10 + 1}`;
}
