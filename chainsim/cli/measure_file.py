"""`chainsim measure FILE...`: loudness, peaks, noise and spectrum of audio files, and decay of impulse responses."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chainsim.cli.common import counted, echo_json, number, progress_bar, table, tell_of_compiling, warn

if TYPE_CHECKING:
    from chainsim.batch.measuring import FileFigures
    from chainsim.measure.decay import Decay

HEAD = (
    "file", "s", "ch", "kHz", "LUFS", "short-term", "momentary", "range LU", "dBTP", "dBFS", "crest dB", "DC",
    "noise dBFS", "centroid Hz", "clipped",
)  # fmt: skip
DECAY_HEAD = ("octave", "EDT s", "T20 s", "T30 s", "C80 dB", "D50", "centre ms", "range dB")


def files(paths: Sequence[Path], as_json: bool, impulse: bool, plot: Path | None) -> int:
    """Print the figures of files; one that cannot be read among others does not stop them. Return the exit code."""
    from chainsim.batch.measuring import measure_file, plot_file
    from chainsim.errors import ChainsimError

    if plot is not None:
        _refuse_plot(paths, plot)
    tell_of_compiling()
    found: list[FileFigures] = []
    errors: list[str] = []
    for path in paths:
        try:
            with progress_bar(path.name) as progress:
                if plot is None:
                    figures = measure_file(path, impulse=impulse, progress=progress)
                else:
                    figures = plot_file(path, plot, impulse=impulse, progress=progress)
        except ChainsimError as error:
            if len(paths) == 1:
                raise
            errors += str(error).splitlines()
            continue
        found.append(figures)
        warn(f"{figures.file}: {line}" if len(paths) > 1 else line for line in figures.warnings)
    if as_json:
        echo_json({"measured": [figures.to_dict() for figures in found], "failed": errors})
    elif found:
        click.echo("\n".join(_one(found[0]) if len(paths) == 1 else _several(found)))
    for line in errors:
        click.echo(f"chainsim: {line}", err=True)
    return 0 if not errors else 1 if found else 2


def _refuse_plot(paths: Sequence[Path], plot: Path) -> None:
    if len(paths) > 1:
        raise click.UsageError(f"--plot draws one file; found {len(paths)}")
    if plot.resolve() == paths[0].resolve():
        raise click.UsageError(f"{plot}: is the file to be measured; choose another name to write to")


def _one(figures: FileFigures) -> Iterator[str]:
    """One file, line by line."""
    loudness, peaks = figures.loudness, figures.peaks
    channels = {1: "mono, as one loudspeaker", 2: "stereo"}[figures.channels]
    yield f"{figures.file}: {figures.duration_s:.2f} s, {figures.sample_rate_hz:g} Hz, {channels}"
    yield (
        f"loudness: {_level(loudness.integrated_lufs, 'LUFS')} integrated, at most"
        f" {_level(loudness.short_term_max_lufs, 'LUFS')} short-term (3 s),"
        f" {_level(loudness.momentary_max_lufs, 'LUFS')} momentary (0.4 s); range {loudness.loudness_range_lu:.1f} LU"
    )
    yield (
        f"peak: {_level(peaks.true_peak_dbtp, 'dBTP')} true, {_level(peaks.sample_peak_dbfs, 'dBFS')} of samples;"
        f" rms {_level(peaks.rms_dbfs, 'dBFS')}, crest {peaks.crest_db:.1f} dB"
    )
    yield f"clipped: {_clipped(figures)}"
    yield f"offset (DC): {', '.join(_offset(dc) for dc in peaks.dc)}"
    yield f"noise in rests: {_noise(figures)}"
    yield f"spectrum centroid: {number(figures.centroid_hz, 0, ' Hz')}"
    if figures.impulse is not None:
        yield from _decay(figures)


def _several(found: Sequence[FileFigures]) -> Iterator[str]:
    """A line a file."""
    rows = (
        (
            figures.file,
            f"{figures.duration_s:.1f}",
            str(figures.channels),
            f"{figures.sample_rate_hz / 1000.0:g}",
            number(figures.loudness.integrated_lufs),
            number(figures.loudness.short_term_max_lufs),
            number(figures.loudness.momentary_max_lufs),
            number(figures.loudness.loudness_range_lu),
            number(figures.peaks.true_peak_dbtp),
            number(figures.peaks.sample_peak_dbfs),
            number(figures.peaks.crest_db),
            _offset(max(figures.peaks.dc, key=abs)),
            number(figures.noise_floor_dbfs),
            number(figures.centroid_hz, 0),
            str(figures.peaks.clipped_runs),
        )
        for figures in found
    )
    yield table(HEAD, rows)
    yield (
        "loudness integrated, and at most short-term (3 s) and momentary (0.4 s);\nnoise: rms in the quietest"
        " rests, 0 Hz to half the sample rate; clipped: runs of two or more samples at full scale"
    )
    for figures in found:
        if figures.impulse is not None:
            yield f"\n{figures.file}"
            yield from _decay(figures)


def _decay(figures: FileFigures) -> Iterator[str]:
    assert figures.impulse is not None
    mean = ", mean of both channels" if figures.channels == 2 else ""
    whole = figures.impulse.whole
    yield f"\ndecay from the direct sound at {whole.onset_s:.4f} s (ISO 3382-1){mean}"
    rows = [_decay_row("all", whole)]
    rows += [_decay_row(f"{octave_hz:g} Hz", decay) for octave_hz, decay in figures.impulse.bands.items()]
    yield table(DECAY_HEAD, rows)


def _decay_row(name: str, decay: Decay) -> tuple[str, ...]:
    times = [number(t, 3) for t in (decay.edt_s, decay.t20_s, decay.t30_s)]
    shares = [number(decay.c80_db), number(decay.d50, 2), number(decay.centre_time_ms)]
    return (name, *times, *shares, number(decay.range_db, 0))


def _level(value: float, unit: str) -> str:
    return f"{number(value)} {unit}" if math.isfinite(value) else f"no {unit}"


def _offset(dc: float) -> str:
    return f"{dc:+.1e}" if dc else "0"


def _clipped(figures: FileFigures) -> str:
    peaks = figures.peaks
    where = f"{figures.clip_level:.7g} of full scale or more"
    if not peaks.clipped_samples:
        return f"no sample at {where}"
    runs = counted(peaks.clipped_runs, "run")
    longest = counted(peaks.longest_clip_samples, "sample")
    alone = counted(peaks.clipped_samples, "sample")
    return f"{runs} of two or more samples at {where}, the longest of {longest}; {alone} in all"


def _noise(figures: FileFigures) -> str:
    if math.isnan(figures.noise_floor_dbfs):
        return "it has no rest to measure it in"
    if math.isinf(figures.noise_floor_dbfs):
        return "digital silence"
    band = f"0 Hz ... {figures.noise_bandwidth_hz / 1000.0:g} kHz"
    return f"{figures.noise_floor_dbfs:.1f} dBFS rms in the quietest of them ({band}, not weighted)"
