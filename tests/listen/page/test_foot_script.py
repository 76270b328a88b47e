"""What the page makes of presses: bars, cue files, and how they stand beside the set's own cues."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chainsim.batch.checking import check_sketch
from chainsim.batch.listening.excerpt import Excerpt
from chainsim.batch.listening.foot_sounds import FootAtKeys
from chainsim.sketch.loading import load_sketch, parse_sketch
from chainsim.sketch.model import Sketch
from chainsim.sketch.timeline import moments
from chainsim.stage.foot import Foot
from chainsim.stage.gesture import Gesture, Pace
from chainsim.stage.walk import walk
from tests.listen.page.node import answer_of, needs_node

pytestmark = needs_node

SET = """
chain = ["trim"]
tempo_bpm = 90
meter = "6/8"
first_beat_s = 0.25
blocks.trim = { type = "gain", engaged = false }
patches.slow = { engage = [], tempo_bpm = 60 }
patches.quick = { engage = ["trim"], tempo_bpm = 133 }
banks = [{ name = "one", patches = ["slow", "quick"] }]
switches = [
  { name = "A", press = "place 1" },
  { name = "B", press = "place 2", hold = "dry" },
  { name = "T", press = "tap" },
]
foot = { hold_ms = 600, release_ms = 120.5 }
"""
PROGRAM = """
import { Board } from "./board.js";
import { checkCues } from "./cue_check.js";
import { cueFile, cueFileName } from "./cue_list.js";
import { Pace } from "./pace.js";
import { PressList } from "./press_list.js";
import { pressPlaces } from "./song_bars.js";

const board = new Board(ASKED.board);
const list = new PressList(board);
for (const [name, ms] of ASKED.pressed) {
  const kind = name.startsWith("hold ") ? "hold" : "press";
  list.add({ switch: name.replace("hold ", ""), kind }, ms);
}
answer({
  presses: list.presses,
  places: pressPlaces(list.presses, board, ASKED.bars),
  file: cueFile(list.presses, new Pace(board, ASKED.foot), ASKED.cuesBefore, ASKED.cuesAfter),
  names: ASKED.titles.map(cueFileName),
  found: checkCues(ASKED.cues, list.presses, board, ASKED.reachedMs).map(({ text }) => text),
});
"""


def asked(
    *pressed: tuple[str, float],
    sketch: Sketch | None = None,
    cues: list[dict[str, Any]] | None = None,
    reached_ms: float = 1e9,
    titles: tuple[str, ...] = (),
    excerpt: Excerpt | None = None,
) -> dict[str, Any]:
    plain = {
        **FootAtKeys(sketch or parse_sketch(SET), (), (), excerpt=excerpt).plain(),
        "pressed": pressed,
        "cues": cues or [],
        "reachedMs": reached_ms,
        "titles": titles,
    }
    answered: dict[str, Any] = answer_of(f"const ASKED = {json.dumps(plain)};\n{PROGRAM}")
    return answered


def test_a_press_is_in_the_bar_that_a_cue_in_bars_has() -> None:
    """Python places cues in bars, from tempo to tempo; the page finds the bars of these times again."""
    bars = ["1:3", "2", "2:4.5", "5:6", "6:2"]
    switches = ["A", "B", "A", "A", "B"]
    patches = {"A": "slow", "B": "quick"}
    cues = "".join(f'[[cues]]\nat_bar = "{b}"\npatch = "{patches[s]}"\n' for b, s in zip(bars, switches, strict=True))
    sketch = parse_sketch(SET + cues)
    pressed = [(s, 1000 * cue.at_s) for s, cue in zip(switches, sketch.cues, strict=True)]
    # Presses are kept to a millisecond: half of one is 0.001 to 0.002 of these beats.
    places = [(1, 3.0), (2, 1.0), (2, 4.5), (5, 6.0), (6, 2.0)]
    after = [(s, ms + 0.6) for s, ms in pressed]
    # A part that begins between the second and the third has the same bars.
    part = Excerpt(sketch.cues[1].at_s + 0.3, 100.0)
    for found, expected in ((asked(*after), places), (asked(*after[2:], sketch=sketch, excerpt=part), places[2:])):
        assert [(int(bar), float(beat)) for bar, beat in (p.split(":") for p in found["places"])] == expected
    assert asked(("A", 100.0), ("T", 2000.0), ("B", 4000.0))["places"] == ["", "", ""]


def test_the_file_acts_when_the_foot_did(tmp_path: Path) -> None:
    """Also at the very beginning, before which no switch can go down, and where two act at one millisecond."""
    pressed = [("hold B", 0.0), ("B", 10.0), ("A", 10.0), ("B", 900.0), ("A", 900.4), ("B", 901.0), ("hold B", 1600.0)]
    answer = asked(*pressed)
    (tmp_path / "set.toml").write_text(f'cue_file = "presses.csv"\n{SET}', encoding="utf-8")
    (tmp_path / "presses.csv").write_text(answer["file"], encoding="utf-8")
    sketch = load_sketch(tmp_path / "set.toml")
    assert sketch.warnings == ()
    done = [m for m in moments(sketch) if m.cue is not None]
    assert [(m.cue.name, m.cue.kind) for m in done if m.cue] == [
        (name.removeprefix("hold "), "hold" if "hold" in name else "press") for name, _ in pressed
    ]
    acts_ms = [1000 * m.at_s for m in done]
    # A hold needs 600 ms; what came before that follows it a millisecond apart.
    assert acts_ms == pytest.approx([600.0, 601.0, 602.0, 900.0, 901.0, 902.0, 1600.0], abs=1e-6)
    for moment, press in zip(done, answer["presses"], strict=True):
        assert (moment.position.patch, moment.position.dry) == (press["position"]["patch"], press["position"]["dry"])


PRESSED = """
chain = ["trim"]
blocks.trim = { type = "gain", engaged = false }
patches.slow = { engage = [] }
patches.quick = { engage = ["trim"] }
banks = [{ name = "one", patches = ["slow", "quick"] }, { name = "two", patches = ["quick", "slow"] }]
switches = [
  { name = "A", press = "place 1", hold = "mute" },
  { name = "B", press = "place 2" },
  { name = "C", press = "block trim", hold = "dry" },
  { name = "UP", press = "bank up" },
]
"""
TOO_FAST = """
import { Board } from "./board.js";
import { cueFile, timesInFile } from "./cue_list.js";
import { Pace } from "./pace.js";
import { PressList } from "./press_list.js";

