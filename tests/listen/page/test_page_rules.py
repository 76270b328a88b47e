"""What the page's script decides without a browser: what is followed, what is kept ready, how tall a wave is drawn."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.listen.page.node import answer_of, needs_node

pytestmark = needs_node

PROGRAM = """
globalThis.window = {};
Object.defineProperty(globalThis, "navigator", { value: { deviceMemory: 1 } });
const { followed } = await import("./following.js");
const { Heartbeat } = await import("./heartbeat.js");
const { drawnShare } = await import("./drawing_size.js");
const { loudnessWords } = await import("./loudness_words.js");
const { likelyNext } = await import("./ahead.js");
const { SoundShelf } = await import("./shelf.js");
const { fullSwing, paintWaveform } = await import("./waveform_lane.js");

const FOLLOWED = %s;
const names = new Set(["dawn", "tide", "quay"]);

const versions = Array.from({ length: 14 }, (_, i) => `version-${i + 1}`);

// One minute of stereo at 48 kHz is 23 MB decoded; of 1 GB of memory, 60 MB are for sounds.
const minute = 60 * 48000;
const shelf = new SoundShelf({
  sampleRate: 48000,
  sounds: [1, 2, 3, 4].map((k) => ({ key: `${k}`, digest: `d${k}`, frames: minute, channels: 2 })),
});
shelf.bytes = async () => new Uint8Array(1);
let decodings = 0;
const context = {
  decodeAudioData: async () => {
    decodings += 1;
    return { length: minute, numberOfChannels: 2 };
  },
};
const ask = async (keys) => {
  const before = decodings;
  for (const key of keys) await shelf.decoded(key, context);
  return decodings - before;
};
const kept = { fitting: shelf.fitting(["4", "3", "2", "1"]), doubleRate: shelf.fitting(["4", "3"], 96000) };
kept.first = await ask(["1", "2", "3", "4"]);
kept.again = await ask(["3", "4"]);
const held = shelf.hold(["3", "4", "2"]);
kept.holds = [held.length, shelf.hold(["3", "4"], 192000).length];
kept.others = await ask(["1", "2", "1"]);
kept.held = await ask(["3", "4"]);

const bars = [];
const pen = { fillRect: (x, y, width, height) => bars.push([y, height]) };
const wave = { name: "wave", peaks: [[-0.1, -0.2], [0.2, 0.1]] };
paintWaveform({ pen, width: 2, height: 100, colour: () => "" }, wave, fullSwing([wave]));

// Each: what was heard when, then whether it is over at a time; a clock may go wrong by hours.
const beats = [
  [[], 1e6],
  [[[1000, 2000]], 20999],
  [[[1000, 2000]], 21001],
  [[[0, 2000]], 2001],
  [[[1000, 2000], [0, 3000]], 3001],
  [[[0, 2000], [2500, 3000]], 22999],
  [[[1000, 9e6]], 9e6],
  [[[1000, 9e6], [6000, 9e6 + 5000]], 9e6 + 24999],
  [[[9e6, 1000]], 20999],
  [[[9e6, 1000]], 21001],
  [[[1000, 1000], [1000, 15000]], 21001],
].map(([heard, now]) => {
  const heartbeat = new Heartbeat();
  for (const [time, at] of heard) heartbeat.heard(time, at);
  return heartbeat.over(now);
});

const unread = [[], [1000]].map((times) => {
  const heartbeat = new Heartbeat();
  for (const time of times) heartbeat.heard(time, time);
  return [false, true].map((now) => heartbeat.words(2000, now, "").split(":")[0]);
});

