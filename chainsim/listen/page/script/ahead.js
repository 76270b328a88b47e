// @ts-check
/** What is likely to be asked for next is made ready when there is time. */

const WITH_A_KEY = 9;

/** @param {{player: import("./player.js").Player, shelf: import("./shelf.js").SoundShelf, data: Object}} app */
export function decodeAhead({ player, shelf, data }) {
  const act = () => {
    if (player.hidden) return; // a blind test has ready what it needs
    const keys = likelyNext(player.current, shelf.keys("take"), data.versions);
    const known = keys.filter((key) => shelf.has(key));
    // Nobody has asked for these yet: what is wrong with one is told when it is pressed.
    player.prepare(shelf.fitting(known, player.context.sampleRate)).catch(() => {});
  };
  const later = () => {
    if (window.requestIdleCallback) requestIdleCallback(act);
    else setTimeout(act);
  };
  for (const type of ["sound", "renewed"]) player.addEventListener(type, later);
}

/**
 * What sounds, its neighbours, the take, and what has a number key, in this order.
 * @param {string|null} current
 * @param {string[]} take
 * @param {string[]} versions
 * @returns {string[]} none twice
 */
export function likelyNext(current, take, versions) {
  const here = versions.indexOf(current);
  const neighbours = here < 0 ? [] : versions.slice(Math.max(here - 1, 0), here + 2);
  const first = current === null ? [] : [current];
  return [...new Set([...first, ...neighbours, ...take, ...versions.slice(0, WITH_A_KEY)])];
}
