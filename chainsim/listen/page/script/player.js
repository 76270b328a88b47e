// @ts-check
/**
 * Plays one sound at a time and goes to another without losing its place.
 *
 * Times are whole frames of the audio clock: a sound that takes over begins at the frame at which the other
 * would have gone on, a moment ahead, so that the clock has not passed it when the order arrives.
 */

import { Place } from "./place.js";
import { FADE_S, Voice } from "./voice.js";

const SHORTEST_LOOP_S = 2 * FADE_S;
const AHEAD_S = 0.02;
const HIDDEN_LEAD_S = 0.15;
const MOST_TRIES = 4;
const PATIENCE_MS = 400;

/** @typedef {import("./place.js").Loop} Loop */

/** Events: "state", "sound" (detail.key), "seek", "loop", "levels", "hidden", "blocked", "ended". */
export class Player extends EventTarget {
  /**
   * @param {import("./shelf.js").SoundShelf} shelf
   * @param {AudioContext} context
   */
  constructor(shelf, context) {
    super();
    this._shelf = shelf;
    this.context = context;
    this.output = this.context.createGain();
    this.output.connect(this.context.destination);
    this._current = null;
    this._playing = false;
    this._levels = "equal";
    this._hidden = false;
    this._voice = null;
    this._restFrame = 0;
    this._place = new Place(context.sampleRate);
    this._choice = 0;
    this._wish = 0;
  }

  /** Position of what is heard, in seconds. */
  get position() {
    if (!this._voice) return this._restFrame / this._rate;
    const heard = (this.context.currentTime - (this.context.outputLatency || 0)) * this._rate;
    return this._place.at(Math.max(heard, this._place.since)) / this._rate;
  }

  /** Whether something sounds. */
  get playing() {
    return this._playing;
  }

  /** Key of what is chosen, or null. */
  get current() {
    return this._current;
  }

  /** Length of the scene of what is chosen, in seconds. */
  get seconds() {
    return this._place.seconds;
  }

  /** @returns {Loop|null} seconds */
  get loop() {
    return this._place.loop;
  }

  /** @returns {"equal"|"as it comes"} */
  get levels() {
    return this._levels;
  }

  /** Whether the page keeps to itself what sounds. */
  get hidden() {
    return this._hidden;
  }

  set hidden(hidden) {
    if (hidden === this._hidden) return;
    this._hidden = hidden;
    if (!hidden) this._shelf.hold([]);
    this._tell("hidden");
  }

  /**
   * Play on, or play something else.
   *
   * While the page keeps to itself what sounds, it takes the same way and the same time from the order to the
   * first frame, whether it is the sound that was chosen before or another.
   * @param {string} [key]
   */
  async play(key = this._current ?? this._shelf.keys()[0]) {
    const wish = (this._wish += 1);
    const { hidden } = this;
    const asked = hidden ? this.context.currentTime : null;
    // At once: some browsers let a page sound only while they see the press that asked for it.
    const awake = this._wake();
    const taken = key !== this._current || hidden ? await this._take(key) : null;
    if (!hidden) this._tellTaken(taken);
    let outcome = null;
    try {
      outcome = await this._begin(wish, awake, asked);
    } finally {
      // What repaints the page waits until the order is given.
      if (hidden) this._tellTaken(taken);
    }
    if (outcome) this._tell(outcome);
  }

  /** Stop, and keep the place. */
  pause() {
    this._wish += 1;
    if (!this._playing) return;
    this._restFrame = Math.round(this.position * this._rate);
    this._silence();
    this._playing = false;
    this._tell("state");
  }

  /**
   * Go to a place.
   * @param {number} seconds
   */
  seek(seconds) {
    const wanted = this._place.clamped(seconds);
    const { loop } = this;
    const frame = Math.round((loop && wanted >= loop.to ? loop.from : wanted) * this._rate);
    if (this._voice) this._start(this._voice.buffer, frame);
    else this._restFrame = frame;
    this._tell("seek");
  }

  /**
   * Take another sound: at the same place if it belongs to the same scene, else from its beginning. What is
   * paused stays so.
   * @param {string} key
   */
  async choose(key) {
    this._tellTaken(await this._take(key));
  }

  /**
   * What is chosen is called by another key from now on; what sounds goes on.
   * @param {string} key
   */
  rename(key) {
    this._current = key;
  }

  /**
   * Repeat a part, or no longer.
   * @param {Loop|null} loop
   */
  setLoop(loop) {
    this._place.loop = this._place.within(loop, SHORTEST_LOOP_S);
    const clockFrame = this._nextFrame();
    const frame = this._place.inLoop(this._voice ? this._place.at(clockFrame) : this._restFrame);
    if (this._voice) this._start(this._voice.buffer, frame, clockFrame);
    else this._restFrame = frame;
    this._tell("loop");
  }

  /** @param {"equal"|"as it comes"} name */
  setLevels(name) {
    this._levels = name;
    this._voice?.setGain(this._gain());
    this._tell("levels");
  }

  /**
   * Have sounds ready, one after the other, so that choosing them takes no time. While the page keeps to
   * itself what sounds, they stay ready. Where some cannot be had, the others are; the first fault is thrown.
   * @param {string[]} keys
   */
  async prepare(keys) {
    const known = keys.filter((key) => this._shelf.has(key));
    const wanted = this._hidden ? this._shelf.hold(known, this._rate) : known;
    const faults = [];
    for (const key of wanted) {
      if (!this._shelf.has(key)) continue;
      await this._shelf.decoded(key, this.context).catch((error) => faults.push(error));
    }
    if (faults.length > 0) throw faults[0];
  }

