"""Settings that belong to no type of block: those at the top of a sketch, and those that every block has."""

from __future__ import annotations

from typing import Annotated, Literal

from chainsim.music.horns import ANY_HORN_HZ, find_horn
from chainsim.music.meter import parse_meter
from chainsim.settings import Settings, choice, fixed, flag, readable_by, whole, words


class Header(Settings):
    """The settings at the top of a sketch."""

    format: int = whole(1, 1, 1, "version of the sketch format")
    title: str = words("untitled", "what the sound is called")
    tempo_bpm: float = fixed(120.0, 20.0, 400.0, "bpm", "beats (quarters) per minute")
    key: str | None = words(None, 'key, such as "E minor" or "G dorian"; sounding unless pitch_names = "written"')
    instrument: str | None = words(None, 'the horn, such as "tenor sax": range of its notes and transposition')
    pitch_names: Literal["sounding", "written"] = choice("sounding", "whether key and pitches are as heard or as read")
    lowest_hz: float | None = fixed(None, 25.0, 5000.0, "Hz", "lowest pitch to follow, if not the instrument's own")
    highest_hz: float | None = fixed(None, 25.0, 5000.0, "Hz", "highest pitch to follow, if not the instrument's own")
    a4_hz: float = fixed(440.0, 380.0, 480.0, "Hz", "tuning: frequency of A4")
    meter: Annotated[str, readable_by(parse_meter)] = words("4/4", "beats in a bar, for cues and lanes in bars")
    first_beat_s: float = fixed(0.0, 0.0, 3600.0, "s", "when bar 1 begins in the take; grids and bars count from there")
    feed: Literal["as_is", "mono"] = choice("as_is", "what goes to the house: as it comes, or folded to one channel")
    trim_db: float = fixed(0.0, -30.0, 30.0, "dB", "gain of what comes out; a patch may have its own")
    cue_file: str | None = words(None, "a file of cues beside the sketch: .csv, .toml or .mid")
    cue_channel: int = whole(0, 0, 16, "MIDI channel that a .mid file of cues is read on; 0: all of them")

    @property
    def pitch_range_hz(self) -> tuple[float, float]:
        """Lowest and highest pitch to follow: as written, or what the instrument reaches, or what any horn does."""
        horn = None if self.instrument is None else find_horn(self.instrument)
        low_hz, high_hz = ANY_HORN_HZ if horn is None else horn.search_hz(self.a4_hz)
        return self.lowest_hz or low_hz, self.highest_hz or high_hz

    @property
    def horn_lowest_hz(self) -> float:
        """Lowest pitch to expect: as written, or the lowest usual note of the instrument, or that of any horn."""
        if self.lowest_hz is not None or self.instrument is None:
            return self.lowest_hz or ANY_HORN_HZ[0]
        return find_horn(self.instrument).range_hz(self.a4_hz)[0]


class Common(Settings):
    """Settings that every block has beside its own."""

    engaged: bool = flag(True, "false takes the block out of the chain: what comes in goes on as it is")
    latency_ms: float = fixed(0.0, 0.0, 500.0, "ms", "extra latency that stands for a device you have measured")
    tails: Literal["by_kind", "ring", "cut"] = choice(
        "by_kind", "what a block does when a patch leaves it: ring out, or be cut; echoes and reverbs ring by default"
    )
    switching: Literal["by_patch", "always_on", "free_standing"] = choice(
        "by_patch", "what engages it: the patch; nothing, for it stays in every patch; or a switch, whatever the patch"
    )
    when_off: Literal["by_kind", "pass", "silent"] = choice(
        "by_kind", "what it gives while it is disengaged: what comes in, or nothing; by default synths give nothing"
    )
    clip_dbu: float | None = fixed(
        None, -60.0, 40.0, "dBu", "level at which the device this stands for clips at its output: for the level plan"
    )
    noise_dbu: float | None = fixed(
        None, -140.0, 0.0, "dBu", "noise that this device adds at its output, 20 Hz to 20 kHz: for the level plan"
    )
    listens_to: str | None = words(
        None, 'what the detector hears: "input" (the take) or a block; default its own input'
    )
