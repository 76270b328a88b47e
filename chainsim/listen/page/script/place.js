// @ts-check
/** Where in a scene one is, by whole frames of the audio clock. */

/** @typedef {{from: number, to: number}} Loop */

/** From a moment at which the place is known it goes on with the clock: to the scene's end, or round a loop. */
export class Place {
  /** @param {number} rate of the audio clock, frames a second */
  constructor(rate) {
    this.rate = rate;
    /** Of the scene. */
    this.frames = 0;
    /** @type {Loop|null} seconds */
    this.loop = null;
    this._anchor = { clockFrame: 0, soundFrame: 0, loop: this.loopFrames };
  }

  /** Length of the scene. */
  get seconds() {
    return this.frames / this.rate;
  }

  /** @returns {Loop|null} frames */
  get loopFrames() {
    const { loop, rate } = this;
    return loop && { from: Math.round(loop.from * rate), to: Math.round(loop.to * rate) };
  }

  /** Nothing is known from before this frame of the clock. */
  get since() {
    return this._anchor.clockFrame;
  }

  /**
   * From now on: this frame of the sound at that frame of the clock, and the present loop.
   * @param {number} clockFrame
   * @param {number} soundFrame
   */
  anchor(clockFrame, soundFrame) {
    this._anchor = { clockFrame, soundFrame, loop: this.loopFrames };
  }

  /**
   * Frame of the sound at a frame of the clock, in the loop if there was one at the anchor.
   * @param {number} clockFrame
   * @returns {number}
   */
  at(clockFrame) {
    const { clockFrame: began, soundFrame, loop } = this._anchor;
    const frame = soundFrame + clockFrame - began;
    if (!loop || frame < loop.to) return Math.min(frame, this.frames);
    return loop.from + ((frame - loop.from) % (loop.to - loop.from));
  }

  /**
   * From where to go on when the loop changes: from its beginning, if it does not hold the present place.
   * @param {number} here
   * @returns {number}
   */
  inLoop(here) {
    const loop = this.loopFrames;
    return loop && (here < loop.from || here >= loop.to) ? loop.from : here;
  }

  /**
   * What of a loop lies in the scene.
   * @param {Loop|null} loop seconds
   * @param {number} shortest
   * @returns {Loop|null} null if too little does
   */
  within(loop, shortest) {
    const held = loop && { from: this.clamped(loop.from), to: this.clamped(loop.to) };
    return held && held.to - held.from >= shortest ? held : null;
  }

  /** @param {number} seconds */
  clamped(seconds) {
    return Math.min(Math.max(seconds, 0), this.seconds);
  }
}
