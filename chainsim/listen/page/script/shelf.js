// @ts-check
/** The sounds of a page: what is known of each, and its samples once they are wanted. */

const MOST_BYTES = 240e6;
const BYTES_PER_GB = 60e6;
const BYTES_PER_SAMPLE = 4;
const LOOK_AGAIN_MS = 10;
const LACKS =
  "is not beside this page, or the browser may not read it there; a page in one file needs none";

/** Keeps what is known of all sounds, and as many of them decoded as fit. */
export class SoundShelf {
  /** @param {{sounds: Array<Object>, sampleRate: number}} pageData */
  constructor(pageData) {
    this._sounds = new Map(pageData.sounds.map((sound) => [sound.key, sound]));
    this.sampleRate = pageData.sampleRate;
    this._given = new Map();
    this._decoded = new Map();
    this._awaited = new Map();
    this._sizes = new Map();
    this._held = new Set();
    /** How many bytes of decoded sound are kept; where the browser tells the memory, a share of that. */
    this.mostBytes = Math.min(MOST_BYTES, BYTES_PER_GB * (navigator.deviceMemory ?? Infinity));
    window.chainsimReceive = (digest, base64) => this._receive(digest, base64);
  }

  /**
   * What the page knows of a sound.
   * @param {string} key
   * @returns {Object}
   */
  sound(key) {
    const sound = this._sounds.get(key);
    if (!sound) throw new Error(`no sound "${key}" in this page`);
    return sound;
  }

  /**
   * @param {string} key
   * @returns {boolean} whether the page has such a sound
   */
  has(key) {
    return this._sounds.has(key);
  }

  /**
   * @param {string} [role] "take", "version", "wire" or "part"
   * @returns {string[]} keys in the page's order
   */
  keys(role) {
    return [...this._sounds.values()].filter((s) => !role || s.role === role).map((s) => s.key);
  }

  /**
   * Samples of a sound; read once, however often it is asked for.
   * @param {string} key
   * @param {BaseAudioContext} context
   * @returns {Promise<AudioBuffer>}
   */
  decoded(key, context) {
    const sound = this.sound(key);
    const known = this._decoded.get(sound.digest);
    this._decoded.delete(sound.digest);
    const buffer = known ?? this._decode(sound, context);
    this._decoded.set(sound.digest, buffer);
    return buffer;
  }

  /**
   * If a sound is decoded, let it be the last to be dropped.
   * @param {string} key
   */
  refresh(key) {
    const digest = this._sounds.get(key)?.digest;
    const known = this._decoded.get(digest);
    if (!known) return;
    this._decoded.delete(digest);
    this._decoded.set(digest, known);
  }

  /**
   * Keep these decoded, whatever else is asked for, until others are held: two, and as many as fit.
   * @param {string[]} keys
   * @param {number} [rate] of the audio clock
   * @returns {string[]} those that are held
   */
  hold(keys, rate) {
    const held = keys.slice(0, Math.max(2, this.fitting(keys, rate).length));
    this._held = new Set(held.map((key) => this.sound(key).digest));
    return held;
  }

  /**
   * The first of these that can be decoded all together.
   * @param {string[]} keys
   * @param {number} [rate] of the audio clock
   * @returns {string[]}
   */
  fitting(keys, rate = this.sampleRate) {
    let room = this.mostBytes;
    const end = keys.findIndex((key) => {
      const { frames, channels } = this.sound(key);
      room -= (frames * channels * BYTES_PER_SAMPLE * rate) / this.sampleRate;
      return room < 0;
    });
    return end < 0 ? keys : keys.slice(0, end);
  }

  /**
   * Put a sound on the shelf, or another in the place of one that is there.
   * @param {Object} meta as in the page's data
   * @param {string} [base64] its audio; without it, it is found where the page's own are
   */
  async add(meta, base64) {
    const digest = meta.digest ?? `added-${meta.key}-${this._given.size}`;
    this._sounds.set(meta.key, { ...meta, digest });
    if (base64 !== undefined) this._given.set(digest, asBytes(base64));
  }

