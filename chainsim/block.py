"""What a block is: declared ports and settings, prepare, reset, process; and the registry that finds blocks by name."""

from __future__ import annotations

import hashlib
import importlib
import json
import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar, Generic, Literal, TypeAlias, TypeVar, get_args

from chainsim.errors import ChainsimError, SettingError, nearest
from chainsim.settings import Settings
from chainsim.units import Array, Audio

S = TypeVar("S", bound=Settings)
B = TypeVar("B", bound="Block[Any]")

Copies: TypeAlias = Literal["all", "rest", "nothing"]
"""The rest is what has no pitch: tongue, breath and keys."""


class Moving:
    """Movable settings of one span: `moving.feedback` is a row with one value per frame."""

    __slots__ = ("rows",)

    def __init__(self, rows: Mapping[str, Array]) -> None:
        self.rows = rows

    def __getattr__(self, name: str) -> Array:
        try:
            return self.rows[name]
        except KeyError:
            raise AttributeError(name) from None


@dataclass(slots=True)
class Io:
    """What a block works on in one span of frames.

    Attributes
    ----------
    n0 : int
        Absolute index of the first frame.
    frames : int
        How many; may be 0.
    inputs : dict of ndarray, shape (channels, frames)
        One array per audio port and, under "detector", what the detector hears. Never to be written.
    control : dict of ndarray, shape (rows, frames)
        One array per control port.
    moving : Moving
        Rows of the movable settings.
    y : ndarray, shape (channels, frames) or (rows, frames)
        To be filled, every frame.
    readings : ndarray, shape (len(block.readings), frames)
        To be filled by blocks that declare readings.
    """

    n0: int
    frames: int
    inputs: dict[str, Audio]
    control: dict[str, Array]
    moving: Moving
    y: Audio
    readings: Array

    @property
    def x(self) -> Audio:
        """The sound at the port named "in"."""
        return self.inputs["in"]

    @property
    def detector(self) -> Audio:
        """What the detector hears: the block's own input unless the sketch says otherwise."""
        return self.inputs["detector"]


@dataclass(frozen=True)
class Assets:
    """Files a sketch refers to; none may lie outside the sketch's own folder."""

    folder: Path | None = None

    def path(self, name: str) -> Path:
        """Return the file `name` inside the sketch's folder.

        Raises
        ------
        SettingError
            If the sketch has no folder, the name leads outside it, or there is no such file.
        """
        if self.folder is None:
            raise SettingError(f'file "{name}": this sketch has no folder to take files from')
        found = (self.folder / name).resolve()
        if not found.is_relative_to(self.folder.resolve()):
            raise SettingError(f'file "{name}": lies outside the sketch\'s own folder')
        if not found.is_file():
            raise SettingError(f'file "{name}": not found in {self.folder}')
        return found


@dataclass(frozen=True)
class Context:
    """What a block may know when it prepares.

    Attributes
    ----------
    sample_rate_hz : float
    channels : dict of int
        Channel count of each audio port, and of "detector".
    out_channels : int
        Channels (or rows) to fill.
    extremes : dict of (low, high)
        Smallest and largest value each movable setting takes in this render.
    tempo_bpm : (low, high)
        Slowest and fastest tempo of this render.
    lowest_hz : float
        Lowest pitch that the sketch's horn is expected to play.
    seed : int
        Made of the settings and the block's own name, never of its place in a graph.
    key, instrument, a4_hz, meter
        Of the sketch: key and horn as names, sounding pitch; None where not given.
    assets : Assets
    """

    sample_rate_hz: float
    channels: Mapping[str, int] = field(default_factory=lambda: {"in": 1})
    out_channels: int = 1
    extremes: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    tempo_bpm: tuple[float, float] = (120.0, 120.0)
    lowest_hz: float = 40.0
    seed: int = 0
    key: str | None = None
    instrument: str | None = None
    a4_hz: float = 440.0
    meter: str = "4/4"
    assets: Assets = Assets()


@dataclass(frozen=True)
class LatencyProbe:
    """How a block's latency can be measured: settings under which its output is its input, only later."""

    settings: Mapping[str, Any] = field(default_factory=dict)
    low_hz: float = 0.0
    high_hz: float | None = None


