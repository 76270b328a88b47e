// @ts-check
/**
 * Plays one sound at a time and goes to another without losing its place.
 *
 * Times are whole frames of the audio clock: a sound that takes over begins at the frame at which the other
 * would have gone on, a moment ahead, so that the clock has not passed it when the order arrives.
 */

import { FADE_S, Voice } from "./voice.js";

const AHEAD_S = 0.02;
const HIDDEN_LEAD_S = 0.15;
const MOST_TRIES = 4;
const PATIENCE_MS = 400;

/** @typedef {{from: number, to: number}} Loop seconds */

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
    this._loop = null;
    this._levels = "equal";
    this._hidden = false;
    this._voice = null;
    this._restFrame = 0;
    this._anchor = { clockFrame: 0, soundFrame: 0, loop: null };
    this._choice = 0;
    this._wish = 0;
  }

  /** Position of what is heard, in seconds. */
  get position() {
    if (!this._voice) return this._restFrame / this._rate;
    const heard = (this.context.currentTime - (this.context.outputLatency || 0)) * this._rate;
    return this._frameAt(Math.max(heard, this._anchor.clockFrame)) / this._rate;
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
    return this._current === null ? 0 : this._frames / this._rate;
  }

  /** @returns {Loop|null} */
  get loop() {
    return this._loop;
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
    const wanted = clamp(seconds, 0, this.seconds);
    const frame = Math.round((this._loop && wanted >= this._loop.to ? this._loop.from : wanted) * this._rate);
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
    this._loop = this._withinScene(loop);
    const clockFrame = this._nextFrame();
    const place = this._placeForLoop(this._voice ? this._frameAt(clockFrame) : this._restFrame);
    if (this._voice) this._start(this._voice.buffer, place, clockFrame);
    else this._restFrame = place;
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
   * itself what sounds, they stay ready. Where some cannot be had, the others are, then the first fault is thrown.
   * @param {string[]} keys
   */
  async prepare(keys) {
    const known = keys.filter((key) => this._shelf.has(key));
    if (this._hidden) this._shelf.hold(known);
    const faults = [];
    for (const key of known) {
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
    if (this._restFrame >= this._frames) this._restFrame = 0;
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
    const sameScene = this._current !== null && this._scene === sound.scene;
    const before = { frames: this._frames, loop: this._loop };
    this._current = key;
    this._scene = sound.scene;
    this._frames = sound.frames;
    this._loop = sameScene && this._frames < before.frames ? this._withinScene(before.loop) : before.loop;
    if (!sameScene) {
      this._restFrame = 0;
      this._loop = null;
    }
    const loop = this._loop !== before.loop;
    this._restFrame = Math.min(this._restFrame, this._frames);
    if (loop && !this._playing) this._restFrame = this._placeForLoop(this._restFrame);
    if (this._playing) {
      const clockFrame = this._nextFrame();
      const moved = loop ? this._placeForLoop(this._frameAt(clockFrame)) : null;
      this._start(buffer, sameScene ? moved : 0, clockFrame);
    }
    return { key, loop: loop || !sameScene };
  }

  _tellTaken(taken) {
    if (!taken) return;
    this._tell("sound", { key: taken.key });
    if (taken.loop) this._tell("loop");
  }

  /** What of a loop lies in the scene; null if too little does. */
  _withinScene(loop) {
    const asked = loop && { from: clamp(loop.from, 0, this.seconds), to: clamp(loop.to, 0, this.seconds) };
    return asked && asked.to - asked.from >= 2 * FADE_S ? asked : null;
  }

  get _rate() {
    return this.context.sampleRate;
  }

  /** Frames of the scene, at the rate of the audio clock. */
  get _frames() {
    return this._sceneFrames;
  }

  set _frames(frames) {
    this._sceneFrames = Math.round((frames * this._rate) / this._shelf.sampleRate);
  }

  _gain() {
    return this._levels === "equal" ? 1 : 10 ** (this._shelf.sound(this._current).asItComesDb / 20);
  }

  /** Frame of the sound at a frame of the clock, in the loop if there is one. */
  _frameAt(clockFrame) {
    const { clockFrame: began, soundFrame, loop } = this._anchor;
    const frame = soundFrame + clockFrame - began;
    if (!loop || frame < loop.to) return Math.min(frame, this._frames);
    return loop.from + ((frame - loop.from) % (loop.to - loop.from));
  }

  /** From where to go on when the loop changes: from its beginning, if it does not hold the present place. */
  _placeForLoop(here) {
    const loop = this._loop && this._framesOf(this._loop);
    return loop && (here < loop.from || here >= loop.to) ? loop.from : here;
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
    const loop = this._loop && this._framesOf(this._loop);
    if (frame !== null) this._anchor = { clockFrame, soundFrame: frame, loop };
    const soundFrame = this._frameAt(clockFrame);
    const at = clockFrame / this._rate;
    this._silence(at);
    if (soundFrame >= this._frames && !this._loop) {
      this._finish();
      return;
    }
    const voice = new Voice(this.output, buffer, {
      at,
      from: soundFrame / this._rate,
      until: this._frames / this._rate,
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
    this._restFrame = this._frames;
    this._playing = false;
    this._tell("state");
    this._tell("ended");
  }

  _framesOf(loop) {
    return { from: Math.round(loop.from * this._rate), to: Math.round(loop.to * this._rate) };
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

function clamp(value, low, high) {
  return Math.min(Math.max(value, low), high);
}
