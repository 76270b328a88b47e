"""Every kernel once as plain Python, in which a place behind an array is an error, and so is nan as a whole number.

Compiled, neither would be told; places before an array count from its end, in both. To compile all kernels with bounds
checked takes longer than to run them uncompiled.
"""

from __future__ import annotations

import importlib
import os
import pkgutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

import numpy as np

RATE_HZ = 8_000.0

MORE_WAYS = """
feed = "mono"
chain = ["louder", { lanes = ["dry", ["even"]], align = true }, "led", "hall"]
cues = [{ at_s = 0.1, patch = "loud" }]
[blocks.louder]
type = "gain"
[blocks.even]
type = "compressor"
latency_ms = 5
[blocks.led]
type = "following_synth"
source = "part.mid"
[blocks.hall]
type = "reverb"
[patches.quiet]
engage = ["louder", "even", "led", "hall"]
[patches.loud]
engage = ["louder", "even", "led", "hall"]
[patches.loud.blocks.louder]
gain_db = 6
"""
"""A mono feed of a stereo sound, lanes that wait, a gain that moves at a cue, a voice that a file leads."""

OVER_FULL_SCALE: dict[str, list[dict[str, Any]]] = {"delay": [{"time_ms": 10.0, "feedback_percent": 100.0}]}
"""What lets a sound grow until a block holds it down."""


def test_no_kernel_reads_or_writes_behind_its_arrays() -> None:
    run = subprocess.run(
        [sys.executable, "-m", "tests.test_bounds"],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        cwd=Path(__file__).parent.parent,
        capture_output=True,
        text=True,
    )
    assert run.returncode == 0, run.stderr
    assert run.stdout == "all kernels were called\n"


def checks_are_on() -> bool:
    """Whether a kernel that reads past the end of its array is caught."""
    from chainsim.kernel import Kernel

    try:
        Kernel(_beyond)(np.zeros(3))
    except IndexError:
        return True
    return False


def _beyond(x):  # type: ignore[no-untyped-def]
    """Read one past the end."""
    return x[x.shape[0]]


def kernels() -> Iterator[CodeType]:
    """The code of every kernel of the package."""
    import chainsim
    from chainsim.kernel import Kernel

    for module in pkgutil.walk_packages(chainsim.__path__, "chainsim."):
        if not module.name.endswith("__main__"):
            found = vars(importlib.import_module(module.name)).values()
            yield from (k.function.__code__ for k in found if isinstance(k, Kernel))


def main() -> None:
    """Call all kernels, and say which were not."""
    assert checks_are_on()
    uncalled = set(kernels())

    def strike_out(frame: FrameType, event: str, _: object) -> None:
        if event == "call":
            uncalled.discard(frame.f_code)

    sys.setprofile(strike_out)
    threading.setprofile(strike_out)
    with np.errstate(all="ignore"):  # a kernel's arithmetic is C's: nothing warns
        render_sketches()
        run_subjects()
        bring_to_another_rate()
        choose_a_note()
        play_and_measure()
    sys.setprofile(None)
    assert not uncalled, f"never called: {', '.join(sorted(f'{c.co_filename}: {c.co_name}' for c in uncalled))}"
    print("all kernels were called")


def render_sketches() -> None:
    """The thin slice, a chain of all blocks, and what neither has."""
    from chainsim.block import block_type, block_type_names
    from chainsim.graph.engine import Engine
    from chainsim.graph.rendering import array_reader, build_graph, render_graph
    from chainsim.sketch.loading import parse_sketch
    from tests.contract.subjects import NEEDED, asset_folder
    from tests.graph import test_thin_slice

    x = test_thin_slice.take(2_600, 2)
    for text in (test_thin_slice.PLAIN, test_thin_slice.SET):
        render_graph(build_graph(parse_sketch(text), RATE_HZ, 2), x, chunk=509)
    names = [n for n in block_type_names() if len(block_type(n).audio_inputs) == 1]
    tables = "".join(f'[blocks.{n}]\ntype = "{n}"\n{NEEDED.get(n, "")}' for n in names)
    sketch = parse_sketch(f'key = "C major"\nchain = {names}\n{tables}', folder=asset_folder())
    write_part(asset_folder() / "part.mid")
    render_graph(build_graph(parse_sketch(MORE_WAYS, folder=asset_folder()), RATE_HZ, 2), x, chunk=509)
    for n0, _ in Engine(build_graph(sketch, RATE_HZ, 2), array_reader(x), x.shape[1], chunk=509).stream():
        if n0 > x.shape[1]:  # what rings on goes the same ways
            break


