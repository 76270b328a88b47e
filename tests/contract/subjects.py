"""What the contract tests need of a block or controller: its kinds of settings, and a way to run it."""

from __future__ import annotations

import atexit
import itertools
import math
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import mido
import numpy as np
import soundfile

from chainsim.block import Assets, Block, Context, Io, Moving, block_type, block_type_names
from chainsim.errors import SettingError
from chainsim.settings import Settings, Spec
from chainsim.stage.controllers import CONTROLLER_TYPES
from chainsim.stage.pitch_track import PitchTrack
from chainsim.stage.tracked_midi import TrackedMidi
from chainsim.units import Array, Audio
from tests.contract.feeds import bursts, ends, played, rng_of, row_values, tempo_rows, unpitched, wander

RATES_HZ = (8_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0)
BLOCKS = block_type_names()
CONTROLLERS = sorted(n for n, c in CONTROLLER_TYPES.items() if c.__module__.startswith("chainsim."))
SOURCES: dict[str, type[Block[Any]]] = {"pitch_track": PitchTrack, "tracked_midi": TrackedMidi}
SUBJECTS = [*BLOCKS, *(f"controller {name}" for name in CONTROLLERS), *(f"source {name}" for name in SOURCES)]

TOP_OF_RATE = 0.44
"""Frequencies are drawn below the 0.45 of the rate at which a sketch is refused."""

BEYOND_NUMBERS: dict[str, dict[str, Any]] = {
    "controller breakpoints": {"points": [[0.01, 0.2], [0.05, 1.0], [0.11, 0.0], [0.2, 0.7]]},
    "controller control_change": {"file": "controllers.mid"},
    "convolver": {"file": "response.wav"},
    "equalizer": {
        "bands": [
            {"shape": "high_pass", "freq_hz": 90.0},
            {"shape": "bell", "freq_hz": 700.0, "gain_db": 6.0, "q": 2.0},
            {"shape": "high_shelf", "freq_hz": 2500.0, "gain_db": -5.0},
        ]
    },
    "pitch_shifter": {"voices": [{"interval": "P5 above"}, {"interval": "third below", "level_db": -3.0}]},
    "radio_link": {"dropouts_per_minute": 30.0},
    "source pitch_track": {"low_hz": 60.0, "high_hz": 1500.0},
    "following_synth": {
        "voices": [{"waveform": "saw", "unison": 2, "spread": 0.5}, {"interval": "P5 below", "waveform": "pulse"}],
    },
}
"""Settings that cannot be drawn, being neither numbers nor words out of a few, or that make more happen at once;
where none are given, the defaults."""

