"""How the page deals with a browser's way out for sound: asleep, late, and with a telephone's ringer off."""

from __future__ import annotations

from tests.listen.page.node import answer_of, needs_node

pytestmark = needs_node

FAKES = """
const node = () => ({ connect: (to) => to, disconnect() {} });
const param = (value) => ({
  value, done: [],
  setValueAtTime(v) { this.done.push(["set", v]); this.value = v; },
  linearRampToValueAtTime(v) { this.done.push(["line", v]); },
  exponentialRampToValueAtTime(v) { this.done.push(["curve", v]); },
  cancelScheduledValues() { this.done.push(["cancel"]); this.value = 1; },
});
class Context extends EventTarget {
  constructor(options) {
    super();
    Object.assign(this, { options, state: "suspended", currentTime: 0, sampleRate: 48000, destination: node() });
  }
  createGain() { return Object.assign(node(), { context: this, gain: param(1) }); }
  resume() { return new Promise(() => {}); }
  wake() { this.state = "running"; this.dispatchEvent(new Event("statechange")); }
}
const started = [];
globalThis.window = {};
Object.defineProperty(globalThis, "navigator", { value: { audioSession: { type: "auto" } } });
globalThis.AudioContext = Context;
globalThis.GainNode = class {
  constructor(context, { gain }) { Object.assign(this, node(), { context, gain: param(gain) }); }
};
globalThis.AudioBufferSourceNode = class extends EventTarget {
  constructor() { super(); Object.assign(this, node(), { start: (at) => started.push(at), stop() {} }); }
};
const { Player } = await import("./player.js");
const shelf = {
  sampleRate: 48000,
  keys: () => ["take"],
  sound: (key) => ({ key, scene: "take", frames: 48000, asItComesDb: 0 }),
  decoded: async () => ({}),
  hold: (keys) => keys,
};
const soon = () => new Promise((resolve) => setTimeout(resolve));
"""


def test_what_was_pressed_begins_when_the_way_out_wakes_late() -> None:
    # Wireless headphones can take seconds; the press must neither be lost nor, once taken back, be obeyed.
    told = answer_of(f"""{FAKES}
        const tries = [];
        for (const pause of [false, true]) {{
          started.length = 0;
          const context = new Context({{}});
          const player = new Player(shelf, context);
          const events = [];
          for (const type of ["blocked", "state"]) player.addEventListener(type, () => events.push(type));
          await player.play("take");
          const before = [...events, player.playing];
          if (pause) player.pause();
          context.wake();
          await soon();
          tries.push([before, events, player.playing, started.length]);
        }}
        answer(tries);
    """)
    assert told == [
        [["blocked", False], ["blocked", "state"], True, 1],
        [["blocked", False], ["blocked"], False, 0],
    ]


def test_a_ringer_that_is_off_does_not_silence_the_page() -> None:
    # Audio Session, W3C working draft: of type "playback" is what a page plays as its purpose.
    kind, rate, without = answer_of(f"""{FAKES}
        const {{ newAudioContext }} = await import("./audio_context.js");
        const {{ options }} = newAudioContext(44100);
        const {{ type }} = navigator.audioSession;
        Object.defineProperty(globalThis, "AudioContext", {{ value: undefined }});
        answer([type, options.sampleRate, newAudioContext(44100)]);
    """)
    assert (kind, rate, without) == ("playback", 44100, None)


def test_a_browser_that_cannot_decode_is_told_what_to_do() -> None:
    told = answer_of(f"""{FAKES}
        const {{ SoundShelf }} = await import("./shelf.js");
        const sounds = ["audio/flac", "audio/mpeg"].map((mime) => ({{ key: mime, name: "tide", mime, digest: mime }}));
        const shelfOfTwo = new SoundShelf({{ sampleRate: 48000, sounds }});
        shelfOfTwo.bytes = async () => new Uint8Array(1);
        const context = {{ decodeAudioData: () => Promise.reject(new Error("Decoding failed")) }};
        const faults = sounds.map(({{ key }}) => shelfOfTwo.decoded(key, context).catch((error) => error.message));
        answer(await Promise.all(faults));
    """)
    ways = (
        "Another browser may know FLAC; or make the page again with",
        "Another browser may know MP3; or make the page again without",
    )
    assert told == [f"“tide” cannot be decoded. {way} --lossy" for way in ways]


def test_a_slow_rise_goes_on_from_where_it_is() -> None:
    # As in Firefox, the fake forgets where a ramp was once its end is cancelled.
    done = answer_of(f"""{FAKES}
        const {{ Voice }} = await import("./voice.js");
        const context = new Context({{}});
        const how = {{ at: 0, from: 0, until: 1, loop: null, gain: 0.25 }};
        const voice = new Voice(context.createGain(), {{}}, how);
        const {{ gain }} = voice._level;
        gain.value = 0.4;
        voice.setGain(0.25);
        gain.value = 0.25;
        voice.setGain(1);
        answer(gain.done);
    """)
    assert done == [["cancel"], ["set", 0.4], ["line", 0.25], ["cancel"], ["set", 0.25], ["curve", 1]]
