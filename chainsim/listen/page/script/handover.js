// @ts-check
/**
 * One sound sounds at a time, and another takes over from it without losing the place.
 *
 * Times are whole frames of the audio clock: a sound that takes over begins at the frame at which the other
 * would have gone on, a moment ahead, so that the clock has not passed it when the order arrives.
 */

import { Voice } from "./voice.js";

const AHEAD_S = 0.06;
const HIDDEN_LEAD_S = 0.15;
const MOST_TRIES = 4;

/** What sounds, or where it rests. */
export class Handover {
  /**
   * @param {AudioNode} output
   * @param {import("./place.js").Place} place
   * @param {{gain: () => number, over: () => void}} asks for the gain of what begins; tells that it came to its end
   */
  constructor(output, place, { gain, over }) {
    this._output = output;
    this._context = /** @type {AudioContext} */ (output.context);
    this._place = place;
    this._gain = gain;
    this._over = over;
    this._voice = null;
    /** Frame of the sound from which it goes on when nothing sounds. */
    this.rest = 0;
  }

  get sounding() {
    return this._voice !== null;
  }

  /** Frame of the sound that is heard now. */
  get heard() {
    if (!this._voice) return this.rest;
    const { currentTime, outputLatency } = this._context;
    const now = (currentTime - (outputLatency || 0)) * this._place.rate;
    return this._place.at(Math.max(now, this._place.since));
  }

  /**
   * The frame of the clock at which an order can be obeyed: a moment ahead, and when the last is done.
   * @param {number|null} [asked] if it is to be a fixed time after the order, or a multiple of that
   */
  next(asked = null) {
    const { currentTime, baseLatency } = this._context;
    const soonest = currentTime + AHEAD_S + 2 * (baseLatency || 0);
    const faded = this._voice?.begun ? this._voice.faded : 0;
    const free = Math.max(soonest, faded, this._place.since / this._place.rate);
    const steps = asked === null ? 0 : Math.max(1, Math.ceil((free - asked) / HIDDEN_LEAD_S));
    return Math.ceil((asked === null ? free : asked + steps * HIDDEN_LEAD_S) * this._place.rate);
  }

  /**
   * Frame of the sound at a frame of the clock to come.
   * @param {number} clockFrame
   */
  at(clockFrame) {
    return this._voice ? this._place.at(clockFrame) : this.rest;
  }

  /**
   * Be at another place, whether it sounds or rests.
   * @param {number} frame where in the sound
   * @param {number} [clockFrame] when
   */
  go(frame, clockFrame = this.next()) {
    if (this._voice) this.start(this._voice.buffer, frame, clockFrame);
    else this.rest = frame;
  }

  /**
   * Let a sound take over.
   * @param {AudioBuffer} buffer
   * @param {number|null} frame where in the sound; null: where the other would have gone on
   * @param {number} [clockFrame] when
   * @param {number|null} [asked] as of `next`, should that time have passed
   * @param {number} [tries] how often yet
   */
  start(buffer, frame, clockFrame = this.next(), asked = null, tries = MOST_TRIES) {
    const { rate, frames, seconds, loopFrames: loop } = this._place;
    if (frame !== null) this._place.anchor(clockFrame, frame);
    const soundFrame = this._place.at(clockFrame);
    const at = clockFrame / rate;
    this._silence(at);
    if (soundFrame >= frames && !loop) {
      this._end();
      return;
    }
    const voice = new Voice(this._output, buffer, {
      at,
      from: soundFrame / rate,
      until: seconds,
      loop: loop && { from: loop.from / rate, to: loop.to / rate },
      gain: this._gain(),
    });
    voice.whenOver(() => {
      if (this._voice === voice) this._end();
    });
    this._voice = voice;
    // A busy machine can let the clock pass the time of an order before it arrives.
    if (this._context.currentTime < at || tries === 1) return;
    this.start(buffer, frame, this.next(asked), asked, tries - 1);
  }

  /** Fade out, and keep the place. */
  stop() {
    this.rest = Math.round(this.heard);
    this._silence(this._context.currentTime);
  }

  /** What sounds takes the gain that is asked for now. */
  renewGain() {
    this._voice?.setGain(this._gain());
  }

  _silence(from) {
    this._voice?.silence(from);
    this._voice = null;
  }

  _end() {
    this._voice = null;
    this.rest = this._place.frames;
    this._over();
  }
}
