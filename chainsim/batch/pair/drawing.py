"""The picture of a measured box, in a file."""

from __future__ import annotations

from pathlib import Path

from chainsim.audio.whole import PartFile, writing
from chainsim.audio.writing import refuse_same_file
from chainsim.batch.pair.recordings import Pair
from chainsim.batch.pair.report import PairReport
from chainsim.errors import AudioError
from chainsim.listen.plots.pair_plot import FORMATS, draw_pair
from chainsim.measure.pair.deconvolution import deconvolve


def check_picture(path: Path, *sources: Path) -> None:
    """Refuse what `write_picture` could not write, before anything is measured.

    Raises
    ------
    AudioError
        If it is one of the recordings, or no picture by its ending.
    """
    refuse_same_file(path, sources)
    if path.suffix.lower() not in FORMATS:
        raise AudioError(f'{path}: cannot draw "{path.suffix}" files, allowed {" | ".join(FORMATS)}')


def write_picture(pair: Pair, report: PairReport, path: Path) -> None:
    """Draw a box into a picture (.png, .svg or .pdf), whole or not at all; AudioError if it cannot be written."""
    bands = () if report.response is None else report.response.bands
    found = deconvolve(pair.dry, pair.wet, pair.sample_rate_hz)
    title = f"{Path(report.wet).name}, made of {Path(report.dry).name}: gain of the direct sound"
    with PartFile(path) as part, writing(path):
        draw_pair(title, bands, found, report.lag, part, path.suffix.lower()[1:])
