// @ts-check

/**
 * @param {HTMLElement} _root
 * @param {Object} _app
 */
export function setUpLesson(_root, _app) {}
