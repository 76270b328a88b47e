"""MIDI files of cues beside the sketch, as two libraries write them."""

from __future__ import annotations

import random
from pathlib import Path

import mido
import pretty_midi
import pytest

from chainsim.sketch.timeline import timeline
from chainsim.stage.cues import Cue
from tests.sketch.cue_files import Sent, control, faults_of, program, smf, tempo, with_file


def test_programs_call_patches_with_the_bank_last_selected(tmp_path: Path) -> None:
    """Bank 133 is 128 x 1 + 5 (MIDI 1.0: controllers 0 and 32); what comes over MIDI costs the foot nothing."""
    sent = [program(7, 1000), control(0, 1, 500), control(32, 5), program(7, 500), control(0, 0, 10), control(32, 0)]
    sketch = with_file(tmp_path, "cues.mid", smf([*sent, program(0, 990)]))
    assert sketch.cues == (
        Cue(1.0, "patch", "answered", by_foot=False),
        Cue(2.0, "patch", "second act", by_foot=False),
        Cue(3.0, "patch", "plain", by_foot=False),
    )
    assert sketch.warnings == ()


def test_a_program_that_calls_nothing_is_told_once(tmp_path: Path) -> None:
    sketch = with_file(tmp_path, "cues.mid", smf([program(5, 10), program(5, 10), control(0, 1), program(7, 10)]))
    assert sketch.cues == ()
    assert sketch.warnings == (
        "cues.mid: program 5 of bank 0 calls no patch: midi_program, midi_bank",
        "cues.mid: program 7 of bank 128 calls no patch: midi_program, midi_bank",
    )


PRESSES: dict[str, tuple[list[Sent], list[Cue]]] = {
    "down from 64 on": ([control(80, 63, 100), control(80, 64, 100)], [Cue(0.2, "press", "A")]),
    "pressed when it goes down": ([control(80, 127, 1000), control(80, 0, 900)], [Cue(1.0, "press", "A")]),
    "down only once": ([control(80, 100, 100), control(80, 127, 100), control(80, 0, 100)], [Cue(0.1, "press", "A")]),
    "up alone": ([control(80, 0, 100)], []),
    "twice": (
        [control(80, 127, 100), control(80, 0, 100), control(80, 127, 300)],
        [Cue(0.1, "press", "A"), Cue(0.5, "press", "A")],
    ),
    # A switch that can be held acts when it is let go, 0.12 s after a press begins, or after 0.6 s.
    "short": ([control(81, 127, 1000), control(81, 0, 50)], [Cue(1.0, "press", "B")]),
    "let go after 0.3 s": ([control(81, 127, 1000), control(81, 0, 300)], [Cue(1.18, "press", "B")]),
    "held": ([control(81, 127, 1000), control(81, 0, 600)], [Cue(1.0, "hold", "B")]),
    "never let go": ([control(81, 127, 1000)], [Cue(1.0, "hold", "B")]),
    "another controller": ([control(82, 127, 1000), program(0)], [Cue(1.0, "patch", "plain", by_foot=False)]),
}


@pytest.mark.parametrize(("sent", "expected"), PRESSES.values(), ids=PRESSES)
def test_a_switchs_controller_presses_it(tmp_path: Path, sent: list[Sent], expected: list[Cue]) -> None:
    found = with_file(tmp_path, "cues.mid", smf(sent)).cues
    assert [(c.kind, c.name, c.by_foot) for c in found] == [(c.kind, c.name, c.by_foot) for c in expected]
    assert [c.at_s for c in found] == pytest.approx([c.at_s for c in expected], abs=1e-9)


def test_a_press_acts_when_the_switch_is_let_go(tmp_path: Path) -> None:
    """Down at 1 s, up at 1.3 s: the echo goes then; held from 2 s on, the mute comes 0.6 s later."""
    sent = [control(81, 127, 1000), control(81, 0, 300), control(81, 127, 700), control(81, 0, 2000)]
    found = timeline(with_file(tmp_path, "cues.mid", smf(sent)))
    assert [at_s for at_s, _ in found] == pytest.approx([0.0, 1.3, 2.6], abs=1e-9)
    assert [(state.blocks["echo"].common.engaged, state.muted) for _, state in found] == [
        (True, False), (False, False), (False, True),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("sent", "engaged"),
    [
        # the press of A chooses plain, without the echo; program 7 chooses the patch with it; B switches it
        ([program(7, 1000), control(80, 127)], []),
        ([control(80, 127, 1000), program(7)], ["echo"]),
        ([control(80, 127, 1000), program(7), program(0), program(7)], ["echo"]),
    ],
)
def test_what_is_sent_at_one_time_acts_in_the_order_of_the_file(
    tmp_path: Path, sent: list[Sent], engaged: list[str]
) -> None:
    assert sorted(timeline(with_file(tmp_path, "cues.mid", smf(sent)))[-1][1].engaged) == engaged


