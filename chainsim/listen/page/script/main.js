// @ts-check
/** Puts the page together. */

import { decodeAhead } from "./ahead.js";
import { newAudioContext } from "./audio_context.js";
import { el } from "./dom.js";
import { setUpDrawingSizes } from "./drawing_size.js";
import { setUpFoot } from "./foot.js";
import { setUpKeyboard } from "./keyboard.js";
import { setUpLesson } from "./lesson.js";
import { levelChoice } from "./level_choice.js";
import { LoopControls } from "./loop_controls.js";
import { levelMeter } from "./meter.js";
import { report, setUpNotices } from "./notices.js";
import { setUpPlainPlayers } from "./plain_players.js";
import { Player } from "./player.js";
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
  const context = newAudioContext(data.sampleRate);
  if (!context) {
    withElement("notices", (root) => setUpPlainPlayers(root, shelf));
    return;
  }
  const player = new Player(shelf, context);
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
  const setUpFootAnew = footPlace(app);
  setUpFootAnew();
  withElement("lesson", (root) => setUpLesson(root, app));
  setUpWires(app);
  setUpDrawingSizes(app);
  if (data.stamp) withElement("watch", (root) => setUpWatch(root, app, setUpFootAnew));
  if (data.versions?.length) {
    decodeAhead(app);
    player.choose(data.versions[0]).catch(report);
  }
}

/** Sets up the board of the page as it is now, in the place of the one that was there. */
function footPlace(app) {
  let board = null;
  return () => {
    board?.close();
    board = null;
    withElement("foot", (root) => {
      if (app.data.foot) board = setUpFoot(root, app);
    });
  };
}

function withElement(id, act) {
  const element = document.getElementById(id);
  if (element) act(element);
}

begin();
