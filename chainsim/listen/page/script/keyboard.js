// @ts-check
/** What can be done from the keyboard, and where it is written down. */

import { el, say } from "./dom.js";
import { report } from "./notices.js";

const STEP_S = 1;
const LONG_STEP_S = 5;
const TYPED_IN = "input:not([type=radio], [type=checkbox], [type=range], [type=button]), textarea, select";
const PRESSED_BY_SPACE = "button, summary, a[href], input, [role=button], [role=radio], [tabindex='0']";
const MOVED_BY_ARROWS =
  "input[type=radio], input[type=range]:not(#position), [role=slider], [role=radio], pre, [role=region]";

const LINES = [
  [["Space"], "play, pause"],
  [["1", "…", "9"], "that version"],
  [["0"], "the take"],
  [["N"], "the next version, also from 10 on; with Shift the one before"],
  [["←", "→"], "one second back, on; with Shift five"],
  [["F"], "repeat from here"],
  [["T"], "repeat up to here"],
  [["L"], "repeat, or no longer"],
];

/**
 * @param {HTMLElement} root where they are written down
 * @param {{player: import("./player.js").Player, shelf: import("./shelf.js").SoundShelf, data: Object}} app
 * @param {import("./loop_controls.js").LoopControls} loops
 */
export function setUpKeyboard(root, { player, shelf, data }, loops) {
  const on = /** @type {HTMLInputElement} */ (el("input", { type: "checkbox", checked: true }));
  root.append(
    el(
      "details",
      {},
      el("summary", {}, "Keys"),
      el("label", { class: "row" }, on, "Keys of this page do something"),
      el(
        "dl",
        { class: "keys" },
        ...LINES.flatMap(([keys, does]) => [el("dt", {}, ...spelled(keys)), el("dd", {}, does)]),
      ),
    ),
  );

  const hear = (key) => {
    if (key === undefined || player.hidden) return;
    player.play(key).catch(report);
    say(shelf.sound(key).name);
  };
  const neighbour = (step) => {
    const keys = data.versions;
    const here = keys.indexOf(player.current);
    return keys[(here + step + keys.length) % keys.length];
  };
  const toggle = () => {
    if (player.playing) player.pause();
    else if (!player.hidden) player.play().catch(report);
  };
  const acts = {
    " ": toggle,
    0: () => hear(shelf.keys("take")[0]),
    n: () => hear(neighbour(1)),
    N: () => hear(neighbour(player.current === null ? 0 : -1)),
    f: () => loops.fromHere(),
    t: () => loops.toHere(),
    l: () => loops.toggle(),
  };

  document.addEventListener("keydown", (event) => {
    if (!on.checked || event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
    const target = /** @type {Element} */ (event.target);
    if (target.closest(TYPED_IN)) return;
    const { key } = event;
    let act = acts[key] ?? (event.shiftKey ? undefined : acts[key.toLowerCase()]);
    if (key === " " && target.closest(PRESSED_BY_SPACE)) return;
    if (key === "ArrowLeft" || key === "ArrowRight") {
      if (target.closest(MOVED_BY_ARROWS)) return;
      const step = (event.shiftKey ? LONG_STEP_S : STEP_S) * (key === "ArrowLeft" ? -1 : 1);
      act = () => player.seek(player.position + step);
    }
    if (/^[1-9]$/.test(key)) act = () => hear(data.versions[Number(key) - 1]);
    if (!act) return;
    event.preventDefault();
    if (key !== " " || !event.repeat) act();
  });
}

function spelled(keys) {
  return keys.flatMap((key, i) => [i ? " " : null, key === "…" ? "to" : el("kbd", {}, key)]);
}
