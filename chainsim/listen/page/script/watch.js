// @ts-check
/** A page beside the board: asks once a second whether it was written anew, and takes that up. */

import { el, say } from "./dom.js";
import { report } from "./notices.js";

const PERIOD_MS = 1000;
const RENEWED = ["heading", "versions", "details"];

/**
 * @param {HTMLElement} root where it says what it does
 * @param {{player: import("./player.js").Player, shelf: import("./shelf.js").SoundShelf, data: Object}} app
 */
export function setUpWatch(root, { player, shelf, data }) {
  let stamp = data.stamp;
  let waiting = false;
  const state = el(
    "p",
    { class: "muted watch-state" },
    "Watching: a new version is taken up as soon as it is saved.",
  );
  const word = el("p", { class: "note warn", role: "alert", hidden: true });
  root.append(state, word);

  window.chainsimNow = ({ stamp: newest, says }) => {
    word.textContent = says ?? "";
    word.hidden = !says;
    if (!newest || newest === stamp || waiting || player.hidden) return;
    waiting = true;
    load(`page.js?${newest}`, () => {
      waiting = false;
    });
  };

  window.chainsimWhole = (text) => {
    const written = new DOMParser().parseFromString(text, "text/html");
    const now = JSON.parse(written.getElementById("page-data")?.textContent ?? "{}");
    takeUp(written, now)
      .catch(report)
      .finally(() => {
        waiting = false;
      });
  };

  async function takeUp(written, now) {
    const before = player.current !== null ? shelf.sound(player.current) : null;
    const opened = openDetails();
    stamp = now.stamp;
    for (const key of Object.keys(data)) delete data[key];
    Object.assign(data, now);
    shelf.replaceAll(now.sounds);
    const key = before && shelf.has(before.key) ? before.key : (now.versions[0] ?? shelf.keys()[0]);
    if (before && shelf.sound(key).digest !== before.digest) await player.choose(key);
    document.title = written.title;
    for (const id of RENEWED) {
      const fresh = written.getElementById(id);
      if (fresh) document.getElementById(id)?.replaceChildren(...fresh.childNodes);
    }
    restoreDetails(opened);
    player.dispatchEvent(new CustomEvent("renewed"));
    state.textContent = `Watching. Last taken up at ${new Date().toLocaleTimeString()}.`;
    say("A new version was taken up.");
  }

  setInterval(() => load(`now.js?${Date.now()}`, () => undefined), PERIOD_MS);
}

function load(source, failed) {
  const script = document.createElement("script");
  script.addEventListener("load", () => script.remove());
  script.addEventListener("error", () => {
    script.remove();
    failed();
  });
  script.src = source;
  document.head.append(script);
}

function openDetails() {
  return [...document.querySelectorAll("#details details")].map(
    (details) => /** @type {any} */ (details).open,
  );
}

function restoreDetails(opened) {
  document.querySelectorAll("#details details").forEach((details, i) => {
    /** @type {any} */ (details).open = opened[i] ?? false;
  });
}
