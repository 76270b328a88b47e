// @ts-check
/** Whether what is compared is equally loud, in words. */

import { listed } from "./words.js";

/**
 * @param {{name: string, equallyLoud: boolean}[]} versions
 * @returns {string}
 */
export function loudnessWords(versions) {
  const apart = versions.filter(({ equallyLoud }) => !equallyLoud).map(({ name }) => `“${name}”`);
  if (apart.length === 0) return "All versions are equally loud.";
  const are = apart.length === 1 ? "is" : "are";
  return (
    `${listed(apart)} ${are} not equally loud: that would have taken too much gain. ` +
    "You may tell them by that alone, and the louder of two tends to please."
  );
}