ALSO: dict[str, list[dict[str, Any]]] = {
    "chorus": [{"note": "1/8", "voices": 5, "depth_ms": 8.0}],
    "controller breakpoints": [{"points": [["1:1", 0.1], ["1:1.2", 0.9], ["1:1.6", 0.3], ["1:2", 0.5]]}],
    "controller lfo": [
        {"note": "1/16 triplet", "phase": 0.4, "shape": "square"},
        {"shape": "sample and hold", "rate_hz": 19.0},
    ],
    "convolver": [{"file": "four_ways.wav", "response_level": "as recorded", "pre_delay_ms": 30.0}],
    "compressor": [{"detector": "rms", "dry_db": -6.0, "make_up_db": 6.0}],
    "delay": [{"note": "1/16 swung", "feedback_percent": 60.0}],
    "drive": [{"shape": "hard"}, {"shape": "asymmetric", "bias": 1.2, "quality": "fast"}],
    "flanger": [{"note": "1/16 dotted", "stereo_phase": 0.5, "through_zero": True}],
    "following_synth": [
        {
            "voices": [
                {"interval": "third above", "waveform": "triangle", "unison": 3, "spread": 1.0},
                {"waveform": "noise"},
            ],
            "lfos": [{"shape": "sample and hold", "rate_hz": 9.0, "cutoff_octaves": 1.0}],
            "snap_rate": 800.0,
            "snap_to": "key",
        },
        {
            "voices": [{"waveform": "pulse", "width": 0.2}, {"waveform": "sine", "interval": "P8 below"}],
            "lfos": [{"note": "1/8 triplet", "width": 0.2, "pitch_cents": 30.0}, {"shape": "square", "level_db": 6.0}],
            "amplitude": "envelope",
            "drive_db": 12.0,
        },
    ],
    "phaser": [{"note": "1/8 triplet", "shape": "sample and hold", "stages": 5, "stereo_phase": 0.2}],
    "pitch_shifter": [
        {
            "voices": [
                {"pitch": "D3", "drift_cents": 8.0},
                {"interval": "M10 below", "pan": -0.6, "delay_ms": 7.0},
                {"interval": "sixth above", "pan": 0.6, "drift_cents": 3.0},
            ],
            "lowest_note": "C3",
        },
        {"voices": [{"interval": "P8 below"}, {"interval": "M3 above", "pan": 0.3}], "notes": "several"},
    ],
    "ring_modulator": [{"follows": "pitch", "ratio": 1.5}],
    "tremolo": [{"note": "1/16", "shape": "square", "stereo_phase": 0.5}],
    "vibrato": [{"note": "1/8", "shape": "triangle", "depth_cents": 80.0}],
    "wandering_bass": [{"every": "1/16 swung"}],
}
"""Settings in words that lead to other paths through a block."""


NEEDED = {"convolver": 'file = "response.wav"\n'}
"""Lines without which a block cannot be, as a sketch has them."""

ADDS_A_FLOOR = ("noise",)
"""Blocks that add a sound of their own which never ends, and is no tail of what they pass."""


