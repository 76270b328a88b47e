// @ts-check
/** The browser's way out to the loudspeakers. */

const PATIENCE_MS = 400;

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

/**
 * Wake it, if the browser lets the page sound.
 * @param {AudioContext} context
 * @returns {Promise<boolean>} whether it is awake
 */
export async function wakes(context) {
  if (context.state === "running") return true;
  const patience = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
  await Promise.race([context.resume().catch(() => undefined), patience]);
  return context.state === "running";
}
