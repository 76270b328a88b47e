// @ts-check
/** A lane of the timeline: a canvas as sharp as the screen, with words for who cannot see it. */

import { el } from "./dom.js";

/**
 * @typedef {Object} Surface
 * @property {CanvasRenderingContext2D} pen in CSS pixels
 * @property {number} width
 * @property {number} height
 * @property {(name: string) => string} colour of a token: "--ink"
 */

/** A canvas that is painted anew when its size, its colours or what it shows change. */
export class Lane {
  /**
   * @param {string} name class and caption
   * @param {string} caption
   * @param {(surface: Surface) => string} paint paints and says in words what is seen
   */
  constructor(name, caption, paint) {
    this._paint = paint;
    this.canvas = /** @type {HTMLCanvasElement} */ (
      el("canvas", { role: "img", class: `lane-canvas lane-${name}` })
    );
    this.caption = el("p", { class: "lane-caption", "aria-hidden": "true" }, caption);
    this._name = caption;
  }

  /** Paint what is to be seen now. */
  paint() {
    const { canvas } = this;
    const width = canvas.clientWidth;
    const height = canvas.clientHeight;
    if (width === 0 || height === 0) return;
    const density = Math.min(window.devicePixelRatio || 1, 3);
    canvas.width = Math.round(width * density);
    canvas.height = Math.round(height * density);
    const pen = canvas.getContext("2d");
    if (!pen) return;
    pen.scale(density, density);
    const tokens = getComputedStyle(canvas);
    pen.font = `12px ${tokens.getPropertyValue("--sans")}`;
    const words = this._paint({ pen, width, height, colour: (name) => tokens.getPropertyValue(name).trim() });
    canvas.setAttribute("aria-label", `${this._name}. ${words}`);
  }
}
