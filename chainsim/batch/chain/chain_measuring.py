"""`chainsim measure --chain`: a sketch's chain and every patch of it, measured by test signals."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from chainsim.audio.writing import refuse_same_file
from chainsim.batch.chain.chain_gates import gate_test
from chainsim.batch.chain.chain_tests import band_test, click_test, noise_test, sine_test
from chainsim.batch.chain.chain_under_test import ChainUnderTest, is_driven, pinned
from chainsim.batch.playing import AS_WRITTEN
from chainsim.errors import AudioError, GraphError, SketchError
from chainsim.measure.arrival import find_click
from chainsim.measure.chain_figures import ChainFigures, LargestGain, Latency
from chainsim.measure.clear_frequency import clear_frequency, depth_db
from chainsim.measure.filter_response import STRAY_LIMIT_DB, BandSounds, FilterResponse, band_sounds
from chainsim.measure.idle_noise import measure_idle_noise
from chainsim.measure.sine_distortion import unsettled_percent
from chainsim.measure.tail import Tail, measure_tail
from chainsim.sketch.model import Sketch
from chainsim.units import db_to_gain

RATE_HZ = 48_000.0
LEVEL_DBFS = -30.0
QUIET_DBFS = -60.0
"""Howling begins from quiet, where a compressor has not turned down yet."""
SINE_HZ = 440.0
LATER_THAN_SAID_MS = 0.1
VOICES_STRAY_DB = -20.0
"""Where voices follow the pitch, a band with more from elsewhere holds their notes, whose level is no gain."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class ChainReport:
    """Figures of the chain as written, then of every patch."""

    title: str
    room: str | None
    sample_rate_hz: float
    patches: tuple[ChainFigures, ...]
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain values for --json."""
        return {
            "title": self.title,
            "room": self.room,
            "sample_rate_hz": self.sample_rate_hz,
            "patches": [figures.to_dict() for figures in self.patches],
        }


def measure_chain(
    sketch: Sketch,
    patch: str | None = None,
    *,
    sample_rate_hz: float = RATE_HZ,
    progress: Progress = lambda done, whole: None,
) -> ChainReport:
    """Measure a chain by test signals, mono in.

    Parameters
    ----------
    sketch : Sketch
    patch : str, optional
        This patch alone.
    sample_rate_hz : float
    progress : callable
        Gets (done, in all).

    Raises
    ------
    SettingError
        If there is no such patch.
    SketchError, GraphError
        If a chain cannot be built.
    """
    names = [None, *sketch.patches] if patch is None else [patch]
    alone = [sketch.alone(name) for name in names]
    sounds = band_sounds(sample_rate_hz, LEVEL_DBFS)
    firsts = [next(i for i, other in enumerate(alone) if other.base == one.base) for one in alone]
    different = [alone[i] for i in dict.fromkeys(firsts)]
    measured = {}
    with ThreadPoolExecutor(os.cpu_count()) as executor:
        each = executor.map(lambda one: _measured(one, sounds), different)
        for i, figures in zip(dict.fromkeys(firsts), each, strict=True):
            measured[i] = figures
            progress(len(measured), len(different))
    patches = tuple(replace(measured[i], name=_name(one)) for i, one in zip(firsts, alone, strict=True))
    return ChainReport(sketch.title, sketch.room, sample_rate_hz, patches, sketch.warnings)


def _name(sketch: Sketch) -> str:
    return AS_WRITTEN if sketch.patch is None else sketch.patch


def check_plot(path: Path, sketch_path: Path) -> None:
    """Refuse what `write_plot` could not write, before anything is measured.

    Raises
    ------
    AudioError
        If it is the sketch itself, or no picture by its ending.
    """
    from chainsim.listen.plots.chain_plot import FORMATS

    refuse_same_file(path, [sketch_path])
    if path.suffix.lower() not in FORMATS:
        raise AudioError(f'{path}: cannot draw "{path.suffix}" files, allowed {" | ".join(FORMATS)}')


def write_plot(report: ChainReport, path: Path) -> None:
    """Draw a report into a picture (.png, .svg or .pdf), whole or not at all; AudioError if it cannot be written."""
    from chainsim.audio.whole import PartFile, writing
    from chainsim.listen.plots.chain_plot import draw_chains

    with PartFile(path) as part, writing(path):
        draw_chains(report.title, report.patches, part, path.suffix.lower()[1:])


def _measured(sketch: Sketch, sounds: BandSounds) -> ChainFigures:
    rate_hz = sounds.sample_rate_hz
    try:
        chain = ChainUnderTest(sketch, rate_hz)
    except (GraphError, SketchError) as error:
        place = "" if sketch.patch is None else f"patches.{sketch.patch}: "
        raise SketchError(f"{place}{line}" for line in str(error).splitlines()) from error
    response = band_test(chain, sounds, LEVEL_DBFS)
    click = click_test(chain, rate_hz)
    asked_hz = _sine_near(sketch)
    clear_hz = asked_hz if chain.follows_pitch else clear_frequency(response, asked_hz)
    sine_hz, unsettled_db, steps = sine_test(chain, clear_hz, click, rate_hz)
    copies, onset = noise_test(chain, rate_hz), find_click(click.response)
    latency = Latency.of(chain.graph.latency, copies, onset, rate_hz)
    if chain.follows_pitch:
        steps = tuple(step.undistorted() for step in steps)
    noise = measure_idle_noise(click.idle, rate_hz)
    tail = measure_tail(click.response, rate_hz)
    remarks = _remarks(chain, response, latency, tail)
    if clear_hz != asked_hz:
        remarks.append(
            f"at {asked_hz:.0f} Hz the response lies {depth_db(response, asked_hz):.0f} dB under the octaves beside it"
            f" (a comb, or a notch), so the sine is one of {sine_hz:.0f} Hz; its harmonics may lie in other notches"
        )
    if any(math.isnan(step.thd_n_percent) and math.isfinite(step.thd_percent) for step in steps):
        remarks.append(
            f"THD+N: what is missing is under {unsettled_percent(unsettled_db):.2g} %, where echoes have not settled"
        )
    return ChainFigures(
        name=_name(sketch),
        response=response,
        steps=steps,
        sine_hz=sine_hz,
        latency=latency,
        tail=tail,
        noise=noise,
        gates=gate_test(chain, sine_hz, rate_hz),
        largest=_largest(sketch, chain, response, sounds),
        change_db=click.change_db,
        follows_pitch=chain.follows_pitch,
        remarks=tuple(remarks),
    )


def _sine_near(sketch: Sketch) -> float:
    """A4, or the middle of the horn's range where that does not reach it."""
    low_hz, high_hz = sketch.header.pitch_range_hz
    return SINE_HZ if low_hz <= SINE_HZ <= high_hz else math.sqrt(low_hz * high_hz)


