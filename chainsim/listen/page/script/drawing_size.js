// @ts-check
/** How large a drawing is: as it was drawn, or, where there is little room, as small as can still be read. */

/** Of its size as drawn: letters of 13 pixels have 8 then. */
const SMALLEST = 0.6;

/**
 * The share of its size at which a drawing is shown.
 * @param {number} width as drawn
 * @param {number} room
 * @returns {number}
 */
export function drawnShare(width, room) {
  return Math.min(1, Math.max(SMALLEST, room / width));
}

/** @param {{player: import("./player.js").Player}} app */
export function setUpDrawingSizes({ player }) {
  const watcher = new ResizeObserver((entries) => {
    for (const { target, contentRect } of entries) fit(target, contentRect.width);
  });
  const find = () => {
    watcher.disconnect();
    for (const frame of document.querySelectorAll(".drawing-frame")) watcher.observe(frame);
  };
  player.addEventListener("renewed", find);
  find();
}

function fit(frame, room) {
  const drawing = frame.querySelector("svg.drawing");
  const width = Number(drawing?.getAttribute("width"));
  if (width > 0 && room > 0) drawing.style.width = `${width * drawnShare(width, room)}px`;
}