answer({
  beats,
  unread,
  shares: [290, 550, 700, 1100, 1400].map((room) => drawnShare(1000, room)),
  loudness: ["", "a", "ac"].map((apart) =>
    loudnessWords([..."abc"].map((name) => ({ name, equallyLoud: !apart.includes(name) }))),
  ),
  followed: FOLLOWED.map(({ before, now }) => followed(before, now, names)),
  next: likelyNext("version-11", ["take"], versions),
  ahead: [likelyNext("version-14", [], versions).slice(0, 3), likelyNext("wire-1", [], versions).slice(0, 2)],
  kept,
  bars: bars.slice(1),
});
"""


def sound(key: str, name: str, digest: str, role: str = "version") -> dict[str, str]:
    return {"key": key, "name": name, "digest": digest, "role": role}


TIDE = sound("version-2", "tide", "d2")
FOLLOWED: list[tuple[list[dict[str, str]], str | None]] = [
    # A patch was put before it: the keys have moved on, one of another name has its key.
    (
        [sound("version-1", "new", "d9"), sound("version-2", "dawn", "d1"), sound("version-3", "tide", "d8")],
        "version-3",
    ),
    # Two of one name: the one at its place.
    ([sound("version-1", "tide", "d1"), sound("version-2", "tide", "d3")], "version-2"),
    # Another name, the same sound.
    ([sound("version-1", "ebb", "d2"), sound("version-2", "quay", "d3")], "version-1"),
    # Another name, another sound, but the only one that is new, at its place.
    ([sound("version-1", "dawn", "d1"), sound("version-2", "flood", "d7")], "version-2"),
    # It was taken out: what has its key now was another version before.
    ([sound("version-1", "dawn", "d1"), sound("version-2", "quay", "d3")], None),
    ([sound("take", "tide", "d2", "take"), sound("version-1", "dawn", "d1")], None),
]


@pytest.fixture(scope="module")
def told() -> Any:
    """One run of node for all tests."""
    return answer_of(PROGRAM % json.dumps([{"before": TIDE, "now": now} for now, _ in FOLLOWED]))


def test_what_was_heard_is_found_by_its_name(told: Any) -> None:
    assert told["followed"] == [key for _, key in FOLLOWED]


def test_neighbours_are_made_ready_first(told: Any) -> None:
    firsts = [f"version-{k}" for k in range(1, 10)]
    assert told["next"] == ["version-11", "version-10", "version-12", "take", *firsts]
    assert told["ahead"] == [["version-14", "version-13", "version-1"], ["wire-1", "version-1"]]


def test_little_memory_keeps_little_and_what_is_held(told: Any) -> None:
    assert told["kept"] == {
        "fitting": ["4", "3"],  # 46 MB of 60
        "doubleRate": ["4"],
        "first": 4,
        "again": 0,
        "holds": [2, 2],  # as many as fit, and never less than a pair
        "others": 3,  # beside the two that are held, none of the others stays
        "held": 0,
    }


def test_the_largest_swing_takes_nine_tenths_of_the_lane(told: Any) -> None:
    """Of 100 pixels the peak of +0.2 is 45 over the middle, that of -0.2 as far under it."""
    (top, _), (upper, height) = told["bars"]
    assert (top, upper + height) == (pytest.approx(5.0), pytest.approx(95.0))


def test_a_watcher_is_gone_when_its_time_is_20_s_old(told: Any) -> None:
    assert told["beats"] == [False, False, True, True, True, False, True, False, False, True, True]


def test_a_watcher_that_cannot_be_read_is_not_promised(told: Any) -> None:
    # One that was read before may be written at this moment: it is given its 20 s.
    assert told["unread"] == [["Watching", "Not watching"], ["Watching", "Watching"]]


def test_a_drawing_shrinks_as_far_as_it_can_be_read(told: Any) -> None:
    assert told["shares"] == [0.6, 0.6, 0.7, 1, 1]


def test_versions_that_are_not_equally_loud_are_named(told: Any) -> None:
    none, one, two = told["loudness"]
    assert none == "All versions are equally loud."
    assert one.startswith("“a” is not equally loud: ")
    assert two.startswith("“a” and “c” are not equally loud: ")
