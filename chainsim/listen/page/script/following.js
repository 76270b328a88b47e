// @ts-check
/** Which sound of a page written anew is the one that was heard. */

/**
 * The one of that name; or the same sound under another name; or, in its place, one of a name that is new. A key
 * alone says nothing: keys number the versions, and may have moved.
 * @param {Object|null} before what was heard
 * @param {Object[]} sounds those that there are now
 * @param {Set<string>} names of those that there were
 * @returns {string|null} key; null if it is gone
 */
export function followed(before, sounds, names) {
  if (before === null) return null;
  const alike = sounds.filter(({ role }) => role === before.role);
  const named = alike.filter(({ name }) => name === before.name);
  const found =
    named.find(({ key }) => key === before.key) ??
    named[0] ??
    alike.find(({ digest }) => digest === before.digest) ??
    alike.find(({ key, name }) => key === before.key && !names.has(name));
  return found ? found.key : null;
}
