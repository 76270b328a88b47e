// @ts-check
/** The browser's way out to the loudspeakers. */

const PATIENCE_MS = 400;
const PATIENCE_ONCE_PRESSED_MS = 2000;

/**
 * @param {number} sampleRate wanted; where a browser does not know it, its own
 * @returns {AudioContext|null} null: this browser cannot play in time, or gives no way out
 */
export function newAudioContext(sampleRate) {
  if (typeof AudioContext !== "function" || typeof AudioBufferSourceNode !== "function") return null;
  // A telephone whose ringer is off would keep silent what its owner asks for.
  if (navigator.audioSession) navigator.audioSession.type = "playback";
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
 * Whether the reader has pressed something in this page, so that a browser may let it sound.
 * @returns {boolean} false also where a browser does not tell
 */
export function wasPressed() {
  return navigator.userActivation?.hasBeenActive ?? false;
}

/**
 * Wake it, if the browser lets the page sound.
 * @param {AudioContext} context
 * @returns {Promise<boolean>} whether it is awake; it may wake later, as where headphones are to be found first
 */
export async function wakes(context) {
  if (context.state === "running") return true;
  const patienceMs = wasPressed() ? PATIENCE_ONCE_PRESSED_MS : PATIENCE_MS;
  const patience = new Promise((resolve) => setTimeout(resolve, patienceMs));
  await Promise.race([context.resume().catch(() => undefined), patience]);
  return context.state === "running";
}

/**
 * Act once it is awake, however late that is.
 * @param {AudioContext} context
 * @param {() => void} act
 */
export function onceAwake(context, act) {
  const look = () => {
    if (context.state !== "running") return;
    context.removeEventListener("statechange", look);
    act();
  };
  context.addEventListener("statechange", look);
  look();
}
