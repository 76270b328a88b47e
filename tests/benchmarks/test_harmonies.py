"""How near shifted horns come to ideal shifts, beside two general-purpose libraries in the same run; a table.

The ideal is the project's own synthetic horn, played again by the same player with the tone transposed and bore,
breath and fingering left where they are. The libraries are `librosa.effects.pitch_shift` (a phase vocoder) and the
Rubber Band library as Debian's `rubberband-cli` has it, with `-F`, which keeps formants.
"""

from __future__ import annotations

import dataclasses
import importlib.util
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.ndimage import uniform_filter1d
from scipy.signal import fftconvolve

from chainsim import parse_sketch, render
from chainsim.horn.phrase import Phrase
from chainsim.horn.phrases import PHRASES
from chainsim.horn.play import play
from chainsim.measure.spectral_distance import log_spectral_distance_db

FS = 48_000
SHIFTS = (-12, -5, 4, 7, 12)
HORNS = {
    "tenor sax": ("low water", 0),
    "alto sax": ("lantern waltz", 0),
    "trumpet": ("ropewalk", 0),
    "trombone": ("low water", -5),
    "clarinet": ("lantern waltz", 0),
    "flute": ("lantern waltz", 12),
}
"""What each of them plays, and how many semitones higher than written."""

TAKE_S = 8.0
REACH_S = 0.05
"""How far a library's output may be shifted against its input."""

WAYS = ("ours", "librosa", "rubberband")


def moved(phrase: Phrase, semitones: int) -> Phrase:
    notes = (dataclasses.replace(n, pitch=None if n.pitch is None else n.pitch + semitones) for n in phrase.notes)
    return dataclasses.replace(phrase, notes=tuple(notes))


def ours(x: np.ndarray, horn: str, semitones: int) -> np.ndarray:
    sketch = parse_sketch(
        f'instrument = "{horn}"\nchain = ["shift"]\n[blocks.shift]\ntype = "pitch_shifter"\n'
        f'voices = [{{ interval = "{semitones:+d} semitones" }}]\n'
    )
    out = render(sketch, x, FS)
    return out.audio[round(out.latency_samples) :, 0]


def by_librosa(x: np.ndarray, semitones: int) -> np.ndarray:
    import librosa

    return np.asarray(librosa.effects.pitch_shift(x, sr=FS, n_steps=semitones))


def by_rubberband(x: np.ndarray, semitones: int, folder: Path) -> np.ndarray:
    soundfile.write(folder / "in.wav", x, FS, subtype="FLOAT")
    command = ["rubberband", "-q", "-F", "-p", str(semitones), str(folder / "in.wav"), str(folder / "out.wav")]
    subprocess.run(command, check=True, capture_output=True)
    return np.asarray(soundfile.read(folder / "out.wav")[0])


def aligned(reference: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Shifted to where its envelope fits that of the reference best."""
    frames = min(reference.size, y.size)
    smooth = [uniform_filter1d(np.abs(v[:frames]), round(0.01 * FS)) for v in (reference, y)]
    a, b = (v - v.mean() for v in smooth)
    reach = round(REACH_S * FS)
    products = fftconvolve(b, a[::-1])[frames - 1 - reach : frames + reach]
    late = int(np.argmax(products)) - reach
    return y[late:] if late >= 0 else np.concatenate([np.zeros(-late), y])


@pytest.mark.bench
@pytest.mark.skipif(importlib.util.find_spec("librosa") is None, reason="needs librosa (pip install chainsim[bench])")
@pytest.mark.skipif(shutil.which("rubberband") is None, reason="needs the command of Debian's rubberband-cli")
def test_nearer_to_ideal_shifts_than_general_libraries(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found: dict[str, dict[int, tuple[float, ...]]] = {}
    for horn, (phrase, higher) in HORNS.items():
        written = moved(PHRASES[phrase], higher)
        dry = play(written, horn, seed=5).audio[: round(TAKE_S * FS)]
        found[horn] = {}
        for semitones in SHIFTS:
            ideal = play(written, horn, seed=5, transpose_semitones=semitones).audio[: round(TAKE_S * FS)]
            candidates = (
                ours(dry, horn, semitones),
                aligned(ideal, by_librosa(dry, semitones)),
                aligned(ideal, by_rubberband(dry, semitones, tmp_path)),
            )
            found[horn][semitones] = tuple(log_spectral_distance_db(ideal, y, FS) for y in candidates)
    with capsys.disabled():
        print(f"\nlog-spectral distance to ideal shifts, dB: {', '.join(WAYS)}")
        print(f"{'semitones':12}" + "".join(f"{s:>20}" for s in SHIFTS) + f"{'mean':>20}")
        for horn, rows in found.items():
            cells = [*rows.values(), tuple(np.mean(list(rows.values()), axis=0))]
            print(f"{horn:12}" + "".join(f"{a:8.2f}{b:6.2f}{c:6.2f}" for a, b, c in cells))
        means = [np.mean([rows[s] for rows in found.values()], axis=0) for s in SHIFTS]
        means.append(np.mean(means, axis=0))
        print(f"{'mean':12}" + "".join(f"{a:8.2f}{b:6.2f}{c:6.2f}" for a, b, c in means))
    for horn, rows in found.items():
        for semitones, (own, *others) in rows.items():
            assert own < min(others), (horn, semitones)
