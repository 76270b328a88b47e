// @ts-check
/** A page beside the board: asks once a second whether it was written anew, and takes that up. */

import { el, say } from "./dom.js";
import { followed } from "./following.js";
import { Heartbeat } from "./heartbeat.js";
import { report, withdraw } from "./notices.js";
import { renewSection, renewShown } from "./renewal.js";

const PERIOD_MS = 1000;

/**
 * @param {HTMLElement} root where it says what it does
 * @param {{player: import("./player.js").Player, shelf: import("./shelf.js").SoundShelf, data: Object}} app
 * @param {() => void} setUpFootAnew called when the board's section was written anew
 */
export function setUpWatch(root, { player, shelf, data }, setUpFootAnew) {
  let stamp = data.stamp;
  let waiting = false;
  let taken = "";
  let unread = false;
  const heartbeat = new Heartbeat();
  const state = el("p", { class: "muted watch-state" });
  const word = el("p", { class: "note warn", role: "alert", hidden: true });
  root.append(state, word);

  const tellState = () => {
    const text = heartbeat.words(Date.now(), unread, taken);
    if (state.textContent !== text) state.textContent = text;
  };
  window.chainsimNow = ({ stamp: newest, says, time }) => {
    heartbeat.heard(time, Date.now());
    tellState();
    word.textContent = says ?? "";
    word.hidden = !says;
    if (!newest || newest === stamp || waiting || player.hidden) return;
    waiting = true;
    // However that ends, it is asked for again: it may not be there, hand over nothing, or be damaged.
    load(`page.js?${newest}`, () => {
      takingUp.finally(() => {
        waiting = false;
      });
    });
  };

  let takingUp = Promise.resolve();
  window.chainsimWhole = (text) => {
    takingUp = takeUp(text).catch(report);
  };

  async function takeUp(text) {
    const written = new DOMParser().parseFromString(text, "text/html");
    const now = JSON.parse(written.getElementById("page-data")?.textContent ?? "");
    const focusedKey = document.activeElement?.getAttribute("data-version") ?? null;
    const [before, asked, focused] = [player.current, player.asked, focusedKey].map((key) =>
      key !== null && shelf.has(key) ? shelf.sound(key) : null,
    );
    const names = new Set(data.sounds.map(({ name }) => name));
    const footBefore = JSON.stringify(data.foot);
    stamp = now.stamp;
    for (const key of Object.keys(data)) delete data[key];
    Object.assign(data, now);
    shelf.replaceAll(now.sounds);
    withdraw();
    const found = followed(before, now.sounds, names);
    const key = found ?? now.versions[0] ?? shelf.keys()[0];
    if (before) player.rename(key);
    if (!before || shelf.sound(key).digest !== before.digest) await player.choose(key).catch(report);
    else player.renewLevel();
    const askedNow = followed(asked, now.sounds, names);
    if (askedNow !== null && before) player.choose(askedNow).catch(report);
    renewShown(written);
    if (JSON.stringify(data.foot) !== footBefore) {
      renewSection("foot", written);
      setUpFootAnew();
    }
    const trials = document.getElementById("trials");
    if (trials) trials.hidden = written.getElementById("trials")?.hidden ?? true;
    player.dispatchEvent(new CustomEvent("renewed"));
    const focusedNow = followed(focused, now.sounds, names);
    document.querySelector(`[data-version="${CSS.escape(focusedNow ?? "")}"]`)?.focus();
    const gone =
      before && found === null ? `“${before.name}” is gone; you hear “${shelf.sound(key).name}”.` : "";
    taken = `Last taken up at ${new Date().toLocaleTimeString()}. ${gone}`.trim();
    tellState();
    say(`A new version was taken up. ${gone}`.trim());
  }

  const ask = () =>
    load(`now.js?${Date.now()}`, ({ type }) => {
      unread = type === "error";
      tellState();
    });
  setInterval(ask, PERIOD_MS);
  tellState();
}

function load(source, done) {
  const script = document.createElement("script");
  for (const type of ["load", "error"]) {
    script.addEventListener(type, (event) => {
      script.remove();
      done(event);
    });
  }
  script.src = source;
  document.head.append(script);
}
