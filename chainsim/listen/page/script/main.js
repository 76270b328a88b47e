// @ts-check
/** Puts the page together. */

import { el } from "./dom.js";
import { setUpFoot } from "./foot.js";
import { setUpKeyboard } from "./keyboard.js";
import { setUpLesson } from "./lesson.js";
import { levelChoice } from "./level_choice.js";
import { LoopControls } from "./loop_controls.js";
import { levelMeter } from "./meter.js";
import { report, setUpNotices } from "./notices.js";
import { setUpPlainPlayers } from "./plain_players.js";
import { canPlayInTime, Player } from "./player.js";
import { SoundShelf } from "./shelf.js";
import { setUpTheme } from "./theme.js";
import { setUpTimeline } from "./timeline.js";
import { setUpTransport } from "./transport.js";
import { setUpTrials } from "./trials.js";
import { setUpVersions } from "./versions.js";
import { setUpWatch } from "./watch.js";
import { setUpWires } from "./wires.js";

function begin() {
  const data = JSON.parse(document.getElementById("page-data")?.textContent ?? "{}");
  const shelf = new SoundShelf(data);
  withElement("theme", setUpTheme);
  if (!canPlayInTime()) {
    withElement("notices", (root) => setUpPlainPlayers(root, shelf));
    return;
  }
  const player = new Player(shelf, data);
  const app = { data, shelf, player };
  const loops = new LoopControls(app);
  window.chainsimPage = app;
  withElement("notices", (root) => setUpNotices(root, app));
  withElement("transport", (root) => setUpTransport(root, app));
  withElement("versions", (root) => setUpVersions(root, app));
  withElement("timeline", (root) => {
    setUpTimeline(root, app, loops);
    root.append(loops.buttons(), el("div", { class: "listening-aids" }, levelChoice(app), levelMeter(app)));
  });
  withElement("shortcuts", (root) => setUpKeyboard(root, app, loops));
  withElement("trials", (root) => setUpTrials(root, app));
  withElement("foot", (root) => setUpFoot(root, app));
  withElement("lesson", (root) => setUpLesson(root, app));
  setUpWires(app);
  if (data.stamp) withElement("watch", (root) => setUpWatch(root, app));
  if (data.versions?.length) openWith(data.versions, app);
}

/** Have the first version ready at once, the others when there is time. */
function openWith(versions, { player, shelf }) {
  const others = () => player.prepare([...shelf.keys("take"), ...versions.slice(1, 9)]).catch(report);
  player
    .choose(versions[0])
    .then(() => (window.requestIdleCallback ? requestIdleCallback(others) : setTimeout(others)))
    .catch(report);
}

function withElement(id, act) {
  const element = document.getElementById(id);
  if (element) act(element);
}

begin();