  /**
   * Let what is chosen begin, if nothing else was wished meanwhile.
   * @param {number} wish
   * @param {Promise<boolean>} awake
   * @param {number|null} asked when the order came, if it is to take as long as any other
   * @returns {Promise<"state"|"blocked"|null>} what is to be told
   */
  async _begin(wish, awake, asked) {
    if (!(await awake) && this.context.state !== "running") return "blocked";
    let buffer = null;
    for (let chosen = null; chosen !== this._current;) {
      chosen = this._current;
      buffer = await this._shelf.decoded(chosen, this.context);
      if (wish !== this._wish || this._playing) return null;
    }
    if (this._restFrame >= this._place.frames) this._restFrame = 0;
    this._playing = true;
    this._start(buffer, this._restFrame, this._nextFrame(asked));
    return "state";
  }

  /**
   * Take a sound, and tell nobody yet.
   * @param {string} key
   * @returns {Promise<{key: string, loop: boolean}|null>} what to tell; null: another was asked for meanwhile
   */
  async _take(key) {
    const sound = this._shelf.sound(key);
    const choice = (this._choice += 1);
    const buffer = await this._shelf.decoded(key, this.context);
    if (choice !== this._choice) return null;
    const sameScene = this._scene === sound.scene;
    this._current = key;
    this._scene = sound.scene;
    const loopIsNew = this._enter(sound.frames, sameScene);
    if (this._playing) {
      const clockFrame = this._nextFrame();
      const moved = loopIsNew ? this._place.inLoop(this._place.at(clockFrame)) : null;
      this._start(buffer, sameScene ? moved : 0, clockFrame);
    }
    return { key, loop: loopIsNew || !sameScene };
  }

  /**
   * Be in a scene of so many frames of its own rate; if it is the same, at the same place, if it is long enough.
   * @returns {boolean} whether there is another loop than before
   */
  _enter(frames, sameScene) {
    const place = this._place;
    const { loop, frames: before } = place;
    place.frames = Math.round((frames * this._rate) / this._shelf.sampleRate);
    if (!sameScene) place.loop = null;
    else if (place.frames < before) place.loop = place.within(loop, SHORTEST_LOOP_S);
    this._restFrame = sameScene ? Math.min(this._restFrame, place.frames) : 0;
    if (place.loop !== loop) this._restFrame = place.inLoop(this._restFrame);
    return place.loop !== loop;
  }

  _tellTaken(taken) {
    if (!taken) return;
    this._tell("sound", { key: taken.key });
    if (taken.loop) this._tell("loop");
  }

  get _rate() {
    return this.context.sampleRate;
  }

  _gain() {
    return this._levels === "equal" ? 1 : 10 ** (this._shelf.sound(this._current).asItComesDb / 20);
  }

  /**
   * The frame of the clock at which an order can be obeyed: a moment ahead, and when the last is done.
   * @param {number|null} [asked] if it is to be a fixed time after the order, or a multiple of that
   */
  _nextFrame(asked = null) {
    const soonest = this.context.currentTime + AHEAD_S + 2 * (this.context.baseLatency || 0);
    const free = Math.max(soonest, this._voice ? this._voice.faded : 0);
    const steps = asked === null ? 0 : Math.max(1, Math.ceil((free - asked) / HIDDEN_LEAD_S));
    return Math.ceil((asked === null ? free : asked + steps * HIDDEN_LEAD_S) * this._rate);
  }

  /**
   * Let a sound take over.
   * @param {AudioBuffer} buffer
   * @param {number|null} frame where in the sound; null: where the other would have gone on
   * @param {number} [clockFrame] when
   * @param {number} [tries] how often yet
   */
  _start(buffer, frame, clockFrame = this._nextFrame(), tries = MOST_TRIES) {
    const place = this._place;
    const loop = place.loopFrames;
    if (frame !== null) place.anchor(clockFrame, frame);
    const soundFrame = place.at(clockFrame);
    const at = clockFrame / this._rate;
    this._silence(at);
    if (soundFrame >= place.frames && !loop) {
      this._finish();
      return;
    }
    const voice = new Voice(this.output, buffer, {
      at,
      from: soundFrame / this._rate,
      until: place.seconds,
      loop: loop && { from: loop.from / this._rate, to: loop.to / this._rate },
      gain: this._gain(),
    });
    voice.whenOver(() => {
      if (this._voice === voice) this._finish();
    });
    this._voice = voice;
    // A busy machine can let the clock pass the time of an order before it arrives.
    if (this.context.currentTime >= at && tries > 1) this._start(buffer, frame, this._nextFrame(), tries - 1);
  }

  /** Fade out what sounds, from a time on. */
  _silence(from = this.context.currentTime) {
    this._voice?.silence(from);
    this._voice = null;
  }

  _finish() {
    this._voice = null;
    this._restFrame = this._place.frames;
    this._playing = false;
    this._tell("state");
    this._tell("ended");
  }

  /** Whether the browser lets the page sound. */
  async _wake() {
    if (this.context.state === "running") return true;
    const patience = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
    await Promise.race([this.context.resume().catch(() => undefined), patience]);
    return this.context.state === "running";
  }

  _tell(type, detail = {}) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }
}
