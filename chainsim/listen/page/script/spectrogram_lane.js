// @ts-check
/** Which partials sound, moment by moment. */

const MARKS_HZ = [100, 200, 500, 1000, 2000, 5000, 10000];
const LEAST_GAP = 16;
const LIGHT = "#ffffff";
const SHADE = "rgb(0 0 0 / 55%)";
const pictures = new Map();

/**
 * @param {import("./lane.js").Surface} surface
 * @param {Object} sound
 * @param {() => void} again called when the picture is there, if it was not yet
 * @returns {string}
 */
export function paintSpectrogram({ pen, width, height }, sound, again) {
  const picture = pictureOf(sound, again);
  if (!picture.complete) return "";
  const [lowHz, highHz] = sound.spectrogramHz;
  pen.drawImage(picture, 0, 0, width, height);
  const octaves = Math.log2(highHz / lowHz);
  pen.lineWidth = 3;
  pen.lineJoin = "round";
  let above = height + LEAST_GAP;
  for (const hz of MARKS_HZ) {
    const y = height * (1 - Math.log2(hz / lowHz) / octaves);
    if (y < 12 || y > height - 4 || above - y < LEAST_GAP) continue;
    above = y;
    const text = hz < 1000 ? `${hz} Hz` : `${hz / 1000} kHz`;
    pen.strokeStyle = SHADE;
    pen.strokeText(text, 6, y + 4);
    pen.fillStyle = LIGHT;
    pen.fillText(text, 6, y + 4);
  }
  return `${sound.name}: ${Math.round(lowHz)} to ${Math.round(highHz)} Hz, the lowest at the bottom.`;
}

function pictureOf(sound, again) {
  const known = pictures.get(sound.key);
  if (known && known.src === sound.spectrogram) return known;
  const picture = new Image();
  picture.addEventListener("load", again, { once: true });
  picture.src = sound.spectrogram;
  pictures.set(sound.key, picture);
  return picture;
}
