// @ts-check
/** Foot at the keys: a set's board, pressed along with the take; what is pressed becomes a list of cues. */

import { Board, positionText } from "./board.js";
import { NEAR_MS } from "./cue_check.js";
import { say } from "./dom.js";
import { FootCourse } from "./foot_course.js";
import { FootPanel } from "./foot_panel.js";
import { savePresses } from "./foot_saving.js";
import { FootSound } from "./foot_sound.js";
import { FootSwitches } from "./foot_switches.js";
import { report } from "./notices.js";
import { Pace } from "./pace.js";
import { PressList } from "./press_list.js";

const LOOK_EVERY_MS = 15;

/** @typedef {{presses: import("./press_list.js").Press[], reachedMs: number, engaged: boolean}} Left */

/** @type {Left} */
const NOTHING_LEFT = { presses: [], reachedMs: 0, engaged: false };

/**
 * Put the board of `app.data.foot` under `root`, if there is one. It goes on where one that was closed
 * before was left.
 * @param {HTMLElement} root
 * @param {{data: Object, player: import("./player.js").Player, foot?: FootAtKeys}} app
 * @returns {{close: () => void}} takes all of it away again
 */
export function setUpFoot(root, app) {
  if (!app.data.foot) return { close: () => undefined };
  app.foot = new FootAtKeys(root, app.data.foot, app.player, app.foot?.left ?? NOTHING_LEFT);
  return app.foot;
}

/** Goes between board, player and page. */
class FootAtKeys {
  constructor(root, plain, player, left) {
    this._plain = plain;
    this._player = player;
    this._ending = new AbortController();
    this._timer = 0;
    const { signal } = this._ending;
    this.board = new Board(plain.board);
    this.list = new PressList(this.board);
    this.list.takeOver(left.presses);
    this._pace = new Pace(this.board, plain.foot);
    this._course = new FootCourse(this.list, 1000 * plain.startsS);
    this._sound = new FootSound(plain.sounds, this.board, player, signal);
    const pressing = { act: (gesture) => this._act(gesture), allowed: () => !player.hidden };
    const switches = new FootSwitches(this.board, plain.foot.holdMs, pressing, signal);
    this._panel = new FootPanel(plain, this._pace, switches, {
      fromTheTop: () => this._fromTheTop(),
      undo: () => this._change("undone", () => this._course.undo(this._nowMs)),
      clear: () => this._change("cleared", () => this._course.clear(this._nowMs)),
      save: () => this._panel.tellSaved(savePresses(plain, this.list.presses, this._pace)),
      letters: (on) => (switches.lettersOn = on),
    });
    root.append(this._panel.element);
    this._listen(signal);
    this._course.reach(left.reachedMs);
    this._course.follow(this._nowMs);
    if (left.engaged && this._sound.owns(player.current)) this._sound.engage(this._course.position);
    this._show();
  }

  /** Take it away; the player goes on without it. */
  close() {
    const { list, reachedMs } = this._course;
    /** @type {Left} for the board that comes after it */
    this.left = { presses: list.presses, reachedMs, engaged: this._sound.engaged };
    this._ending.abort();
    window.clearInterval(this._timer);
    this._sound.leave();
    this._panel.element.remove();
  }

  get _nowMs() {
    return 1000 * (this._plain.startsS + this._player.position);
  }

  _listen(signal) {
    const player = this._player;
    const on = (type, act) => player.addEventListener(type, act, { signal });
    on("sound", ({ detail }) => {
      if (!this._sound.owns(detail.key)) this._leave();
    });
    on("seek", () => this._jump());
    on("loop", () => this._jump());
    on("state", () => this._look());
    on("hidden", () => this._hide());
    this._hide();
    this._look();
  }

  /** Follow the take at short intervals as long as it plays. */
  _look() {
    window.clearInterval(this._timer);
    if (this._player.playing) this._timer = window.setInterval(() => this._follow(), LOOK_EVERY_MS);
    this._follow();
  }

  _hide() {
    this._panel.element.hidden = this._player.hidden;
    if (this._player.hidden) this._leave();
  }

  /** A gesture acts now. */
  _act(gesture) {
    this._follow();
    const before = this._course.position;
    this._course.press(gesture, this._nowMs);
    const { position } = this._course;
    this._sound.engage(position);
    this._show();
    const moved = position.bank !== before.bank;
    say(`${moved ? `bank ${this.board.banks[position.bank].name}, ` : ""}${positionText(position)}`);
  }

  /** Let the board stand where the presses so far have brought it. */
  _follow() {
    const course = this._course;
    const nowMs = this._nowMs;
    if (this._player.playing && this._sound.engaged) {
      const before = course.reachedMs;
      course.reach(nowMs);
      if (this._dueBetween(before, course.reachedMs)) this._panel.showCues(course);
    }
    if (course.follow(nowMs)) this._stand();
  }

  _jump() {
    if (this._course.jump(this._nowMs)) this._stand();
  }

  /** The board stands elsewhere: hear and see it, if it has the player. */
  _stand() {
    if (this._sound.engaged) this._sound.engage(this._course.position);
    this._show();
  }

  _leave() {
    if (!this._sound.engaged) return;
    this._sound.leave();
    this._show();
  }

  _fromTheTop() {
    this._player.seek(0);
    this._course.jump(1000 * this._plain.startsS);
    const { position } = this._course;
    this._sound.engage(position);
    this._show();
    this._player.play(this._sound.keyAt(position)).catch(report);
  }

  _change(what, act) {
    act();
    this._stand();
    say(`${what}: ${positionText(this._course.position)}`);
  }

  /** Whether something is to be said anew of a cue of the set. */
  _dueBetween(fromMs, toMs) {
    return this._plain.cues.some(({ actsS }) => {
      const toldMs = 1000 * actsS + NEAR_MS;
      return toldMs > fromMs && toldMs <= toMs;
    });
  }

  _show() {
    this._panel.show(this._course, this._hint(this._course.position));
  }

  _hint(position) {
    if (!position.muted && this._sound.keyAt(position) === undefined) {
      return "This sound is not on this page: silence.";
    }
    if (!this._sound.engaged) return "The page plays another sound now. Any press brings this board back.";
    return "Hold a key to hold its switch. Go back and press anew: what came later is replaced.";
  }
}