def test_one_channel_is_read_or_all(tmp_path: Path) -> None:
    content = smf([program(0, 1000), program(7, 1000, channel=4)], [control(80, 127, 1500, channel=4)])
    assert [c.text for c in with_file(tmp_path, "cues.mid", content).cues] == [
        "patch plain", "press A", "patch answered",
    ]  # fmt: skip
    fifth = with_file(tmp_path, "cues.mid", content, "cue_channel = 5\n")
    assert [c.text for c in fifth.cues] == ["press A", "patch answered"]
    assert fifth.warnings == ()
    none = with_file(tmp_path, "cues.mid", content, "cue_channel = 9\n")
    assert none.cues == ()
    assert none.warnings == (
        "cues.mid: calls no patch and presses no switch on channel 9: midi_program, midi_cc",
    )  # fmt: skip


def test_a_file_without_a_tempo_is_read_at_120_and_says_so(tmp_path: Path) -> None:
    sketch = with_file(tmp_path, "cues.mid", smf([program(0, 1500)], says_tempo=False), "tempo_bpm = 60\n")
    assert sketch.cues[0].at_s == 1.5  # 3 quarters at 120 (Standard MIDI Files 1.0), whatever the sketch's own tempo
    assert sketch.warnings == (
        "cues.mid: says no tempo; read at 120 quarters a minute, as Standard MIDI Files 1.0 has it",
    )  # fmt: skip


def test_an_empty_song_is_told(tmp_path: Path) -> None:
    sketch = with_file(tmp_path, "cues.mid", smf([]))
    assert sketch.cues == ()
    assert sketch.warnings == ("cues.mid: calls no patch and presses no switch: midi_program, midi_cc",)


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"", "cues.mid: is empty (0 bytes)"),
        (b"at_s,patch\n1,plain\n", "cues.mid: not a Standard MIDI File"),
        (smf([program(0, 10)])[:-5], "cues.mid: is damaged"),
    ],
)
def test_a_midi_file_that_cannot_be_read_is_one_line(tmp_path: Path, content: bytes, line: str) -> None:
    (found,) = faults_of(tmp_path, "cues.mid", content)
    assert found.startswith("cue_file: ")
    assert line in found


def test_what_another_library_writes_calls_and_presses(tmp_path: Path) -> None:
    """It sends programs at the beginning, and controllers at their times, to a tick of 60 / 90 / 960 s."""
    song = pretty_midi.PrettyMIDI(resolution=960, initial_tempo=90.0)
    instrument = pretty_midi.Instrument(7)
    instrument.notes.append(pretty_midi.Note(80, 60, 0.5, 1.0))
    for at_s, value in ((3.217, 127), (3.3, 0), (5.001, 127), (5.9, 0)):
        instrument.control_changes.append(pretty_midi.ControlChange(81, value, at_s))
    song.instruments.append(instrument)
    song.write(str(tmp_path / "song.mid"))
    sketch = with_file(tmp_path, "cues.mid", (tmp_path / "song.mid").read_bytes())
    assert [(c.kind, c.name) for c in sketch.cues] == [("patch", "answered"), ("press", "B"), ("hold", "B")]
    assert [c.at_s for c in sketch.cues] == pytest.approx([0.0, 3.217, 5.001], abs=60.0 / 90.0 / 960.0)
    assert sketch.warnings == ()


def test_changes_of_tempo_are_followed_as_the_other_library_does(tmp_path: Path) -> None:
    rng = random.Random(3)
    track: list[Sent] = []
    for _ in range(30):
        track += [tempo(rng.randint(200_000, 1_500_000), rng.randint(1, 700)), control(80, 127, rng.randint(1, 700))]
        track += [control(80, 0, 30)]
    note = [mido.Message("note_on", note=60, velocity=9), mido.Message("note_off", note=60, time=5)]
    sketch = with_file(tmp_path, "cues.mid", smf([*track, *note], ticks=480, says_tempo=False))
    song = pretty_midi.PrettyMIDI(str(tmp_path / "cues.mid"))
    expected = [c.time for c in song.instruments[0].control_changes if c.value >= 64]
    assert len(expected) == 30
    assert [c.at_s for c in sketch.cues] == pytest.approx(expected, abs=1e-6)