def write_part(path: Path) -> None:
    """Write a MIDI file of two notes."""
    import mido

    track = [mido.Message(kind, note=note, time=96) for note in (60, 64) for kind in ("note_on", "note_off")]
    file = mido.MidiFile()
    file.tracks.append(mido.MidiTrack(track))
    file.save(path)


def run_subjects() -> None:
    """Every block and controller with everything moving, and at rest with words and switches that lead elsewhere."""
    from tests.contract.subjects import ALSO, SUBJECTS, corners, made

    for name in SUBJECTS:
        words = (c for c in corners(name, RATE_HZ) if len(c) == 1 and isinstance(*c.values(), str | bool))
        moving, still = [{}, *ALSO.get(name, [])], [*words, *OVER_FULL_SCALE.get(name, [])]
        for moves, frames, each in ((True, 1_500, moving), (False, 600, still)):
            for settings in each:
                subject = made(name, settings, sample_rate_hz=RATE_HZ, channels=2, moves=moves)
                if subject is not None:
                    subject.run(subject.feed("bounds", frames=frames, level=1.5), [0, 1, 8, 509])


def bring_to_another_rate() -> None:
    """Read of a sound exactly what `needed` says, at the first, a middle and the last place between two samples."""
    from chainsim.house.resampling import interpolate, interpolation_table, needed

    for from_hz, to_hz in ((44_100, 48_000), (48_000, 44_100), (8_000, 192_000), (192_000, 8_000)):
        table = interpolation_table(from_hz, to_hz)
        for n0, frames in ((0, 1), (0, 700), (to_hz - 1, 2), (123_457, 509)):
            first, count = needed(n0, frames, from_hz, to_hz, table)
            interpolate(np.ones((2, count)), first, n0, from_hz, to_hz, table, np.empty((2, frames)))


def choose_a_note() -> None:
    """Of a pitch that stands, goes to another without an attack, and sways after a rest."""
    from chainsim.dsp.harmony_note import HarmonyNote
    from tests.blocks.scripted_pitch import Script

    swaying_hz = 330.0 * 2.0 ** (0.1 * np.sin(np.arange(4_000) / 200.0))
    track = Script(RATE_HZ).note(262.0, 0.4).note(330.0, 0.4, attack=False).rest(0.1).note(swaying_hz, 0.5).track
    HarmonyNote(60.0, 440.0, RATE_HZ).process(track, np.empty(track.shape[1]))


def play_and_measure() -> None:
    """Two notes by a horn; their pitch, how loud they are, and how far from what is a little duller."""
    from chainsim.horn.notation import notes_of
    from chainsim.horn.phrase import Phrase
    from chainsim.horn.play import play
    from chainsim.measure.fundamental import fundamental_hz
    from chainsim.measure.loudness import measure_loudness
    from chainsim.measure.null import NullMeter, residual_matrix
    from chainsim.measure.peaks import measure_peaks
    from chainsim.measure.sound_distance.matrix import distance_matrix
    from chainsim.measure.sound_distance.meter import SoundMeter
    from chainsim.measure.sound_distance.steps import sound_distance

    phrase = Phrase("up", 240.0, notes_of("C4 1, ~E4 1 growl"), "tenor sax")
    take = play(phrase, sample_rate_hz=16_000.0, lead_s=0.1, tail_s=0.1)
    features, sketches = [], []
    for y in (take.audio, np.convolve(take.audio, [0.5, 0.5], mode="same")):
        lufs = measure_loudness(y, take.sample_rate_hz).integrated_lufs
        fundamental_hz(y, take.sample_rate_hz, [0.0, 0.2], 262.0)
        measure_peaks(y, take.sample_rate_hz)
        heard, null = SoundMeter(take.sample_rate_hz, 1, len(y), 0), NullMeter()
        heard.add(y[None])
        null.add(y[None])
        features.append(heard.result(lufs))
        sketches.append(null.result())
    distance_matrix(features)
    sound_distance(*features)
    residual_matrix(np.array(sketches))


if __name__ == "__main__":
    main()
