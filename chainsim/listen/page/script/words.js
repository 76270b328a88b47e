// @ts-check
/** Words put together for reading. */

import { el } from "./dom.js";

/**
 * "A, B and C".
 * @param {readonly string[]} words
 * @returns {string}
 */
export function listed(words) {
  return words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} and ${words.at(-1)}`;
}

/**
 * Text in which each `[key]` stands as a key to press.
 * @param {string} text
 * @returns {Node[]}
 */
export function withKeys(text) {
  return text
    .split(/\[([^\]]+)\]/)
    .map((part, i) => (i % 2 === 1 ? el("kbd", {}, part) : document.createTextNode(part)));
}
