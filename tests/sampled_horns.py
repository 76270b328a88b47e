"""A short phrase by sampled saxophone and trombone, with its notes known exactly.

The samples are recordings of real instruments in a small General MIDI soundfont that the package `pretty_midi` carries;
`midirenderer` plays them. Both come from the package registry. Nothing of theirs is kept in this project.
"""

from __future__ import annotations

import importlib.util
import io
import os
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import mido
import numpy as np
import numpy.typing as npt
import pytest

TENOR_SAX = 66
TROMBONE = 57
"""General MIDI programs, counted from 0."""

_TICKS_PER_BEAT = 480
_TICK_S = 0.5 / _TICKS_PER_BEAT
"""At 120 beats a minute."""

# Start and length in ticks, and steps from the first note: two long notes, a run, a leap, a note said twice.
_PHRASE = (
    (240, 432, 0),
    (720, 432, 2),
    (1200, 216, 3),
    (1440, 216, 5),
    (1680, 216, 7),
    (1920, 432, -2),
    (2400, 216, 10),
    (2640, 216, 10),
    (2880, 912, 3),
)


@dataclass(frozen=True)
class TrueNote:
    """A note as the synthesizer was told to play it; `end_s` is where its release begins."""

    onset_s: float
    end_s: float
    midi: int

    @property
    def f0_hz(self) -> float:
        """Sounding pitch, at A4 = 440 Hz."""
        return 440.0 * 2.0 ** ((self.midi - 69) / 12)


@dataclass(frozen=True)
class SampledHorn:
    """Mono sound, shape (frames,), peak 0.5, and the notes in it."""

    audio: npt.NDArray[np.float64]
    sample_rate_hz: int
    notes: tuple[TrueNote, ...]
    path: Path


def sampled_sax_take(folder: Path) -> SampledHorn:
    """Tenor saxophone from Bb3 (58)."""
    return render(TENOR_SAX, 58, folder / "sampled_sax.wav")


def sampled_trombone_take(folder: Path) -> SampledHorn:
    """Trombone from Bb2 (46)."""
    return render(TROMBONE, 46, folder / "sampled_trombone.wav")


def render(program: int, first_midi: int, path: Path) -> SampledHorn:
    """Play the phrase without the synthesizer's reverb and chorus, and keep it as a float WAV file."""
    import soundfile

    soundfont = _soundfont()
    import midirenderer

    rendered = midirenderer.render_wave_from(soundfont.read_bytes(), _midi_file(program, first_midi))
    stereo, sample_rate_hz = soundfile.read(io.BytesIO(rendered), always_2d=True)
    audio = stereo.mean(axis=1)
    audio *= 0.5 / np.abs(audio).max()
    soundfile.write(path, audio, sample_rate_hz, subtype="FLOAT")
    notes = tuple(TrueNote(t * _TICK_S, (t + n) * _TICK_S, first_midi + step) for t, n, step in _PHRASE)
    return SampledHorn(audio, sample_rate_hz, notes, path)


def _midi_file(program: int, first_midi: int) -> bytes:
    events = [(0, mido.Message("program_change", program=program))]
    # volume and expression full, reverb and chorus sends off
    events += [
        (0, mido.Message("control_change", control=c, value=v)) for c, v in ((7, 127), (11, 127), (91, 0), (93, 0))
    ]
    for start, length, step in _PHRASE:
        events.append((start, mido.Message("note_on", note=first_midi + step, velocity=105)))
        events.append((start + length, mido.Message("note_off", note=first_midi + step)))
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500_000)])
    now = 0
    for tick, message in sorted(events, key=lambda e: e[0]):
        track.append(message.copy(time=tick - now))
        now = tick
    file = mido.MidiFile(type=0, ticks_per_beat=_TICKS_PER_BEAT)
    file.tracks.append(track)
    content = io.BytesIO()
    file.save(file=content)
    return content.getvalue()


def _soundfont() -> Path:
    """Find the soundfont without importing its package, which on some versions warns about other packages."""
    spec = importlib.util.find_spec("pretty_midi")
    folders = list(spec.submodule_search_locations or []) if spec else []
    found = sorted(f for folder in folders for f in Path(folder).glob("*.sf2"))
    if not found:
        _missing("pretty_midi with its soundfont")
    if importlib.util.find_spec("midirenderer") is None:
        _missing("midirenderer")
    return found[0]


def _missing(what: str) -> NoReturn:
    """Skip; but fail where all tests must run."""
    reason = f"sampled horns need {what} (pip install chainsim[test])"
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)