  /**
   * Only these from now on: what a page that was written again has.
   * @param {Array<Object>} sounds
   */
  replaceAll(sounds) {
    this._sounds = new Map(sounds.map((sound) => [sound.key, sound]));
    const kept = new Set(sounds.map((sound) => sound.digest));
    for (const digest of [...this._decoded.keys()]) if (!kept.has(digest)) this._drop(digest);
  }

  /**
   * The audio file of a sound.
   * @param {string} key
   * @returns {Promise<Uint8Array>}
   */
  async bytes(key) {
    const sound = this.sound(key);
    if (this._given.has(sound.digest)) return this._given.get(sound.digest);
    if (sound.file) return this._load(sound);
    const element = await wholeElement(`script[data-sound-audio="${key}"]`);
    if (!element) throw new Error(`the page does not hold the sound "${sound.name}"`);
    return asBytes(element.textContent ?? "");
  }

  async _decode(sound, context) {
    try {
      const bytes = await this.bytes(sound.key);
      const buffer = await context
        .decodeAudioData(/** @type {ArrayBuffer} */ (bytes.slice().buffer))
        .catch(() => Promise.reject(new Error(undecoded(sound))));
      this._makeRoom(sound.digest, buffer.length * buffer.numberOfChannels * BYTES_PER_SAMPLE);
      return buffer;
    } catch (error) {
      this._drop(sound.digest);
      throw error;
    }
  }

  /** Drop what was asked for longest ago. */
  _makeRoom(newest, bytes) {
    if (!this._decoded.has(newest)) return; // the page was written again meanwhile
    this._sizes.set(newest, bytes);
    let all = [...this._decoded.keys()].reduce((sum, digest) => sum + (this._sizes.get(digest) ?? 0), 0);
    for (const digest of [...this._decoded.keys()]) {
      if (all <= this.mostBytes) return;
      if (digest === newest || this._held.has(digest)) continue;
      all -= this._sizes.get(digest) ?? 0;
      this._drop(digest);
    }
  }

  _drop(digest) {
    this._decoded.delete(digest);
    this._sizes.delete(digest);
  }

  /** The audio of a file beside the page, which is a script that hands it over. */
  _load(sound) {
    const { digest, file } = sound;
    const awaited = this._awaited.get(digest);
    if (awaited) return awaited.bytes;
    const script = document.createElement("script");
    const bytes = new Promise((resolve, reject) => {
      const fail = (fault) => () => reject(new Error(`the file ${file} ${fault}`));
      script.addEventListener("error", fail(LACKS));
      // By then it has run; if it had handed over this sound, this would come too late.
      script.addEventListener("load", fail("does not hold this sound"));
      this._awaited.set(digest, { receive: resolve, bytes: null });
    }).finally(() => {
      this._awaited.delete(digest);
      script.remove();
    });
    this._awaited.get(digest).bytes = bytes;
    script.src = file;
    document.head.append(script);
    return bytes;
  }

  _receive(digest, base64) {
    this._awaited.get(digest)?.receive(asBytes(base64));
  }
}

/** An element that was read to its end: a long page can be used before all of it is there. */
async function wholeElement(selector) {
  for (;;) {
    const loaded = document.readyState !== "loading";
    const element = document.querySelector(selector);
    if (loaded || element?.nextElementSibling) return element;
    await new Promise((resolve) => setTimeout(resolve, LOOK_AGAIN_MS));
  }
}

/** Browsers say little of it, and each something else. */
function undecoded({ name, mime }) {
  const [format, other] = mime === "audio/mpeg" ? ["MP3", "without"] : ["FLAC", "with"];
  return (
    `“${name}” cannot be decoded. Another browser may know ${format}; ` +
    `or make the page again ${other} --lossy`
  );
}

function asBytes(base64) {
  const text = atob(base64.trim());
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i += 1) bytes[i] = text.charCodeAt(i);
  return bytes;
}