class Block(Generic[S]):
    """One processor. Subclasses declare what is below and define prepare, reset and process.

    Class attributes
    ----------------
    audio_inputs : names of audio ports; the first is the one a chain feeds.
    has_detector : whether it has a detector, so that a sketch may set `listens_to`.
    control_inputs : control ports by name, such as "tempo".
    rows : names of the output's rows, for a block whose output is control and not sound.
    readings : names of rows it reports about itself (a gate's gain), for meters and pictures.
    rings : whether its tail is worth hearing when it is disengaged (`tails` says otherwise where wanted).
    generates : makes sound of its own, so disengaged means silent rather than passing.
    reads_files : takes files from the sketch's folder; then blocks of sketches in other folders are never one node.
    latency_probe : how to measure its latency.
    source : the published method.

    Instance attributes, set by prepare
    -----------------------------------
    latency_samples : delay nobody asked for; fractional where it is.
    tail_s : how long the output may stay above -90 dB of its loudest after the input ends.
    response_s : for blocks whose answer depends on the note, else None.
    age_samples : for control outputs, how old the newest value is.
    """

    type_name: ClassVar[str] = ""
    settings_type: ClassVar[type[Settings]] = Settings
    audio_inputs: ClassVar[tuple[str, ...]] = ("in",)
    has_detector: ClassVar[bool] = False
    control_inputs: ClassVar[tuple[str, ...]] = ()
    rows: ClassVar[tuple[str, ...]] = ()
    readings: ClassVar[tuple[str, ...]] = ()
    rings: ClassVar[bool] = False
    generates: ClassVar[bool] = False
    reads_files: ClassVar[bool] = False
    latency_probe: ClassVar[LatencyProbe] = LatencyProbe()
    source: ClassVar[str] = ""

    latency_samples: float = 0.0
    tail_s: float = 0.0
    response_s: float | None = None
    age_samples: float = 0.0

    def __init__(self, settings: S) -> None:
        self.settings = settings

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        """Channels that come out for those that go in; by default as many as the widest audio port has."""
        return len(cls.rows) or max((channels[port] for port in cls.audio_inputs), default=1)

    @classmethod
    def controls_for(cls, settings: Any) -> tuple[str, ...]:
        """Control ports that these settings make use of: a source that nobody needs is not run."""
        return cls.control_inputs

    @classmethod
    def is_seeded(cls, settings: Any) -> bool:
        """Whether it uses randomness; then two blocks of other names are never one node."""
        return False

    @classmethod
    def follows_key(cls, settings: Any) -> bool:
        """Whether what it plays depends on the key; a change of key then makes another instance of it."""
        return False

    @classmethod
    def copies(cls, settings: Any, extremes: Mapping[str, tuple[float, float]]) -> Copies:
        """How much of what comes in comes out as it came, if later: that forms a comb with another copy of it."""
        return "nothing" if cls.generates else "all"

    def prepare(self, context: Context) -> None:
        """Allocate and design for one rate and layout; leaves the block as after reset."""

    def reset(self) -> None:
        """Restore all state to what prepare left."""

    def process(self, io: Io) -> None:
        """Fill io.y from io.inputs."""
        raise NotImplementedError


_types: dict[str, type[Block[Any]]] = {}

_OTHER_NAMES = {
    "comp": "compressor", "distortion": "drive", "echo": "delay", "eq": "equalizer", "gate": "noise_gate",
    "hall": "reverb", "harmonizer": "pitch_shifter", "impulse_response": "convolver", "ir": "convolver",
    "octave": "frequency_divider", "octaver": "frequency_divider", "overdrive": "drive", "plate": "reverb",
    "synth": "following_synth", "volume": "gain", "wah": "envelope_filter",
}  # fmt: skip
"""What players also say, by the type it is here."""


def register(type_name: str) -> Callable[[type[B]], type[B]]:
    """Enter a block class under the name that sketches use."""

    def enter(cls: type[B]) -> type[B]:
        if type_name in _types:
            raise ChainsimError(f'two blocks are registered as "{type_name}"')
        for base in getattr(cls, "__orig_bases__", ()):
            for argument in get_args(base):
                if isinstance(argument, type) and issubclass(argument, Settings):
                    cls.settings_type = argument
        cls.type_name = type_name
        _types[type_name] = cls
        return cls

    return enter


def block_type_names() -> list[str]:
    """Names of all block types, in alphabetical order: one file each in chainsim/blocks."""
    import chainsim.blocks

    return sorted(m.name for m in pkgutil.iter_modules(chainsim.blocks.__path__) if not m.name.startswith("_"))


def block_type(type_name: str) -> type[Block[Any]]:
    """Return the class of a block type.

    Raises
    ------
    SettingError
        If there is no such type; the message names the nearest one.
    """
    if type_name not in _types:
        if type_name not in block_type_names():
            known = _OTHER_NAMES.get(type_name.lower())
            meant = f'; did you mean "{known}"?' if known else nearest(type_name, block_type_names())
            raise SettingError(f'no block type "{type_name}"{meant}')
        importlib.import_module(f"chainsim.blocks.{type_name}")
    return _types[type_name]


def settings_json(settings: Settings) -> str:
    """Canonical text of settings, for keys, seeds and hashes."""
    return json.dumps(settings.model_dump(), sort_keys=True, default=str)


def seed_of(type_name: str, name: str, settings: Settings) -> int:
    """Seed made of a block's type, name and settings, the same wherever the block stands."""
    text = f"{type_name}\0{name}\0{settings_json(settings)}"
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "little") >> 1
