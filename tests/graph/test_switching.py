"""Patches changed in the middle of a held note: no clicks, whole tails, true silence.

Expected: no sample-to-sample step larger than the two patches' own and a thousandth of full scale (the project's own
target for every change of state).
"""

from __future__ import annotations

import functools

import numpy as np
import pytest

from chainsim.graph.rendering import build_graph, render
from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import Phrase
from chainsim.horn.play import play
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch

FS = 48_000
CHANGE_S, BACK_S = 0.9, 1.3
AROUND_S = 0.05
STEP = 1e-3

HEAD = """
instrument = "tenor sax"
key = "D minor"
tempo_bpm = 120
"""
LANES = """
chain = [{ lanes = ["dry", ["echo"], ["hall"], ["third"], ["reed"], ["stroll"]] }, "tone", "sweep", "place"]
[blocks.echo]
type = "delay"
note = "1/8"
feedback_percent = 70
dry_db = "off"
when_off = "silent"
[blocks.hall]
type = "reverb"
dry_db = "off"
when_off = "silent"
[blocks.third]
type = "pitch_shifter"
voices = [{ interval = "third below" }]
when_off = "silent"
[blocks.reed]
type = "following_synth"
voices = [{ interval = "P8 below" }]
[blocks.stroll]
type = "wandering_bass"
every = "1/8"
[blocks.tone]
type = "equalizer"
bands = [{ shape = "low_shelf", freq_hz = 300, gain_db = 6 }]
[blocks.sweep]
type = "envelope_filter"
[blocks.place]
type = "pan"
"""
CHANGES = {
    "nothing to echo and hall": ("engage = []", 'engage = ["echo", "hall"]'),
    "echo to hall": ('engage = ["echo"]', 'engage = ["hall"]'),
    "shifter to synth": ('engage = ["third"]', 'engage = ["reed"]'),
    "bass to nothing": ('engage = ["stroll"]', "engage = []"),
    "filter and equalizer": ('engage = ["sweep"]', 'engage = ["tone"]'),
    "key": ('engage = ["third"]', 'engage = ["third"]\nkey = "A major"'),
    "levels": ('engage = ["echo"]', 'engage = ["echo"]\n[patches.b.blocks.echo]\nwet_db = 0\nfeedback_percent = 60'),
    "order": ('chain = ["tone", "sweep"]', 'chain = ["sweep", "tone"]'),
    "another hall": ('engage = ["hall"]', 'engage = ["hall"]\n[patches.b.blocks.hall]\nspace = "plate"'),
    "place": ('engage = ["place"]', 'engage = ["place"]\n[patches.b.blocks.place]\npan = -1'),
    "wide to mono": ('engage = ["hall", "place"]\n[patches.a.blocks.place]\npan = 1', "engage = []"),
}  # fmt: skip


@functools.cache
def held_note() -> np.ndarray:
    """A tenor's long C4, its loudest sample at -3 dBFS."""
    x = play(Phrase("held", 60.0, notes_of("C4 2 0.7"), "tenor sax"), seed=4, tail_s=0.0).audio
    return 0.708 * x / np.abs(x).max()


def set_of(one: str, other: str, cues: str = "") -> Sketch:
    """Patches a and b, and cues."""
    return parse_sketch(f"{HEAD}{LANES}\n[patches.a]\n{one}\n[patches.b]\n{other}\n{cues}")


def cue(at_s: float, what: str) -> str:
    return f"[[cues]]\nat_s = {at_s}\n{what}\n"


def largest_step(y: np.ndarray) -> float:
    """Largest step from sample to sample on any channel; y (frames, channels)."""
    return float(np.abs(np.diff(y, axis=0)).max())


def largest_step_near(y: np.ndarray, at_s: float) -> float:
    return largest_step(y[round((at_s - AROUND_S) * FS) : round((at_s + AROUND_S) * FS)])


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_in_a_held_note_has_no_step_of_its_own(change: str) -> None:
    x = held_note()
    cues = cue(0, 'patch = "a"') + cue(CHANGE_S, 'patch = "b"') + cue(BACK_S, 'patch = "a"')
    y = render(set_of(*CHANGES[change], cues), x, FS).audio
    alone = [render(set_of(*CHANGES[change]).alone(name), x, FS).audio for name in ("a", "b")]
    assert np.abs(alone[0][: len(x), 0] - alone[1][: len(x), 0]).max() > 0.01, "no change at all"
    for at_s in (CHANGE_S, BACK_S):
        assert largest_step_near(y, at_s) <= max(largest_step(own) for own in alone) + STEP


