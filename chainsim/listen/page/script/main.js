// @ts-check
/** Puts the page together. */

import { setUpFoot } from "./foot.js";
import { setUpLesson } from "./lesson.js";
import { Player } from "./player.js";
import { SoundShelf } from "./shelf.js";
import { setUpTrials } from "./trials.js";
import { setUpVersions } from "./versions.js";

const FEATURES = [
  ["versions", setUpVersions],
  ["trials", setUpTrials],
  ["foot", setUpFoot],
  ["lesson", setUpLesson],
];

function begin() {
  const data = JSON.parse(document.getElementById("page-data")?.textContent ?? "{}");
  const shelf = new SoundShelf(data);
  const player = new Player(shelf, data);
  const app = { data, shelf, player };
  window.chainsimPage = app;
  for (const [id, setUp] of FEATURES) {
    const root = document.getElementById(id);
    if (root) setUp(root, app);
  }
}

begin();