answer(CASES.map(({ board, foot, pressed }) => {
  const list = new PressList(new Board(board));
  const pace = new Pace(list.board, foot);
  for (const { gesture, ms } of pressed) list.add(gesture, ms);
  const times = timesInFile(list.presses, pace);
  const done = list.presses.map(({ gesture }, i) => ({ gesture, actsS: times[i].actsS }));
  return { file: cueFile(list.presses, pace), tooFast: pace.tooFast(done) };
}));
"""


def gesture_of(text: str) -> Gesture:
    return Gesture(text.removeprefix("hold "), "hold" if text.startswith("hold ") else "press")


def test_the_page_and_a_walk_through_the_saved_file_find_the_same_presses_too_fast(tmp_path: Path) -> None:
    """Random presses and feet; half of the gaps are within a millisecond of what the foot needs."""
    generator = np.random.default_rng(5)
    sketches, cases = [], []
    for digits in [0, 0, 1, 7] * 10:
        same, more, hold, release = (float(ms) for ms in np.round(generator.uniform(20.0, 400.0, 4), digits))
        foot = Foot(same_switch_ms=same, other_switch_ms=same + more, hold_ms=hold + 50.0, release_ms=release)
        text = f"{PRESSED}foot = {{ {', '.join(f'{name} = {ms!r}' for name, ms in foot.model_dump().items())} }}\n"
        sketch = parse_sketch(text)
        pace, gestures, ms = Pace(sketch.board, foot), [], [float(generator.random() * 200.0)]
        for name in generator.choice(["A", "hold A", "B", "C", "hold C", "UP"], 12):
            gestures.append(gesture_of(name))
            if len(gestures) > 1:
                near_ms = pace.between_ns(*gestures[-2:]) / 1e6 + generator.integers(-1, 2)
                ms.append(ms[-1] + max(near_ms if generator.random() < 0.5 else generator.random() * 900.0, 0.0))
        plain = FootAtKeys(sketch, (), ()).plain()
        pressed = [{"gesture": asdict(g), "ms": at} for g, at in zip(gestures, ms, strict=True)]
        sketches.append(text)
        cases.append({"board": plain["board"], "foot": plain["foot"], "pressed": pressed})
    marked = []
    for text, found in zip(sketches, answer_of(f"const CASES = {json.dumps(cases)};\n{TOO_FAST}"), strict=True):
        (tmp_path / "set.toml").write_text(f'cue_file = "presses.csv"\n{text}', encoding="utf-8")
        (tmp_path / "presses.csv").write_text(found["file"], encoding="utf-8")
        sketch = load_sketch(tmp_path / "set.toml")
        pace = Pace(sketch.board, sketch.foot)
        steps = walk(sketch.board, sketch.cues, sketch.foot).steps
        acting = sorted(zip(sketch.cues, steps, strict=True), key=lambda told: pace.acts_at_s(told[0]))
        too_fast = [
            {"hasS": step.time_s, "needsS": step.needs_s} if step.verdict == "too fast" else None for _, step in acting
        ]
        assert found["tooFast"] == too_fast
        marked += [mark is not None for mark in too_fast]
    assert 0.2 < np.mean(marked) < 0.8


def test_the_file_of_a_part_has_the_sets_own_cues_around_it(tmp_path: Path) -> None:
    """So that it serves for the whole take. In the part, 4 to 8 s, stands what was pressed in place of `dry` off."""
    cues = [
        (1.0, 'patch = "slow"'),
        (2.0, 'off = "trim"'),
        (2.5, "mute = true"),
        (3.0, "mute = false"),
        (3.0, "dry = true"),
        (5.0, "dry = false"),
        (8.5, 'on = "trim"'),
        (9.0, 'press = "A"'),
        (9.5, 'hold = "B"'),
    ]
    written = parse_sketch(SET + "".join(f"[[cues]]\nat_s = {at_s}\n{what}\n" for at_s, what in cues))
    answer = asked(("B", 6000.0), sketch=written, excerpt=Excerpt(4.0, 8.0))
    (tmp_path / "set.toml").write_text(f'cue_file = "presses.csv"\n{SET}', encoding="utf-8")
    (tmp_path / "presses.csv").write_text(answer["file"], encoding="utf-8")
    found = [(c.at_s, c.text) for c in load_sketch(tmp_path / "set.toml").cues]
    expected = [(c.at_s, c.text) for c in written.cues if c.at_s != 5.0]
    assert found == sorted(
        [*expected, (pytest.approx(6.0 - 0.1205), "press B")], key=lambda cue: float(str(cue[0])[:3])
    )
    assert answer["presses"][0]["position"]["patch"] == "quick"


MUTED = """
import { Board } from "./board.js";
import { cueFile } from "./cue_list.js";
import { mutedFromS } from "./foot_muting.js";
import { Pace } from "./pace.js";
import { PressList } from "./press_list.js";

