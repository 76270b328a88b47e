// @ts-check
/** The browser's way out to the loudspeakers. */

/**
 * @param {number} sampleRate wanted; where a browser does not know it, its own
 * @returns {AudioContext|null} null: this browser cannot play in time, or gives no way out
 */
export function newAudioContext(sampleRate) {
  if (typeof AudioContext !== "function" || typeof AudioBufferSourceNode !== "function") return null;
  for (const options of [{ sampleRate, latencyHint: "interactive" }, {}]) {
    try {
      return new AudioContext(/** @type {AudioContextOptions} */ (options));
    } catch {
      // The next may do.
    }
  }
  return null;
}
