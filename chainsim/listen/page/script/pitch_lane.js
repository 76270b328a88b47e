// @ts-check
/** The pitch that was found, over that of the take. */

const NOTE_NAMES = ["C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B"];
const LADDERS = [[0, 2, 4, 5, 7, 9, 11], [0, 4, 7], [0, 7], [0]];
const LEAST_GAP = 15;
const MARGIN = 2;
const RARE = 0.01;

/**
 * @param {import("./lane.js").Surface} surface
 * @param {Object} sound
 * @param {Object|null} take
 * @param {number} seconds length of the lane
 * @returns {string}
 */
export function paintPitch({ pen, width, height, colour }, sound, take, seconds) {
  const beneath = take && take.key !== sound.key ? take.pitch : [];
  const range = rangeOf([...beneath, ...sound.pitch]);
  if (!range) return `${sound.name}: no pitch was found to follow.`;
  const { low, high } = range;
  const y = (note) => height * (1 - (note - low) / (high - low));
  const x = (t) => (width * t) / seconds;
  const perNote = height / (high - low);
  const ladder = LADDERS.find((steps) => perNote * smallestGap(steps) >= LEAST_GAP) ?? [0];
  for (let note = Math.ceil(low); note <= high; note += 1) {
    if (!ladder.includes(((note % 12) + 12) % 12)) continue;
    pen.fillStyle = colour("--line");
    pen.fillRect(0, Math.round(y(note)), width, 1);
    pen.fillStyle = colour("--muted");
    if (y(note) > 12 && y(note) < height - 2) pen.fillText(noteName(note), 6, y(note) - 3);
  }
  draw(pen, beneath, x, y, colour("--muted"), 5, 0.45);
  draw(pen, sound.pitch, x, y, colour("--accent"), 2, 1);
  const own = rangeOf(sound.pitch, 0);
  if (!own) return `${sound.name}: no pitch was found to follow; the take's is drawn.`;
  return `${sound.name}: from ${noteName(Math.round(own.low))} to ${noteName(Math.round(own.high))}.`;
}

/** Lowest and highest note, as MIDI note numbers, with some room around; what is rare does not count. */
function rangeOf(pieces, margin = MARGIN) {
  const notes = pieces.flatMap((piece) => piece.hz.map(midiNote)).sort((a, b) => a - b);
  if (notes.length === 0) return null;
  const rare = Math.floor(notes.length * RARE);
  return { low: notes[rare] - margin, high: notes[notes.length - 1 - rare] + margin };
}

function draw(pen, pieces, x, y, colour, width, opacity) {
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  pen.lineCap = "round";
  pen.lineJoin = "round";
  pen.globalAlpha = opacity;
  for (const piece of pieces) {
    pen.beginPath();
    piece.t.forEach((t, i) => pen.lineTo(x(t), y(midiNote(piece.hz[i]))));
    pen.stroke();
  }
  pen.globalAlpha = 1;
}

/** MIDI note number of a frequency; 69 is A4 at 440 Hz. */
function midiNote(hz) {
  return 69 + 12 * Math.log2(hz / 440);
}

function noteName(note) {
  return `${NOTE_NAMES[((note % 12) + 12) % 12]}${Math.floor(note / 12) - 1}`;
}

function smallestGap(steps) {
  return Math.min(...steps.map((step, i) => (steps[i + 1] ?? steps[0] + 12) - step));
}