answer(CASES.map((plain) => {
  const list = new PressList(new Board(plain.board));
  const pace = new Pace(list.board, plain.foot);
  for (const [gesture, ms] of plain.pressed) list.add(gesture, ms);
  const fromS = mutedFromS(plain, list.presses, pace);
  const file = cueFile(list.presses, pace, plain.cuesBefore, plain.cuesAfter);
  return { file, fromS: fromS === -Infinity ? "before" : fromS };
}));
"""


def test_the_page_and_check_find_the_same_mute_that_nothing_ends(tmp_path: Path) -> None:
    """Random cues before and after a part of a take, 4 to 8 s, in which is pressed at random."""
    generator = np.random.default_rng(3)
    asks = ['patch = "slow"', "mute = true", "mute = false", "dry = true", 'hold = "A"', 'press = "B"', 'off = "trim"']
    names = ["A", "B", "C", "hold C", "hold A"]
    cases = []
    for _ in range(40):
        times = [t for t in (1.0, 2.0, 8.5, 9.5, 10.5) if generator.random() < 0.5]
        cues = "".join(f"[[cues]]\nat_s = {t}\n{generator.choice(asks)}\n" for t in times)
        excerpt = Excerpt(4.0, 8.0) if generator.random() < 0.7 else None
        chosen = [gesture_of(name) for name in generator.choice(names, generator.integers(1, 5))]
        pressed = [(asdict(gesture), 4500.0 + 700.0 * k) for k, gesture in enumerate(chosen)]
        plain = FootAtKeys(parse_sketch(f"{PRESSED}{cues}"), (), (), excerpt=excerpt).plain()
        cases.append({**plain, "pressed": pressed})
    heard = set()
    (tmp_path / "set.toml").write_text(f'cue_file = "presses.csv"\n{PRESSED}', encoding="utf-8")
    for found in answer_of(f"const CASES = {json.dumps(cases)};\n{MUTED}"):
        (tmp_path / "presses.csv").write_text(found["file"], encoding="utf-8")
        from_s = check_sketch(load_sketch(tmp_path / "set.toml"), 8000.0).muted_from_s
        expected = "before" if from_s is not None and from_s < 4.0 else pytest.approx(from_s, abs=1e-9)
        assert found["fromS"] == expected
        heard.add("never" if from_s is None else "before" if from_s < 4.0 else "after" if from_s > 8.0 else "pressed")
    assert heard == {"never", "before", "pressed", "after"}


def test_another_board_takes_over_what_it_has_switches_for() -> None:
    other = parse_sketch(SET.replace(', hold = "dry"', "").replace('  { name = "T", press = "tap" },\n', ""))
    pressed = {"old": FootAtKeys(parse_sketch(SET), (), ()).plain(), "now": FootAtKeys(other, (), ()).plain()}
    taken = answer_of(f"""
        import {{ Board }} from "./board.js";
        import {{ PressList }} from "./press_list.js";
        const boards = {json.dumps(pressed)};
        const [old, now] = [boards.old, boards.now].map(({{ board }}) => new PressList(new Board(board)));
        old.add({{ switch: "A", kind: "press" }}, 100);
        old.add({{ switch: "B", kind: "hold" }}, 900);
        old.add({{ switch: "T", kind: "press" }}, 1000);
        old.add({{ switch: "B", kind: "press" }}, 2000);
        now.takeOver(old.presses);
        answer([now.presses.map(({{ actsMs, position }}) => [actsMs, position.patch]), now.canUndo]);
    """)
    assert taken == [[[100, "slow"], [2000, "quick"]], False]


def test_names_of_files_are_good_on_every_system() -> None:
    titles = ("Lamps & quay", "Grüße, été", "<script>", "雨", "../../x", "q" * 100)
    assert asked(titles=titles)["names"] == [
        "lamps_quay_presses.csv",
        "gru_e_e_te_presses.csv",
        "script_presses.csv",
        "set_presses.csv",
        "x_presses.csv",
        f"{'q' * 60}_presses.csv",
    ]


def cue(at_s: float, kind: str, name: str = "", *, on: bool = True) -> dict[str, Any]:
    return {"actsS": at_s, "when": "", "text": "", "asks": {"kind": kind, "name": name, "on": on}}


def test_cues_are_met_early_late_missed_or_wrong() -> None:
    cues = [
        cue(1.0, "patch", "slow"),  # 0.1 s late: in time
        cue(3.0, "patch", "quick"),  # 0.5 s early
        cue(5.0, "patch", "slow"),  # 0.7 s late
        cue(7.0, "dry"),  # never
        cue(8.0, "dry", on=False),  # is so
        cue(9.0, "patch", "quick"),  # not before slow is due
        cue(11.0, "press", "T"),  # 0.15 s late: in time
        cue(13.0, "press", "T"),  # 0.2 s early
        cue(15.0, "hold", "B"),
        cue(17.0, "patch", "slow"),  # quick instead
        cue(19.0, "block", "trim"),  # quick has it, for 1.9 s
        cue(21.0, "patch", "quick"),  # not played so far
    ]
    pressed = [("A", 1100), ("B", 2500), ("A", 5700), ("T", 11150), ("T", 12800), ("B", 17100)]
    assert asked(*pressed, cues=cues, reached_ms=21100.0)["found"] == [
        "met",
        "early by 0.50 s",
        "late by 0.70 s",
        "missed",
        "met: so already",
        "missed",
        "met",
        "early by 0.20 s",
        "missed",
        "wrong: quick",
        "early by 1.90 s",
        "to come",
    ]


def test_a_press_answers_one_cue_for_a_press() -> None:
    """Of three taps that come 1.74 s late the first is in time for the third cue; none is left for the others."""
    cues = [cue(at_s, "press", "T") for at_s in (24.49, 25.405, 26.305)]
    pressed = [("T", 26228), ("T", 26649), ("T", 27059)]
    assert asked(*pressed, cues=cues)["found"] == ["missed", "missed", "met"]
    # The second press is nearer to the first cue than the first is to it; but then one cue would go without.
    between = [cue(1.0, "press", "T"), cue(1.9, "press", "T")]
    assert asked(("T", 1500), ("T", 2400), cues=between)["found"] == ["late by 0.50 s", "late by 0.50 s"]
    # In order: another switch's press is no answer, and each switch counts for itself.
    two = [cue(1.0, "press", "T"), cue(1.2, "press", "A"), cue(2.0, "press", "T")]
    assert asked(("A", 1000), ("T", 1300), cues=two)["found"] == ["late by 0.30 s", "early by 0.20 s", "missed"]


def test_what_was_so_already_and_what_was_undone_is_said() -> None:
    """A hold that turns round what is so already: the sketch begins neither dry nor with the block."""
    off = cue(2.0, "dry", on=False)
    assert asked(cues=[off])["found"] == ["met: so already"]
    assert asked(("hold B", 2550), cues=[off])["found"] == ["met, but undone 0.55 s later"]
    assert asked(("hold B", 3050), cues=[off])["found"] == ["met: so already"]
    # A little early for the next cue is that cue's matter, not this one's.
    assert asked(("hold B", 2550), cues=[off, cue(3.0, "dry")])["found"] == ["met: so already", "early by 0.45 s"]
    # The same asked for twice is answered once.
    twice = [cue(1.0, "patch", "slow"), cue(4.0, "patch", "slow")]
    assert asked(("A", 1100), cues=twice)["found"] == ["met", "met: so already"]
    assert asked(("A", 1200), cues=twice)["found"] == ["late by 0.20 s", "met: so already"]
    assert asked(("A", 1100), ("B", 2500), ("A", 3500), cues=twice)["found"] == ["met", "early by 0.50 s"]
