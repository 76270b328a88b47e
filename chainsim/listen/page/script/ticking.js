// @ts-check
/** What is drawn again and again while something sounds. */

import { wantsStillness } from "./dom.js";

/**
 * Call at every picture of the screen while the player plays, or less often for who wants stillness.
 * @param {import("./player.js").Player} player
 * @param {(seconds: number) => void} draw told how long ago the last was
 * @param {number} stillMs time between two, where stillness is wanted
 */
export function whilePlaying(player, draw, stillMs) {
  let running = false;
  let last = 0;
  const tick = () => {
    if (!player.playing) {
      running = false;
      return;
    }
    const now = performance.now();
    draw((now - last) / 1000);
    last = now;
    if (wantsStillness()) setTimeout(tick, stillMs);
    else requestAnimationFrame(tick);
  };
  player.addEventListener("state", () => {
    if (running || !player.playing) return;
    running = true;
    last = performance.now();
    tick();
  });
}
