// @ts-check
/** What sounds, over time: waveform, spectrogram, pitch; a press goes there, a drag repeats a part. */

import { el } from "./dom.js";
import { Lane } from "./lane.js";
import { paintPitch } from "./pitch_lane.js";
import { paintSpectrogram } from "./spectrogram_lane.js";
import { onThemeChange } from "./theme.js";
import { whilePlaying } from "./ticking.js";
import { paintTimes } from "./time_lane.js";
import { fullSwing, paintWaveform } from "./waveform_lane.js";

const STILL_MS = 250;
const DRAG_PX = 6;
const SHORTEST_S = 0.05;

/**
 * @param {HTMLElement} root
 * @param {{player: import("./player.js").Player, shelf: import("./shelf.js").SoundShelf, data: Object}} app
 * @param {import("./loop_controls.js").LoopControls} loops
 */
export function setUpTimeline(root, { player, shelf, data }, loops) {
  const sound = () => {
    const { current, hidden } = player;
    return current === null || hidden || !shelf.has(current) ? null : shelf.sound(current);
  };
  const take = () => shelf.keys("take").map((key) => shelf.sound(key))[0] ?? null;
  const full = () =>
    fullSwing(["take", "version"].flatMap((role) => shelf.keys(role)).map((key) => shelf.sound(key)));
  const lanes = [
    new Lane("waveform", "Waveform: how far the air swings, beside the widest of all", (surface) => {
      const shown = sound();
      return shown ? paintWaveform(surface, shown, full()) : "Not shown now.";
    }),
    new Lane("spectrogram", "Spectrogram: which partials sound; the lowest at the bottom", (surface) => {
      const shown = sound();
      return shown && shown.spectrogram ? paintSpectrogram(surface, shown, paint) : "Not shown now.";
    }),
    new Lane("pitch", "Pitch: what you hear, over the take’s broad grey line; concert pitch", (surface) => {
      const shown = sound();
      return shown ? paintPitch(surface, shown, take(), player.seconds) : "Not shown now.";
    }),
    new Lane("times", "Time", (surface) => paintTimes(surface, data.startsAt, player.seconds || 1)),
  ];
  const [, spectrogram, pitch] = lanes;
  const playhead = el("div", { class: "playhead" });
  const part = el("div", { class: "part", hidden: true });
  const veil = el("p", { class: "veil", hidden: true }, "Hidden while you judge by ear.");
  const pictures = el("div", { class: "lanes" }, ...lanes.flatMap((lane) => [lane.caption, lane.canvas]));
  pictures.append(part, playhead, veil);
  root.append(pictures);

  function paint() {
    const shown = sound();
    const drawn = shown !== null;
    veil.hidden = !player.hidden;
    playhead.hidden = player.hidden;
    for (const [lane, wanted] of [
      [spectrogram, player.hidden || (drawn && shown.spectrogram)],
      [pitch, player.hidden || (drawn && (shown.pitch.length > 0 || shown.spectrogram))],
    ]) {
      lane.canvas.hidden = !wanted;
      lane.caption.hidden = !wanted;
    }
    for (const lane of lanes) lane.paint();
    showPlace();
    showPart(player.loop);
  }

  function showPlace() {
    const share = player.seconds ? player.position / player.seconds : 0;
    playhead.style.transform = `translateX(${share * pictures.clientWidth}px)`;
  }

  function showPart(loop) {
    part.hidden = !loop;
    if (!loop) return;
    part.style.left = `${(100 * loop.from) / player.seconds}%`;
    part.style.width = `${(100 * (loop.to - loop.from)) / player.seconds}%`;
  }

  followPointer(pictures, {
    seconds: () => player.seconds,
    press: (at) => player.seek(at),
    drag: (loop) => showPart(loop),
    done: (loop) => loops.set(loop),
    lost: () => showPart(player.loop),
  });
  new ResizeObserver(paint).observe(pictures);
  onThemeChange(paint);
  for (const type of ["hidden", "renewed"]) player.addEventListener(type, paint);
  player.addEventListener("sound", () => {
    if (!player.hidden) paint();
  });
  player.addEventListener("loop", () => showPart(player.loop));
  for (const type of ["seek", "state"]) player.addEventListener(type, showPlace);
  whilePlaying(player, showPlace, STILL_MS);
  paint();
}

/** A press, or a drag from one place to another. */
function followPointer(element, { seconds, press, drag, done, lost }) {
  let from = null;
  let dragged = null;
  const placeOf = (event) => {
    const box = element.getBoundingClientRect();
    return Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1) * seconds();
  };
  const forget = () => {
    from = null;
    dragged = null;
  };
  element.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    element.setPointerCapture(event.pointerId);
    from = { x: event.clientX, at: placeOf(event) };
  });
  element.addEventListener("pointermove", (event) => {
    if (!from || (!dragged && Math.abs(event.clientX - from.x) < DRAG_PX)) return;
    const at = placeOf(event);
    dragged = { from: Math.min(from.at, at), to: Math.max(from.at, at) };
    drag(dragged);
  });
  element.addEventListener("pointerup", () => {
    if (dragged && dragged.to - dragged.from >= SHORTEST_S) done(dragged);
    else if (dragged) lost();
    else if (from) press(from.at);
    forget();
  });
  element.addEventListener("pointercancel", () => {
    lost();
    forget();
  });
}
