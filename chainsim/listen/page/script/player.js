// @ts-check
/**
 * Plays one sound at a time and goes to another without losing its place.
 *
 * Times are whole frames of the audio clock: a sound that takes over begins at the frame at which the other
 * would have gone on, a moment ahead, so that the clock has not passed it when the order arrives.
 */

const FADE_S = 0.01;
const LEVEL_FADE_S = 0.03;
const AHEAD_S = 0.02;
const MOST_TRIES = 4;
const PATIENCE_MS = 400;

/** @typedef {{from: number, to: number}} Loop seconds */

/** Events: "state", "sound" (detail.key), "seek", "loop", "levels", "hidden", "blocked", "ended". */
export class Player extends EventTarget {
  /**
   * @param {import("./shelf.js").SoundShelf} shelf
   * @param {{sampleRate: number}} options
   */
  constructor(shelf, { sampleRate }) {
    super();
    this._shelf = shelf;
    this.context = newContext(sampleRate);
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
    this._tell("hidden");
  }

  /**
   * Play on, or play something else.
   * @param {string} [key]
   */
  async play(key = this._current ?? this._shelf.keys()[0]) {
    const wish = (this._wish += 1);
    if (key !== this._current) await this.choose(key);
    if (!(await this._wake())) {
      this._tell("blocked");
      return;
    }
    let buffer = null;
    for (let chosen = null; chosen !== this._current;) {
      chosen = this._current;
      buffer = await this._shelf.decoded(chosen, this.context);
      if (wish !== this._wish || this._playing) return;
    }
    if (this._restFrame >= this._frames) this._restFrame = 0;
    this._playing = true;
    this._start(buffer, this._restFrame);
    this._tell("state");
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
    const sound = this._shelf.sound(key);
    const choice = (this._choice += 1);
    const buffer = await this._shelf.decoded(key, this.context);
    if (choice !== this._choice) return;
    const sameScene = this._current !== null && this._shelf.has(this._current) && this._scene === sound.scene;
    this._current = key;
    this._scene = sound.scene;
    this._frames = sound.frames;
    if (!sameScene) {
      this._restFrame = 0;
      this._loop = null;
    }
    this._restFrame = Math.min(this._restFrame, this._frames);
    if (this._playing) this._start(buffer, sameScene ? null : 0);
    this._tell("sound", { key });
    if (!sameScene) this._tell("loop");
  }

  /**
   * Repeat a part, or no longer.
   * @param {Loop|null} loop
   */
  setLoop(loop) {
    const asked = loop && { from: clamp(loop.from, 0, this.seconds), to: clamp(loop.to, 0, this.seconds) };
    this._loop = asked && asked.to - asked.from >= 2 * FADE_S ? asked : null;
    const clockFrame = this._nextFrame();
    const place = this._placeForLoop(this._voice ? this._frameAt(clockFrame) : this._restFrame);
    if (this._voice) this._start(this._voice.buffer, place, clockFrame);
    else this._restFrame = place;
    this._tell("loop");
  }

  /**
   * @param {"equal"|"as it comes"} name
   */
  setLevels(name) {
    this._levels = name;
    if (this._voice) {
      const gain = this._voice.level.gain;
      const now = this.context.currentTime;
      gain.cancelScheduledValues(now);
      gain.setValueAtTime(gain.value, now);
      gain.linearRampToValueAtTime(this._gain(), now + LEVEL_FADE_S);
    }
    this._tell("levels");
  }

  /**
   * Have sounds ready, one after the other, so that choosing them takes no time.
   * @param {string[]} keys
   */
  async prepare(keys) {
    for (const key of keys) if (this._shelf.has(key)) await this._shelf.decoded(key, this.context);
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

  /** The frame of the clock at which an order can be obeyed: a moment ahead, and when the last is done. */
  _nextFrame() {
    const soonest = this.context.currentTime + AHEAD_S + 2 * (this.context.baseLatency || 0);
    return Math.ceil(Math.max(soonest, this._voice ? this._voice.faded : 0) * this._rate);
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
    const context = this.context;
    const source = new AudioBufferSourceNode(context, { buffer });
    const level = new GainNode(context, { gain: this._gain() });
    const fade = new GainNode(context, { gain: 0 });
    if (loop) {
      source.loop = true;
      source.loopStart = loop.from / this._rate;
      source.loopEnd = loop.to / this._rate;
    }
    fade.gain.setValueAtTime(0, at);
    fade.gain.linearRampToValueAtTime(1, at + FADE_S);
    source.connect(level).connect(fade).connect(this.output);
    source.start(at, soundFrame / this._rate);
    if (!loop) source.stop(at + (this._frames - soundFrame) / this._rate);
    const voice = { source, level, fade, buffer, faded: at + FADE_S };
    source.addEventListener("ended", () => {
      fade.disconnect();
      if (this._voice === voice) this._finish();
    });
    this._voice = voice;
    // A busy machine can let the clock pass the time of an order before it arrives.
    if (this.context.currentTime >= at && tries > 1) this._start(buffer, frame, this._nextFrame(), tries - 1);
  }

  /** Fade out what sounds, from a time on. */
  _silence(from = this.context.currentTime) {
    if (!this._voice) return;
    const { source, fade, faded } = this._voice;
    const at = Math.max(from, faded);
    fade.gain.setValueAtTime(1, at);
    fade.gain.linearRampToValueAtTime(0, at + FADE_S);
    source.stop(at + FADE_S);
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

/** Whether this browser can play in time at all. */
export function canPlayInTime() {
  return typeof AudioContext === "function" && typeof AudioBufferSourceNode === "function";
}

function newContext(sampleRate) {
  try {
    return new AudioContext({ sampleRate, latencyHint: "interactive" });
  } catch {
    return new AudioContext();
  }
}

function clamp(value, low, high) {
  return Math.min(Math.max(value, low), high);
}
