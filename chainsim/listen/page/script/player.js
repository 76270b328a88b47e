// @ts-check
/** What is chosen, whether it plays, and all that is told of it; what takes over from what is in handover.js. */

import { onceAwake, wakes, wasPressed } from "./audio_context.js";
import { Handover } from "./handover.js";
import { report } from "./notices.js";
import { Place } from "./place.js";
import { FADE_S } from "./voice.js";

const SHORTEST_LOOP_S = 2 * FADE_S;

/** @typedef {import("./place.js").Loop} Loop */

/**
 * Events: "state", "sound" (detail.key), "seek", "loop", "levels", "hidden", "blocked" (detail.pressed: whether
 * something on the page was pressed before that).
 */
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
    this._levels = "equal";
    this._hidden = false;
    this._place = new Place(context.sampleRate);
    this._handover = new Handover(this.output, this._place, {
      gain: () => this._gain(),
      over: () => this._tell("state"),
    });
    this._choice = 0;
    this._asked = null;
    this._wish = 0;
  }

  /** Position of what is heard, in seconds. */
  get position() {
    return this._handover.heard / this._rate;
  }

  /** Whether something sounds. */
  get playing() {
    return this._handover.sounding;
  }

  /** Key of what is chosen, or null. */
  get current() {
    return this._current;
  }

  /** Key of what will be chosen as soon as it is decoded, or null. */
  get asked() {
    return this._asked;
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
    const pressed = wasPressed();
    const awake = wakes(this.context);
    const taken = key !== this._current || hidden ? await this._take(key) : null;
    if (!hidden) this._tellTaken(taken);
    let outcome = null;
    try {
      outcome = await this._begin(wish, awake, asked);
    } finally {
      // What repaints the page waits until the order is given.
      if (hidden) this._tellTaken(taken);
    }
    if (outcome) this._tell(outcome, { pressed });
  }

  /** Stop, and keep the place. */
  pause() {
    this._wish += 1;
    if (!this.playing) return;
    this._handover.stop();
    this._tell("state");
  }

  /**
   * Go to a place.
   * @param {number} seconds
   */
  seek(seconds) {
    const wanted = this._place.clamped(seconds);
    const { loop } = this;
    this._handover.go(Math.round((loop && wanted >= loop.to ? loop.from : wanted) * this._rate));
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
   * What is chosen is called by another key from now on; what sounds goes on. What was asked for by a key of
   * before is no longer waited for.
   * @param {string} key
   */
  rename(key) {
    this._choice += 1;
    this._asked = null;
    this._current = key;
  }

  /**
   * Repeat a part, or no longer.
   * @param {Loop|null} loop
   */
  setLoop(loop) {
    this._place.loop = this._place.within(loop, SHORTEST_LOOP_S);
    const clockFrame = this._handover.next();
    this._handover.go(this._place.inLoop(this._handover.at(clockFrame)), clockFrame);
    this._tell("loop");
  }

  /** @param {"equal"|"as it comes"} name */
  setLevels(name) {
    this._levels = name;
    this._handover.renewGain();
    this._tell("levels");
  }

  /** What sounds is as loud as the page says now. */
  renewLevel() {
    this._handover.renewGain();
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
    // What is chosen is the last to be dropped, though it came first.
    if (this._current !== null) this._shelf.refresh(this._current);
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
    if (!(await awake) && this.context.state !== "running") {
      onceAwake(this.context, () => this._beginLate(wish).catch(report));
      return wish === this._wish ? "blocked" : null;
    }
    let buffer = null;
    for (let chosen = null; chosen !== this._current;) {
      chosen = this._current;
      buffer = await this._shelf.decoded(chosen, this.context);
      if (wish !== this._wish || this.playing) return null;
    }
    const { rest } = this._handover;
    this._handover.start(buffer, rest >= this._place.frames ? 0 : rest, this._handover.next(asked), asked);
    return "state";
  }

  /**
   * What was wished while the way out was asleep.
   * @param {number} wish
   */
  async _beginLate(wish) {
    if (wish !== this._wish) return;
    const asked = this._hidden ? this.context.currentTime : null;
    const outcome = await this._begin(wish, Promise.resolve(true), asked);
    if (outcome) this._tell(outcome);
  }

  /**
   * Take a sound, and tell nobody yet.
   * @param {string} key
   * @returns {Promise<{key: string, loop: boolean}|null>} what to tell; null: another was asked for meanwhile
   */
  async _take(key) {
    const sound = this._shelf.sound(key);
    const choice = (this._choice += 1);
    this._asked = key;
    const decoded = this._shelf.decoded(key, this.context);
    // What went wrong with it concerns nobody who has asked for another meanwhile.
    await decoded.catch(() => {});
    if (choice !== this._choice) return null;
    this._asked = null;
    const buffer = await decoded;
    const sameScene = this._scene === sound.scene;
    const isFirst = this._current === null;
    this._current = key;
    this._scene = sound.scene;
    const loopIsNew = this._enter(sound.frames, sameScene);
    if (this.playing) {
      const clockFrame = this._handover.next();
      const moved = loopIsNew ? this._place.inLoop(this._place.at(clockFrame)) : null;
      this._handover.start(buffer, sameScene ? moved : 0, clockFrame);
    }
    return { key, loop: loopIsNew || !(sameScene || isFirst) };
  }

  /**
   * Be in a scene of so many frames of its own rate; if it is the same, at the same place, if it is long enough.
   * @returns {boolean} whether there is another loop than before
   */
  _enter(frames, sameScene) {
    const { _place: place, _handover: handover } = this;
    const { loop, frames: before } = place;
    place.frames = Math.round((frames * this._rate) / this._shelf.sampleRate);
    if (!sameScene) place.loop = null;
    else if (place.frames < before) place.loop = place.within(loop, SHORTEST_LOOP_S);
    handover.rest = sameScene ? Math.min(handover.rest, place.frames) : 0;
    if (place.loop !== loop) handover.rest = place.inLoop(handover.rest);
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

  _tell(type, detail = {}) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }
}
