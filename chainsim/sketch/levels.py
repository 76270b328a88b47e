"""What the figures of a recording stand for on wires, and what the house takes them with.

Where a default is no arithmetic it is common practice, no source: the maker's data sheet says it better.
"""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import model_validator

from chainsim.settings import Settings, fixed, flag, words


class LevelSettings(Settings):
    """What 0 dBFS stands for at the chain's input and output; the input's can be estimated from a recording."""

    alternatives = (("input_dbu", "calibration_file"),)

    input_dbu: float | None = fixed(None, -60.0, 40.0, "dBu", "a sine that just reaches 0 dBFS has this level going in")
    output_dbu: float | None = fixed(
        None, -60.0, 40.0, "dBu", "what 0 dBFS stands for coming out; by default the same as going in"
    )
    calibration_file: str | None = words(
        None, "instead of input_dbu: a recording beside the sketch, of silence and then your loudest note"
    )
    microphone_mv_per_pa: float = fixed(
        2.0, 0.01, 200.0, "1", "with calibration_file: sensitivity of the microphone, in mV for 1 Pa (94 dB SPL)"
    )
    loudest_db_spl: float = fixed(
        120.0, 60.0, 160.0, "1", "with calibration_file: how loud that note is at the microphone, in dB SPL"
    )
    preamp_gain_db: float = fixed(
        0.0, -40.0, 90.0, "dB", "with calibration_file: gain between the microphone and the chain"
    )
    source_ohms: float = fixed(1000.0, 1.0, 1e6, "ohm", "output impedance of the last box")
    phantom: bool = flag(True, "whether the house has phantom supply on this line, as an active direct box needs")

    @model_validator(mode="after")
    def _has_an_input_level(self) -> LevelSettings:
        if (self.input_dbu is None) == (self.calibration_file is None):
            raise ValueError("allowed either input_dbu or a calibration_file, and one of them is needed")
        only_with = {"microphone_mv_per_pa", "loudest_db_spl", "preamp_gain_db"} & self.model_fields_set
        if self.calibration_file is None and only_with:
            raise ValueError(f"{min(only_with)} does nothing without a calibration_file")
        return self


class ActiveBoxSettings(Settings):
    """An active direct box: buffered, with a supply."""

    input_ohms: float = fixed(1e6, 1000.0, 1e8, "ohm", "input impedance")
    output_ohms: float = fixed(150.0, 1.0, 10_000.0, "ohm", "output impedance")
    gain_db: float = fixed(0.0, -60.0, 20.0, "dB", "gain, with whatever pad is switched in")
    clip_dbu: float = fixed(8.0, -40.0, 40.0, "dBu", "level at its input from which on it clips, with the pad")
    noise_dbu: float = fixed(-100.0, -140.0, 0.0, "dBu", "noise at its output, 20 Hz to 20 kHz, unweighted")


class PassiveBoxSettings(Settings):
    """A passive direct box: a transformer, and perhaps a pad before it."""

    turns_ratio: float = fixed(12.0, 1.0, 50.0, "1", "turns, from input to output")
    pad_db: float = fixed(0.0, 0.0, 60.0, "dB", "what its pad takes")
    clip_dbu: float = fixed(
        20.0, -40.0, 50.0, "dBu", "level at the transformer, behind the pad, from which on it saturates"
    )


class MicrophoneInputSettings(Settings):
    """A microphone input of the house."""

    input_ohms: float = fixed(1500.0, 100.0, 1e6, "ohm", "input impedance")
    clip_dbu: float = fixed(0.0, -60.0, 40.0, "dBu", "largest level it takes, with whatever pad it has switched in")
    noise_dbu: float = fixed(-128.0, -140.0, -60.0, "dBu", "equivalent input noise, 20 Hz to 20 kHz, unweighted")


class LineInputSettings(Settings):
    """A line input of the house."""

    input_ohms: float = fixed(10_000.0, 100.0, 1e6, "ohm", "input impedance")
    clip_dbu: float = fixed(20.0, -20.0, 40.0, "dBu", "largest level it takes")
    noise_dbu: float = fixed(-90.0, -140.0, -40.0, "dBu", "equivalent input noise, 20 Hz to 20 kHz, unweighted")


@dataclass(frozen=True)
class Levels:
    """A sketch's levels, and what stands between the chain and the house."""

    settings: LevelSettings
    active_box: ActiveBoxSettings
    passive_box: PassiveBoxSettings
    microphone_input: MicrophoneInputSettings
    line_input: LineInputSettings
