// @ts-check
/** How far the wave swings, moment by moment. */

const FILLED = 0.9;

/**
 * @param {import("./lane.js").Surface} surface
 * @param {Object} sound
 * @param {number} full swing that fills the lane
 * @returns {string}
 */
export function paintWaveform({ pen, width, height, colour }, sound, full) {
  const [lows, highs] = sound.peaks;
  const middle = height / 2;
  pen.fillStyle = colour("--line");
  pen.fillRect(0, middle - 0.5, width, 1);
  pen.fillStyle = colour("--ink");
  const columns = Math.max(1, Math.floor(width));
  let largest = 0;
  for (let x = 0; x < columns; x += 1) {
    const first = Math.floor((x * lows.length) / columns);
    const end = Math.max(first + 1, Math.floor(((x + 1) * lows.length) / columns));
    let low = Infinity;
    let high = -Infinity;
    for (let i = first; i < end && i < lows.length; i += 1) {
      low = Math.min(low, lows[i]);
      high = Math.max(high, highs[i]);
    }
    if (high < low) continue;
    largest = Math.max(largest, high, -low);
    const top = middle - (high / full) * middle;
    pen.fillRect(x, top, 1, Math.max(1, ((high - low) / full) * middle));
  }
  return `${sound.name}: the largest swing is ${Math.round(largest * 100)} percent of full scale.`;
}

/**
 * The swing that fills the lane, so that several sounds can be compared: the largest of them nearly does.
 * @param {Object[]} sounds
 * @returns {number}
 */
export function fullSwing(sounds) {
  let largest = 1e-3;
  for (const { peaks } of sounds) {
    for (const value of peaks[0]) largest = Math.max(largest, -value);
    for (const value of peaks[1]) largest = Math.max(largest, value);
  }
  return largest / FILLED;
}
