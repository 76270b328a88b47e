"""What 0 dBFS stands for at a chain's input: stated, or estimated from a recording of silence and the loudest note.

The note's level at the microphone, by the player's own sound level meter, and the microphone's sensitivity give its
voltage; how it lies in the recording gives full scale. Levels of sound are taken over 125 ms, a meter's "fast". The
silence is a check: no microphone is quieter than the thermal noise of 150 ohm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.audio.reading import open_take
from chainsim.block import Assets
from chainsim.errors import SettingError, SketchError
from chainsim.measure.electrical import SINE_CREST_DB, microphone_dbu, thermal_noise_dbu
from chainsim.measure.gaps import measure_gaps
from chainsim.sketch.levels import LevelSettings
from chainsim.units import Array

FAST_S = 0.125
QUIETEST_OHMS = 150.0
LONGEST_S = 120.0
CALIBRATION = ("loudest_db_spl", "microphone_mv_per_pa", "preamp_gain_db")


@dataclass(frozen=True)
class InputLevel:
    """What 0 dBFS stands for; where it was estimated, from what, and what speaks against it."""

    full_scale_dbu: float
    estimate: str | None = None
    warnings: tuple[str, ...] = ()


def input_level(settings: LevelSettings, assets: Assets) -> InputLevel:
    """Find a sketch's input level.

    Raises
    ------
    SketchError, AudioError
        If the recording cannot be read, is silent or too long.
    """
    if settings.input_dbu is not None:
        return InputLevel(settings.input_dbu)
    assert settings.calibration_file is not None
    place = "levels.calibration_file"
    try:
        path = assets.path(settings.calibration_file)
    except SettingError as error:
        raise SketchError(f"{place}: {error}") from error
    with open_take(path) as take:
        if take.frames > LONGEST_S * take.sample_rate_hz:
            raise SketchError(f"{place}: longer than {LONGEST_S:g} s; silence and one note are enough")
        rate_hz, audio = take.sample_rate_hz, take.read(0, take.frames)
    loudest_dbfs, gaps = _loudest_dbfs(audio, rate_hz), measure_gaps(audio.T, rate_hz)
    if loudest_dbfs == -math.inf:
        raise SketchError(f"{place}: silent, or shorter than {1000 * FAST_S:g} ms: there is no note in it")
    if math.isnan(gaps.noise_rms_dbfs):
        raise SketchError(f"{place}: no note stands out of silence in it: record some silence, then your loudest note")
    gain_db = settings.preamp_gain_db
    note_dbu = microphone_dbu(settings.microphone_mv_per_pa, settings.loudest_db_spl) + gain_db
    full_scale_dbu = note_dbu - loudest_dbfs
    assumed = [name for name in CALIBRATION if name not in settings.model_fields_set]
    words = (
        f"estimated: the loudest note, {settings.loudest_db_spl:g} dB SPL at a microphone of"
        f" {settings.microphone_mv_per_pa:g} mV/Pa with {gain_db:g} dB of gain, is {note_dbu:+.1f} dBu going in and"
        f" {loudest_dbfs:.1f} dBFS in the recording; {_how_good(assumed)}"
    )
    return InputLevel(full_scale_dbu, words, _doubts(settings, full_scale_dbu, gaps.noise_rms_dbfs))


def _how_good(assumed: list[str]) -> str:
    if not assumed:
        return "as good as the level you read off a meter"
    verb = "is" if len(assumed) == 1 else "are"
    return f"no more than a guess, for {' and '.join(assumed)} {verb} assumed: say yours"


def _loudest_dbfs(audio: Array, sample_rate_hz: float) -> float:
    """Largest level over 125 ms, of a sine: its rms and 3 dB."""
    frames = max(1, round(FAST_S * sample_rate_hz))
    if audio.shape[1] < frames:
        return -math.inf
    sums = np.cumsum(np.pad(audio**2, ((0, 0), (1, 0))), axis=1)
    power = float(np.max(sums[:, frames:] - sums[:, :-frames])) / frames
    return 10.0 * math.log10(power) + SINE_CREST_DB if power > 0.0 else -math.inf


def _doubts(settings: LevelSettings, full_scale_dbu: float, noise_dbfs: float) -> tuple[str, ...]:
    if not math.isfinite(noise_dbfs):  # digital silence tells nothing of the microphone
        return ()
    at_microphone_dbu = noise_dbfs + SINE_CREST_DB + full_scale_dbu - settings.preamp_gain_db
    least_dbu = thermal_noise_dbu(QUIETEST_OHMS)
    if at_microphone_dbu < least_dbu:
        return (
            f"levels: by this estimate the silence is {at_microphone_dbu:.0f} dBu at the microphone, less than a"
            f" resistance of {QUIETEST_OHMS:g} ohm makes by its warmth ({least_dbu:.0f} dBu):"
            " loudest_db_spl or microphone_mv_per_pa is stated too low",
        )
    return ()
