"""The oscillator and a two-voice following synth beside their plain C reference."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from chainsim.dsp.oscillator import oscillate
from chainsim.dsp.oscillator_tables import tables, top_hz
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.scripted_pitch import Script, ready

FS, FRAMES = 48_000, 16_000
C_FILE = Path(__file__).parent / "c" / "following_synth.c"


def reading() -> tuple[np.ndarray, ...]:
    """The saw's tables."""
    made = tables("saw")
    return made.points, made.first, made.size, made.fade_from, made.fade_to


@needs_cc
@pytest.mark.bench
@pytest.mark.parametrize("pulse", [0, 1], ids=["saw", "pulse"])
@pytest.mark.parametrize("hz", [110.0, 466.0, 1_980.0])
def test_oscillator_agrees_with_c(hz: float, pulse: int) -> None:
    t = np.arange(FRAMES) / FS
    freq_hz, ratio, width = hz * 2.0 ** (0.03 * np.sin(35.0 * t)), np.ones(FRAMES), np.full(FRAMES, 0.4)
    ours, theirs = np.empty(FRAMES), np.empty(FRAMES)
    phase, c_phase = np.zeros(1), np.zeros(1)
    function = compile_c(C_FILE).oscillate
    rates = (top_hz(FS), float(FS))

    def here() -> None:
        oscillate(freq_hz, ratio, width, pulse, *reading(), *rates, phase, ours)

    def in_c() -> None:
        tables_count = reading()[1].size
        call_c(function, freq_hz, ratio, width, FRAMES, pulse, *reading(), tables_count, *rates, c_phase, theirs)

    here()
    in_c()
    assert np.max(np.abs(ours - theirs)) < 1e-9
    a, b = best_ns(here, FRAMES), best_ns(in_c, FRAMES)
    print(f"oscillator, {'pulse' if pulse else 'saw'}, {hz:g} Hz: {a:.2f} ns, C {b:.2f} ns a sample, ratio {a / b:.2f}")


@needs_cc
@pytest.mark.bench
def test_two_voices_agree_with_c() -> None:
    t = np.arange(FRAMES) / FS
    script = Script().note(330.0 * 2.0 ** (0.02 * np.sin(35.0 * t)), FRAMES / FS)
    track, horn = script.track, script.horn
    block = ready("following_synth", voices=[{"interval": "P5 above"}, {"interval": "P8 below"}])
    specs = type(block).settings_type.specs().items()
    rows = {n: np.full(FRAMES, s.row_value(float(getattr(block.settings, n)))) for n, s in specs if s.movable}
    tempo = np.stack([np.full(FRAMES, 120.0), np.arange(FRAMES) * 2.0 / FS])
    y, c_y = np.empty((1, FRAMES)), np.empty(FRAMES)
    controls = {"pitch": track, "tempo": tempo}
    io = Io(0, FRAMES, {"in": horn, "detector": horn}, controls, Moving(rows), y, np.empty((0, FRAMES)))
    state, phase = np.zeros(22), np.zeros(2)
    state[11] = 1.0
    function = compile_c(C_FILE).following_synth
    scratch = np.empty((5, FRAMES))

    def in_c() -> None:
        numbers = (top_hz(FS), float(FS), 440.0, 7.0, -12.0, block._smooth, block._even, *block._ramps)
        tone = (3000.0, 0.8, 0.5, math.sqrt(3.0))
        tables_count = reading()[1].size
        call_c(function, track, horn, FRAMES, *reading(), tables_count, *numbers, *tone, *scratch, state, phase, c_y)

    block.process(io)
    in_c()
    assert np.abs(y).max() > 0.1
    assert np.max(np.abs(y[0] - c_y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(in_c, FRAMES)
    print(f"following_synth, two voices: {ours:.2f} ns, C {theirs:.2f} ns a sample, ratio {ours / theirs:.2f}")
    print(f"that is {1e9 / (ours * FS):.0f} x real time")