def test_echoes_that_go_over_to_another_tempo_make_no_step_of_their_own() -> None:
    """On the way their phase against the horn is any: at the worst, the steps of both add up."""
    x = held_note()
    patches = ('engage = ["echo"]', 'engage = ["echo"]\ntempo_bpm = 97')
    cues = cue(0, 'patch = "a"') + cue(CHANGE_S, 'patch = "b"') + cue(BACK_S, 'patch = "a"')
    y = render(set_of(*patches, cues), x, FS).audio
    echoes = [render(set_of(*patches).alone(name), x, FS).audio[: x.size] - x[:, None] for name in ("a", "b")]
    assert np.abs(echoes[0] - echoes[1]).max() > 0.1, "no change at all"
    for at_s in (CHANGE_S, BACK_S):
        assert largest_step_near(y, at_s) <= largest_step(x[:, None]) + max(map(largest_step, echoes)) + STEP


@pytest.mark.parametrize("what", ["mute", "dry"])
def test_mute_and_dry_come_and_go_without_a_step(what: str) -> None:
    x = held_note()
    cues = cue(0, 'patch = "a"') + cue(CHANGE_S, f"{what} = true") + cue(BACK_S, f"{what} = false")
    sketch = set_of('engage = ["echo", "hall"]', "", cues)
    y = render(sketch, x, FS).audio
    own = render(sketch.alone("a"), x, FS).audio
    for at_s in (CHANGE_S, BACK_S):
        assert largest_step_near(y, at_s) <= max(largest_step(own), largest_step(x[:, None])) + STEP


def test_a_mute_is_silence_whatever_rings_and_the_tuner_goes_on() -> None:
    """Muted at once with a change of patch that leaves a hall ringing; the ramp takes 10 ms."""
    x = held_note()
    cues = cue(0, 'patch = "a"') + cue(0.8, 'patch = "b"') + cue(CHANGE_S, "mute = true") + cue(BACK_S, "mute = false")
    sketch = set_of('engage = ["hall", "echo"]', "engage = []", cues)
    found = render(sketch, x, FS, probes=["tuner:f0_hz"])
    silent = found.audio[round((CHANGE_S + 0.0101) * FS) : round(BACK_S * FS)]
    assert not silent.any()
    unmuted = render(
        set_of('engage = ["hall", "echo"]', "engage = []", cue(0, 'patch = "a"') + cue(0.8, 'patch = "b"')), x, FS
    )
    after = slice(round((BACK_S + 0.0101) * FS), None)
    assert np.abs(unmuted.audio[after]).max() > 0.01
    assert found.audio[after].tobytes() == unmuted.audio[after].tobytes()  # what rang on unheard is heard again
    plain = render(sketch.alone("a"), x, FS, probes=["tuner:f0_hz"]).probes["tuner:f0_hz"]
    frames = min(len(plain), len(found.audio))
    assert found.probes["tuner:f0_hz"][:frames].tobytes() == plain[:frames].tobytes()
    heard_hz = np.median(found.probes["tuner:f0_hz"][round(CHANGE_S * FS) : round(BACK_S * FS)])
    assert abs(1200 * np.log2(heard_hz / 261.6256)) < 30  # C4 as it sounds: MIDI 1.0, key 60


def test_a_tail_is_that_of_the_uninterrupted_delay() -> None:
    """The delay hears the horn until the change, ramped down in 10 ms; what it then gives, it would have given."""
    x = held_note()
    change = round(CHANGE_S * FS)
    cues = cue(0, 'patch = "a"') + cue(CHANGE_S, 'patch = "b"')
    y = render(set_of('engage = ["echo"]', "engage = []", cues), x, FS).audio
    fade = np.clip(1.0 - (np.arange(x.size) - change) / round(0.010 * FS), 0.0, 1.0)
    uninterrupted = set_of('engage = ["echo"]', "engage = []").alone("a")
    wet_and_faded = render(uninterrupted, x * fade, FS).audio
    frames = min(len(y), len(wet_and_faded), x.size)
    expected = wet_and_faded[:frames] + (x * (1.0 - fade))[:frames, None]  # the dry lane goes on
    assert np.abs(y[:frames] - expected).max() < 1e-9
    tail = slice(x.size, min(len(y), len(wet_and_faded)))
    assert np.abs(y[tail]).max() > 1e-3
    assert np.abs(y[tail] - wet_and_faded[tail]).max() < 1e-9


def test_a_hundred_cues_on_one_patch_make_no_node_and_no_sound() -> None:
    x = held_note()
    text = "".join(cue(0.01 * k, 'patch = "a"') for k in range(100))
    sketch = set_of('engage = ["echo", "hall"]', "", text)
    once = set_of('engage = ["echo", "hall"]', "", cue(0, 'patch = "a"'))
    assert len(build_graph(sketch, FS, 1).nodes) == len(build_graph(once, FS, 1).nodes)
    assert render(sketch, x, FS).audio.tobytes() == render(once, x, FS).audio.tobytes()
