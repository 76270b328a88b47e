// @ts-check
/** Foot at the keys: a set's board, pressed along with the take; what is pressed becomes a list of cues. */

import { saveFile } from "./answers.js";
import { Board, heardKey, positionText } from "./board.js";
import { NEAR_MS } from "./cue_check.js";
import { cueFile, cueFileName } from "./cue_list.js";
import { el, say } from "./dom.js";
import { ownCueTable, pressTable } from "./foot_lists.js";
import { FootSwitches } from "./foot_switches.js";
import { report } from "./notices.js";
import { Pace } from "./pace.js";
import { PressList } from "./press_list.js";
import { whilePlaying } from "./ticking.js";

const MUTE_S = 0.005;
const LOOK_EVERY_MS = 15;
const JUMP_MS = 50;

/**
 * @param {HTMLElement} root
 * @param {{data: Object, player: import("./player.js").Player, shelf: import("./shelf.js").SoundShelf}} app
 */
export function setUpFoot(root, app) {
  app.foot = new FootPanel(root, app.data.foot, app.player);
}

/** Board, display, lists, and what they do to the player. */
class FootPanel {
  constructor(root, plain, player) {
    this._root = root;
    this._plain = plain;
    this._player = player;
    this._sounds = new Map(plain.sounds.map((sound) => [heardKey(sound), sound.sound]));
    this._keys = new Set(this._sounds.values());
    this._startMs = 1000 * plain.startsS;
    this.board = new Board(plain.board);
    this.pace = new Pace(this.board, plain.foot);
    this.list = new PressList(this.board);
    this._heardCount = 0;
    this._floorMs = this._lastMs = this._reachedMs = this._startMs;
    this._engaged = false;
    this.switches = new FootSwitches(this.board, plain.foot.holdMs, {
      act: (gesture) => this._act(gesture),
      allowed: () => !player.hidden,
    });
    this._build();
    this._listen();
    this._show();
  }

  get _nowMs() {
    return this._startMs + 1000 * this._player.position;
  }

  get _position() {
    return this.list.positionAfter(this._heardCount);
  }

  _build() {
    const button = (text, act, kind = "") =>
      el("button", { type: "button", class: `button ${kind}`.trim(), on: { click: act } }, text);
    this._bank = el("span", { class: "foot-bank" });
    this._sound = el("strong", { class: "foot-sound" });
    this._hint = el("p", { class: "muted foot-hint" });
    this._undo = button("Undo", () => this._withdraw());
    this._clear = button("Clear all", () => this._clearAll());
    this._save = button("Save as cues", () => this._saveCues());
    this._presses = scrolled("Your presses");
    this._own = scrolled("The set's own cues");
    this._saved = el("p", { class: "note", hidden: true });
    const letters = /** @type {HTMLInputElement} */ (el("input", { type: "checkbox", checked: true }));
    letters.addEventListener("change", () => (this.switches.lettersOn = letters.checked));
    this._panel = el(
      "div",
      { class: "stack foot-panel" },
      el("div", { class: "foot-display" }, this._bank, this._sound),
      this.switches.element,
      this._hint,
      el(
        "div",
        { class: "row" },
        button("Play from the top", () => this._fromTheTop(), "primary"),
        this._undo,
        this._clear,
        this._save,
      ),
      el("label", { class: "foot-letters" }, letters, "The letters press the switches from anywhere on this page"),
      this._saved,
      el(
        "div",
        { class: "foot-lists" },
        el("div", { class: "stack" }, el("h3", {}, "Your presses"), this._presses),
        this._plain.cues.length === 0
          ? null
          : el("div", { class: "stack" }, el("h3", {}, "The set's own cues"), this._own),
      ),
    );
    this._root.append(this._panel);
  }

  _listen() {
    const player = this._player;
    player.addEventListener("sound", ({ detail }) => {
      if (!this._keys.has(detail.key)) this._disengage();
    });
    player.addEventListener("seek", () => this._jump());
    player.addEventListener("loop", () => this._jump());
    player.addEventListener("state", () => this._follow());
    player.addEventListener("hidden", () => {
      this._panel.hidden = player.hidden;
      if (player.hidden) this._disengage();
    });
    whilePlaying(player, () => this._follow(), LOOK_EVERY_MS);
  }

  /** A gesture acts now. */
  _act(gesture) {
    this._follow();
    const before = this._position;
    const press = this.list.add(gesture, Math.max(this._nowMs, this._floorMs));
    this._floorMs = press.actsMs;
    this._heardCount = this.list.presses.length;
    this._reachedMs = Math.max(this._reachedMs, press.actsMs);
    this._engage();
    this._show();
    const moved = press.position.bank !== before.bank;
    const bank = moved ? `bank ${this.board.banks[press.position.bank].name}, ` : "";
    say(`${bank}${positionText(press.position)}`);
  }

