// @ts-check

/**
 * @param {HTMLElement} _root
 * @param {Object} _app
 */
export function setUpFoot(_root, _app) {}