def _largest(sketch: Sketch, chain: ChainUnderTest, response: FilterResponse, sounds: BandSounds) -> LargestGain:
    """The largest gain of the chain, loud and quiet, as it stands and with all its controllers at either end."""
    most_stray_db = VOICES_STRAY_DB if chain.follows_pitch else STRAY_LIMIT_DB
    quiet = replace(sounds, periods=sounds.periods * db_to_gain(QUIET_DBFS - LEVEL_DBFS))
    chains = {"as they move": chain}
    if is_driven(sketch):
        for position in (0, 1):
            chains[f"at {position}"] = ChainUnderTest(pinned(sketch, position), sounds.sample_rate_hz)
    found = []
    for controllers, held in chains.items():
        loud = response if held is chain else band_test(held, sounds, LEVEL_DBFS)
        for heard in (loud, band_test(held, quiet, QUIET_DBFS)):
            gain_db, freq_hz = heard.largest_gain(most_stray_db=most_stray_db)
            found.append(LargestGain(gain_db, freq_hz, controllers, heard.level_dbfs))
    return max(found, key=lambda gain: -math.inf if math.isnan(gain.gain_db) else gain.gain_db)


def _remarks(chain: ChainUnderTest, response: FilterResponse, latency: Latency, tail: Tail | None) -> list[str]:
    remarks = []
    if chain.follows_pitch:
        remarks.append(
            "voices here follow the pitch: response, latency and decay are those of sounds without pitch, and"
            " distortion cannot be told from other notes"
        )
    if withheld := _withheld(response):
        remarks.append(f"{withheld}: no filter of what goes in (distortion, noise or other notes), so no response")
    if latency.noise_ms is None:
        remarks.append("the output holds no steady copy of the input, so its latency cannot be measured")
    elif latency.noise_ms > latency.reported_ms[0] + LATER_THAN_SAID_MS:
        remarks.append(
            f"the first copy comes {latency.noise_ms - latency.reported_ms[0]:.2f} ms later than blocks report:"
            " an echo, a delay that was asked for, or a filter's own"
        )
    if tail is None:
        remarks.append("a click does not come through, so there is no decay to measure")
    return remarks


def _withheld(response: FilterResponse) -> str:
    """Bands without a response, as ranges: "20 Hz to 100 Hz, 12.5 kHz"."""
    spans: list[list[float]] = []
    before = False
    for band, gain in zip(response.bands, response.gain_db.tolist(), strict=True):
        if math.isnan(gain) and before:
            spans[-1][1] = band.nominal_hz
        elif math.isnan(gain):
            spans.append([band.nominal_hz, band.nominal_hz])
        before = math.isnan(gain)
    return ", ".join(f"{low:g} Hz" if low == high else f"{low:g} Hz to {high:g} Hz" for low, high in spans)