@cache
def asset_folder() -> Path:
    """A folder with what subjects read.

    A MIDI file with every controller on every channel, moving on the first; impulse responses from one and two sides.
    """
    track = mido.MidiTrack(
        mido.Message("control_change", channel=c, control=n, value=(37 * n + 11 * c + 50 * k) % 128)
        for c in range(16)
        for k in range(1 if c else 3)
        for n in range(120)
    )
    for message in track[::24]:
        message.time = 3  # milliseconds at 500 ticks a quarter: 0.27 s in all
    file = mido.MidiFile(type=0, ticks_per_beat=500)
    file.tracks.append(track)
    folder = Path(tempfile.mkdtemp(prefix="chainsim-contract-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    file.save(folder / "controllers.mid")
    for name, channels in (("response", 2), ("four_ways", 4)):
        write_response(folder / f"{name}.wav", channels)
    return folder


def write_response(path: Path, channels: int) -> None:
    """Write noise that decays by 60 dB in 0.15 s, for 0.3 s."""
    t = np.arange(14_400) / 48_000.0
    taps = rng_of("response").standard_normal((t.size, channels)) * 10.0 ** (-3.0 * t / 0.15)[:, None]
    soundfile.write(path, 0.2 * taps, 48_000, subtype="DOUBLE")


def subject_class(subject: str) -> type[Block[Any]]:
    """The class behind a name in `SUBJECTS`."""
    kind, _, name = subject.rpartition(" ")
    if kind == "source":
        return SOURCES[name]
    return CONTROLLER_TYPES[name] if kind else block_type(subject)


@dataclass
class Feed:
    """All that reaches a block: its ports, its detector, its movable settings (in the user's units), tempo, pitch."""

    ports: dict[str, Audio]
    moving: dict[str, Array] = field(default_factory=dict)
    bpm: Array | None = None
    pitch: Array | None = None

    def until(self, n: int) -> Feed:
        """The first n frames."""
        return Feed(
            {k: np.ascontiguousarray(v[:, :n]) for k, v in self.ports.items()},
            {k: v[:n] for k, v in self.moving.items()},
            None if self.bpm is None else self.bpm[:n],
            None if self.pitch is None else self.pitch[:, :n],
        )

    def then(self, n: int, other: Feed) -> Feed:
        """Return this feed before frame n, the other from there on."""
        return Feed(
            {k: np.hstack([v[:, :n], other.ports[k][:, n:]]) for k, v in self.ports.items()},
            {k: np.concatenate([v[:n], other.moving[k][n:]]) for k, v in self.moving.items()},
            None if self.bpm is None or other.bpm is None else np.concatenate([self.bpm[:n], other.bpm[n:]]),
            None if self.pitch is None or other.pitch is None else np.hstack([self.pitch[:, :n], other.pitch[:, n:]]),
        )


class Subject:
    """A block or controller with settings, prepared for one rate and layout.

    Parameters
    ----------
    name : str
        Of `SUBJECTS`.
    channels : int or dict of int
        Of every audio port, or port by port.
    moves : bool
        Whether it is told to expect its movable settings anywhere in their ranges.
    """

    def __init__(
        self,
        name: str,
        *,
        sample_rate_hz: float = 48_000.0,
        channels: int | Mapping[str, int] = 1,
        moves: bool = False,
        seed: int = 1234,
        **settings: Any,
    ) -> None:
        self.name, self.rate_hz, self.moves = name, sample_rate_hz, moves
        self.cls = cls = subject_class(name)
        given = {**BEYOND_NUMBERS.get(name, {}), **settings}
        chosen = cls.settings_type(**given)
        self.specs: dict[str, Spec] = {n: s for n, s in cls.settings_type.specs().items() if s.movable}
        self.widths = dict.fromkeys(cls.audio_inputs, channels) if isinstance(channels, int) else dict(channels)
        if cls.has_detector:
            self.widths.setdefault("detector", self.widths[cls.audio_inputs[0]])
        self.block = cls(chosen)
        self.out_channels = cls.output_channels(chosen, self.widths)
        held = {n: (float(getattr(chosen, n)),) * 2 for n in self.specs}
        self.block.prepare(
            Context(
                sample_rate_hz=sample_rate_hz,
                channels=self.widths,
                out_channels=self.out_channels,
                extremes={n: ends(s, sample_rate_hz) for n, s in self.specs.items()} if moves else held,
                tempo_bpm=(90.0, 240.0),
                seed=seed,
                key="D minor",
                assets=Assets(asset_folder() if cls.reads_files else None),
            )
        )

    def feed(self, *words: object, frames: int = 3_000, level: float = 0.5) -> Feed:
        """Make bursts that differ from port to port, moving settings if it `moves`, and a tempo that jumps."""
        rng = rng_of(self.name, *words)
        ports = {p: bursts(rng, width, frames, self.rate_hz, level) for p, width in self.widths.items()}
        moving = {}
        if self.moves:
            moving = {n: wander(rng, s, frames, self.rate_hz) for n, s in self.specs.items()}
        bpm = np.where(np.arange(frames) < frames // 3, 120.0, 97.0 + rng.integers(100))
        pitch = played(rng, frames, self.rate_hz) if "pitch" in self.cls.control_inputs else None
        return Feed(ports, moving, bpm, pitch)

    def run(self, feed: Feed, cuts: Sequence[int] = (), *, start: int = 0, stop: int | None = None) -> Audio:
        """Output and below it the readings of the frames from `start` to `stop`, from the block's present state on."""
        frames = len(feed.bpm) if feed.bpm is not None else next(iter(feed.ports.values())).shape[1]
        rows = {}
        for name, spec in self.specs.items():
            values = feed.moving.get(name)
            if values is None:
                values = np.full(frames, float(getattr(self.block.settings, name)))
            rows[name] = row_values(spec, values)
        control = {}
        if "tempo" in self.cls.control_inputs:
            control["tempo"] = tempo_rows(feed.bpm, frames, self.rate_hz)
        if "pitch" in self.cls.control_inputs:
            control["pitch"] = unpitched(frames) if feed.pitch is None else feed.pitch
        told = len(self.cls.readings)
        y = np.full((self.out_channels + told, frames), np.nan)
        for a, b in itertools.pairwise([start, *cuts, frames if stop is None else stop]):
            out, readings = np.full((self.out_channels, b - a), np.nan), np.full((told, b - a), np.nan)
            inputs = {k: np.ascontiguousarray(v[:, a:b]) for k, v in feed.ports.items()}
            before = {k: v.tobytes() for k, v in inputs.items()}
            moving = {k: np.ascontiguousarray(v[a:b]) for k, v in rows.items()}
            controls = {k: np.ascontiguousarray(v[:, a:b]) for k, v in control.items()}
            self.block.process(Io(a, b - a, inputs, controls, Moving(moving), out, readings))
            assert {k: v.tobytes() for k, v in inputs.items()} == before, "the block wrote to its input"
            y[: self.out_channels, a:b], y[self.out_channels :, a:b] = out, readings
        return y[:, start:stop]

    @cached_property
    def silent(self) -> bool:
        """Whether it has no audio port."""
        return not self.cls.audio_inputs


def drawn_settings(name: str, *words: object, rate_hz: float = 48_000.0, at_ends: bool = False) -> dict[str, Any]:
    """Settings drawn at random from their ranges (evenly, or evenly in the logarithm), or each at one of its ends."""
    rng = rng_of(name, "settings", *words)
    return {n: _drawn(rng, s, rate_hz, at_ends) for n, s in _drawable(subject_class(name).settings_type).items()}


def _drawable(settings: type[Settings]) -> dict[str, Spec]:
    specs = settings.specs().items()
    return {n: s for n, s in specs if s.choices or isinstance(s.default, bool) or s.low is not None}


def _drawn(rng: np.random.Generator, spec: Spec, rate_hz: float, at_ends: bool) -> Any:
    if spec.choices:
        return spec.choices[rng.integers(len(spec.choices))]
    if isinstance(spec.default, bool):
        return bool(rng.integers(2))
    assert spec.low is not None
    assert spec.high is not None
    low, high = spec.low, min(spec.high, TOP_OF_RATE * rate_hz) if spec.unit == "Hz" else spec.high
    if spec.may_be_off and at_ends and rng.random() < 0.3:
        return -math.inf
    u = float(rng.integers(2)) if at_ends else rng.random()
    if isinstance(spec.default, int):
        return int(low + round(u * (high - low)))
    if low > 0.0 and high / low >= 20.0:
        return float(min(max(low * (high / low) ** u, low), high))
    return float(low + u * (high - low))


def corners(name: str, rate_hz: float) -> Iterator[dict[str, Any]]:
    """Each setting at each of its ends and each of its words, alone; then a dozen random corners of all at once.

    A source's settings come from the sketch's header, not from a table of its own: it has none to turn.
    """
    if name.startswith("source "):
        yield {}
        return
    for setting, spec in _drawable(subject_class(name).settings_type).items():
        if spec.choices:
            values: list[Any] = list(spec.choices)
        elif isinstance(spec.default, bool):
            values = [True, False]
        else:
            assert spec.low is not None
            assert spec.high is not None
            high = min(spec.high, TOP_OF_RATE * rate_hz) if spec.unit == "Hz" else spec.high
            values = [spec.low, high, *([-math.inf] if spec.may_be_off else [])]
            if isinstance(spec.default, int):
                values = [int(v) for v in values]
        yield from ({setting: v} for v in values)
    for i in range(12):
        yield drawn_settings(name, "corner", i, rate_hz=rate_hz, at_ends=True)


def made(name: str, settings: Mapping[str, Any], **how: Any) -> Subject | None:
    """The subject, or None where these settings do not go together and are refused with a SettingError."""
    try:
        return Subject(name, **how, **settings)
    except SettingError:
        return None
    except ValueError as error:
        if type(error).__name__ == "ValidationError":
            return None
        raise
