// @ts-check

/**
 * @param {HTMLElement} _root
 * @param {Object} _app
 */
export function setUpTrials(_root, _app) {}
