// @ts-check
/** The level that leaves the page, a bar a channel: mean over a third of a second, and the highest sample. */

import { el } from "./dom.js";
import { whilePlaying } from "./ticking.js";

const FRAMES = 16384;
const LOWEST_DB = -60;
const SILENT_DB = -120;
const HOLD_S = 1.5;
const WORDS_MS = 250;
const STILL_MS = 500;
const NAMES = ["left", "right"];

/**
 * @param {{player: import("./player.js").Player}} app
 * @returns {HTMLElement}
 */
export function levelMeter({ player }) {
  const channels = NAMES.map((name) => new Channel(name, player));
  const box = el(
    "div",
    { class: "meter", role: "group", "aria-label": "Level" },
    el("p", { class: "lane-caption" }, "Level: mean and highest, in dB below full scale"),
    ...channels.map((channel) => channel.row),
  );
  const splitter = new ChannelSplitterNode(player.context, { numberOfOutputs: NAMES.length });
  const stereo = new GainNode(player.context, { channelCount: NAMES.length, channelCountMode: "explicit" });
  player.output.connect(stereo).connect(splitter);
  channels.forEach((channel, i) => splitter.connect(channel.analyser, i));
  let lastWords = 0;
  whilePlaying(
    player,
    () => {
      const now = performance.now();
      const withWords = now - lastWords >= WORDS_MS;
      if (withWords) lastWords = now;
      for (const channel of channels) channel.show(now / 1000, withWords);
    },
    STILL_MS,
  );
  player.addEventListener("state", () => {
    if (!player.playing) channels.forEach((channel) => channel.rest());
  });
  player.addEventListener("hidden", () => {
    box.hidden = player.hidden;
  });
  return box;
}

class Channel {
  constructor(name, player) {
    this.analyser = new AnalyserNode(player.context, { fftSize: FRAMES });
    this._samples = new Float32Array(FRAMES);
    this._held = { db: -Infinity, since: 0 };
    this._mean = el("div", { class: "meter-mean" });
    this._peak = el("div", { class: "meter-peak" });
    this._words = el("span", { class: "meter-words" });
    this.row = el(
      "div",
      { class: "meter-row" },
      el("span", { class: "meter-name" }, name),
      el("div", { class: "meter-bar", "aria-hidden": "true" }, this._mean, this._peak),
      this._words,
    );
    this.rest();
  }

  show(now, withWords) {
    this.analyser.getFloatTimeDomainData(this._samples);
    let squares = 0;
    let highest = 0;
    for (const sample of this._samples) {
      squares += sample * sample;
      highest = Math.max(highest, Math.abs(sample));
    }
    const mean = 10 * Math.log10(squares / FRAMES);
    const peak = 20 * Math.log10(highest);
    if (peak >= this._held.db || now - this._held.since > HOLD_S) this._held = { db: peak, since: now };
    this._set(mean, this._held.db, withWords);
  }

  rest() {
    this._held = { db: -Infinity, since: 0 };
    this._set(-Infinity, -Infinity, true);
  }

  _set(mean, peak, withWords) {
    this._mean.style.transform = `scaleX(${share(mean)})`;
    this._peak.style.left = `${100 * share(peak)}%`;
    if (withWords)
      this._words.textContent = peak > SILENT_DB ? `${inDb(mean)} mean, ${inDb(peak)} highest` : "silent";
  }
}

function share(db) {
  return Math.min(Math.max(1 - db / LOWEST_DB, 0), 1);
}

function inDb(db) {
  return db.toFixed(1).replace("-", "−");
}
