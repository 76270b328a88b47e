// @ts-check
/** One sound that sounds: fades in at its time, goes on to its end or round its loop, and fades out. */

export const FADE_S = 0.01;
const LEVEL_FADE_S = 0.03;
const SLOW_RISE_S = 1;
const MUCH_LOUDER = 2;
const ORDER_S = 0.005;

/** Times are seconds of the audio clock; of the sound, seconds from its beginning. */
export class Voice {
  /**
   * @param {AudioNode} output
   * @param {AudioBuffer} buffer
   * @param {{at: number, from: number, until: number, loop: import("./player.js").Loop|null, gain: number}} how
   *   when it begins, where in the sound, and where it ends if it has no loop
   */
  constructor(output, buffer, { at, from, until, loop, gain }) {
    const { context } = output;
    this.buffer = buffer;
    this._context = context;
    this._at = at;
    /** When it has faded in: nothing else can begin before. */
    this.faded = at + FADE_S;
    this._source = new AudioBufferSourceNode(context, { buffer });
    this._level = new GainNode(context, { gain });
    this._fade = new GainNode(context, { gain: 0 });
    if (loop) {
      this._source.loop = true;
      this._source.loopStart = loop.from;
      this._source.loopEnd = loop.to;
    }
    this._fade.gain.setValueAtTime(0, at);
    this._fade.gain.linearRampToValueAtTime(1, at + FADE_S);
    this._source.connect(this._level).connect(this._fade).connect(output);
    this._source.start(at, from);
    if (!loop) this._source.stop(at + until - from);
    this._source.addEventListener("ended", () => this._fade.disconnect());
  }

  /**
   * Call when nothing is left of it.
   * @param {() => void} act
   */
  whenOver(act) {
    this._source.addEventListener("ended", act);
  }

  /**
   * What becomes much louder rises slowly, so that there is time to turn it down.
   * @param {number} wanted
   */
  setGain(wanted) {
    const { gain, context } = this._level;
    const now = context.currentTime;
    // Before all is cancelled: some browsers no longer know afterwards where it was on its way.
    const here = gain.value;
    gain.cancelScheduledValues(now);
    gain.setValueAtTime(here, now);
    if (wanted > MUCH_LOUDER * here) gain.exponentialRampToValueAtTime(wanted, now + SLOW_RISE_S);
    else gain.linearRampToValueAtTime(wanted, now + LEVEL_FADE_S);
  }

  /** Whether something of it is heard, or will be before an order not to begin can arrive. */
  get begun() {
    return this._context.currentTime + ORDER_S >= this._at;
  }

  /**
   * Fade out; what has not begun never does.
   * @param {number} from
   */
  silence(from) {
    if (!this.begun) {
      this._fade.disconnect();
      this._source.stop();
      return;
    }
    const at = Math.max(from, this.faded);
    this._fade.gain.setValueAtTime(1, at);
    this._fade.gain.linearRampToValueAtTime(0, at + FADE_S);
    this._source.stop(at + FADE_S);
  }
}