  /** Let the board stand where the presses so far have brought it. */
  _follow() {
    const nowMs = this._nowMs;
    if (nowMs < this._lastMs - JUMP_MS) this._floorMs = this._startMs;
    this._lastMs = nowMs;
    if (this._player.playing && this._engaged) {
      const before = this._reachedMs;
      this._reachedMs = Math.max(before, nowMs);
      if (this._dueBetween(before, this._reachedMs)) this._showCues();
    }
    const count = this.list.countUntil(Math.max(nowMs, this._floorMs));
    if (count === this._heardCount) return;
    this._heardCount = count;
    if (this._engaged) this._engage();
    this._show();
  }

  _jump() {
    this._floorMs = this._startMs;
    this._follow();
  }

  /** Whether something is to be said anew of a cue of the set. */
  _dueBetween(fromMs, toMs) {
    return this._plain.cues.some(({ actsS }) => {
      const toldMs = 1000 * actsS + NEAR_MS;
      return toldMs > fromMs && toldMs <= toMs;
    });
  }

  /** Let the page play what the board gives. */
  _engage() {
    const player = this._player;
    if (!this._engaged) {
      this._engaged = true;
      player.setLevels("as it comes"); // as on stage, where patches are as loud as they are
    }
    const key = this._sounds.get(heardKey(this._position));
    this._mute(key === undefined);
    if (key !== undefined && key !== player.current) player.choose(key).catch(report);
    this._prepare();
  }

  _disengage() {
    if (!this._engaged) return;
    this._engaged = false;
    this._mute(false);
    this._show();
  }

  _mute(silent) {
    const { output, context } = this._player;
    output.gain.setTargetAtTime(silent ? 0 : 1, context.currentTime, MUTE_S);
  }

  /** Have ready what the next press may call. */
  _prepare() {
    const next = this.board.switches.flatMap(({ name }) =>
      ["press", "hold"].map((kind) => heardKey(this.board.after(this._position, { switch: name, kind }))),
    );
    const keys = new Set(next.map((heard) => this._sounds.get(heard)).filter((key) => key !== undefined));
    this._player.prepare([...keys]).catch(report);
  }

  _fromTheTop() {
    this._floorMs = this._startMs;
    this._player.seek(0);
    this._heardCount = this.list.countUntil(this._startMs);
    this._engage();
    this._show();
    this._player.play(this._sounds.get(heardKey(this._position))).catch(report);
  }

  _withdraw() {
    this.list.undo();
    this._changed("undone");
  }

  _clearAll() {
    this.list.clear();
    this._reachedMs = this._startMs;
    this._changed("cleared");
  }

  _changed(what) {
    this._heardCount = this.list.countUntil(Math.max(this._nowMs, this._floorMs));
    if (this._engaged) this._engage();
    this._show();
    say(`${what}: ${positionText(this._position)}`);
  }

  _saveCues() {
    const name = cueFileName(this._plain.title);
    saveFile(name, cueFile(this.list.presses, this.pace), "text/csv");
    this._saved.hidden = false;
    this._saved.replaceChildren(
      `Saved as ${name}. Put it beside the sketch and write `,
      el("code", {}, `cue_file = "${name}"`),
      " at the top of the sketch, in the place of the cues it has. ",
      el("code", {}, "chainsim check"),
      " then tells what your foot does, and a render is what the audience hears.",
    );
    say(`Saved as ${name}`);
  }

  _show() {
    const position = this._position;
    const bank = this.board.banks[position.bank]?.name;
    this._bank.textContent = bank === undefined ? "" : `bank ${bank}`;
    this._sound.textContent = positionText(position);
    this._hint.textContent = this._hintText(position);
    this.switches.show(position);
    const none = this.list.presses.length === 0;
    this._undo.toggleAttribute("disabled", !this.list.canUndo);
    this._clear.toggleAttribute("disabled", none);
    this._save.toggleAttribute("disabled", none);
    this._presses.replaceChildren(
      none
        ? el("p", { class: "muted" }, "None yet.")
        : pressTable(this.list, this.pace, this._plain.bars, this._heardCount),
    );
    this._showCues();
  }

  _showCues() {
    if (this._plain.cues.length > 0) {
      this._own.replaceChildren(ownCueTable(this._plain.cues, this.list, this._reachedMs));
    }
  }

  _hintText(position) {
    if (!position.muted && !this._sounds.has(heardKey(position))) {
      return "This sound is not on this page: silence.";
    }
    if (!this._engaged) return "The page plays another sound now. Any press brings this board back.";
    return "Hold a key to hold its switch. Go back and press anew: what came later is replaced.";
  }
}

function scrolled(label) {
  return el("div", { class: "table-scroll", tabindex: "0", role: "region", "aria-label": label });
}
