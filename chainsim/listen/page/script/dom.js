// @ts-check
/** Elements without markup: whatever a name holds, it stays text. */

const SVG = "http://www.w3.org/2000/svg";

/**
 * An element.
 * @param {string} tag
 * @param {Object<string, any>} [attributes] as in HTML; `on: { click: f }` for what is listened to; null and
 *   false are left out, true is an attribute without a value
 * @param {...(Node|string|number|null|undefined)} children strings become text
 * @returns {HTMLElement}
 */
export function el(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  setAttributes(element, attributes);
  element.append(...children.filter((child) => child !== null && child !== undefined).map(asNode));
  return element;
}

/**
 * The same in a drawing.
 * @param {string} tag
 * @param {Object<string, any>} [attributes]
 * @param {...Node} children
 * @returns {SVGElement}
 */
export function svgEl(tag, attributes = {}, ...children) {
  const element = /** @type {SVGElement} */ (document.createElementNS(SVG, tag));
  setAttributes(element, attributes);
  element.append(...children);
  return element;
}

/**
 * Tell those who cannot see the page what has just happened.
 * @param {string} text
 */
export function say(text) {
  const region = document.getElementById("announcements");
  if (region) region.textContent = text;
}

/**
 * Seconds as a player reads them: "1:02.5".
 * @param {number} seconds
 * @returns {string}
 */
export function clock(seconds) {
  const tenths = Math.round(seconds * 10);
  const minutes = Math.floor(tenths / 600);
  return `${minutes}:${String(Math.floor(tenths / 10) % 60).padStart(2, "0")}.${tenths % 10}`;
}

/**
 * Whether the reader wants things to hold still.
 * @returns {boolean}
 */
export function wantsStillness() {
  return window.matchMedia("(prefers-reduced-motion: reduce)").matches;
}

const ICONS = {
  play: "M7 4v16l13-8z",
  pause: "M6 4h4v16H6zM14 4h4v16h-4z",
  sun: "M12 7a5 5 0 1 0 0 10a5 5 0 0 0 0-10zM11 1h2v4h-2zM11 19h2v4h-2zM1 11h4v2H1zM19 11h4v2h-4z",
  moon: "M20 14.5A8.5 8.5 0 0 1 9.5 4a8.5 8.5 0 1 0 10.5 10.5z",
};

/**
 * A small picture that says nothing to a screen reader.
 * @param {"play"|"pause"|"sun"|"moon"} name
 * @returns {SVGElement}
 */
export function icon(name) {
  return svgEl(
    "svg",
    { class: "icon", viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" },
    svgEl("path", { d: ICONS[name] }),
  );
}

function setAttributes(element, attributes) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") {
      for (const [event, listener] of Object.entries(value)) element.addEventListener(event, listener);
    } else if (value !== null && value !== undefined && value !== false) {
      element.setAttribute(name, value === true ? "" : String(value));
    }
  }
}

function asNode(child) {
  return child instanceof Node ? child : document.createTextNode(String(child));
}
