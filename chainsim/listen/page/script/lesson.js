// @ts-check
/** A lesson: the sounds of each step, in time, at one loudness or as they come. */

import { el, say, svgEl } from "./dom.js";
import { report } from "./notices.js";
import { whilePlaying } from "./ticking.js";

const LEVEL_WORDS = [
  ["equal", "at one loudness"],
  ["as it comes", "as loud as they come"],
];
const STILL_MS = 250;

/**
 * @param {HTMLElement} root
 * @param {{player: import("./player.js").Player, shelf: import("./shelf.js").SoundShelf}} app
 */
export function setUpLesson(root, { player, shelf }) {
  for (const step of root.querySelectorAll(".step")) setUpLessonStep(step, player, shelf);
  setUpLessonCurves(root, player);
}

function setUpLessonStep(step, player, shelf) {
  let levels = step.getAttribute("data-levels");
  const buttons = [...step.querySelectorAll("[data-hear]")];
  const keys = buttons.map((button) => button.getAttribute("data-hear"));
  let own = false;

  const hear = (key) => {
    if (own && key === player.current && player.playing) {
      player.pause();
      return;
    }
    step.dispatchEvent(new CustomEvent("lesson-step", { bubbles: true }));
    own = true;
    player.setLevels(levels);
    show();
    player
      .play(key)
      .then(() => player.prepare(keys))
      .catch(report);
    say(shelf.sound(key).name);
  };
  const show = () => {
    for (const button of buttons) {
      const chosen = own && button.getAttribute("data-hear") === player.current;
      button.setAttribute("aria-pressed", String(chosen));
      button.classList.toggle("sounding", chosen && player.playing);
    }
  };

  for (const button of buttons) {
    button.addEventListener("click", () => hear(button.getAttribute("data-hear")));
  }
  // A sound can stand in two steps: only the one that it was chosen in shows it.
  step.parentElement.addEventListener("lesson-step", (event) => {
    if (event.target !== step) own = false;
    show();
  });
  step.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
    const key = keys[Number(event.key) - 1];
    if (key) hear(key);
    else if (event.key.toLowerCase() === "p") hear(keys.includes(player.current) ? player.current : keys[0]);
    else return;
    event.preventDefault();
  });
  for (const type of ["sound", "state"]) player.addEventListener(type, show);

  const place = step.querySelector("[data-levels-root]");
  const choices = LEVEL_WORDS.map(([value, words]) => {
    const choice = el("button", { type: "button", class: "button" }, words);
    choice.addEventListener("click", () => {
      levels = value;
      if (own) player.setLevels(value);
      showLevels();
    });
    return choice;
  });
  const showLevels = () => {
    choices.forEach((choice, i) => choice.setAttribute("aria-pressed", String(LEVEL_WORDS[i][0] === levels)));
  };
  place.setAttribute("role", "group");
  place.setAttribute("aria-label", "Loudness");
  place.append("Heard", ...choices);
  showLevels();
}

/** In pictures over time, a line where the sound is. */
function setUpLessonCurves(root, player) {
  const lines = [...root.querySelectorAll("svg[data-seconds]")].map((svg) => {
    const [left, right, top, bottom] = svg.getAttribute("data-frame").split(" ").map(Number);
    const line = svgEl("path", { class: "curves-now", d: `M${left} ${top}V${bottom}`, visibility: "hidden" });
    svg.append(line);
    return { line, step: svg.closest(".step"), scale: (right - left) / Number(svg.getAttribute("data-seconds")) };
  });
  const show = () => {
    for (const { line, step, scale } of lines) {
      const shown = step.querySelector("[data-hear][aria-pressed='true']") !== null;
      line.setAttribute("visibility", shown ? "visible" : "hidden");
      line.setAttribute("transform", `translate(${(player.position * scale).toFixed(1)} 0)`);
    }
  };
  for (const type of ["sound", "state", "seek"]) player.addEventListener(type, show);
  root.addEventListener("lesson-step", show);
  whilePlaying(player, show, STILL_MS);
}
