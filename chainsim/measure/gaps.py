"""What a take holds between its notes: noise floor, rests, and a threshold at which a gate would tell them apart.

Levels are taken in blocks of 50 ms every 25 ms, of the loudest channel. The floor starts from the quietest stretch
of 150 ms that is steady within 6 dB (the end of a note is not steady) and lies 18 dB under the loud notes, so a take
whose notes leave no rest has no floor; a softly held note in such a take can pass for one. Blocks of digital silence
are rests, but say nothing about the noise while other rests do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.measure.signals import channel_count, check_chunk, check_rate, pieces
from chainsim.units import Array, Audio

HOP_MS = 25.0
STEADY_BLOCKS = 5
STEADY_DB = 6.0
SHORTEST_REST_S = 0.1
REST_UNDER_LOUD_DB = 18.0
LOUD_PERCENTILE = 90.0
NOISE_PEAK_PERCENTILE = 95.0
ABOVE_NOISE_DB = 3.0
LEAST_ROOM_DB = 12.0
UNDER_LOUD_DB = 60.0


@dataclass(frozen=True)
class Gaps:
    """Levels in dBFS: `rms` is 20 log10 of the root mean square of a block, `peak` of its largest sample."""

    noise_rms_dbfs: float
    """Middle level of the rests; minus infinity for digital silence, NaN if the take has no rest."""
    noise_peak_dbfs: float
    """Peak that 95 % of the rests' blocks stay under; minus infinity and NaN as above."""
    loud_rms_dbfs: float
    """Level that a tenth of the blocks with notes exceed; minus infinity for a silent take."""
    loud_peak_dbfs: float
    rests_s: tuple[tuple[float, float], ...]
    """Begin and end of each rest of at least 0.1 s."""
    noise_s: tuple[tuple[float, float], ...]
    """Where in the rests the noise is heard, digital silence left out; all of them where they are nothing else."""
    gate_threshold_db: float
    """3 dB over the noise's peaks but no lower than 60 dB under those of loud notes; NaN if it would come within 12 dB
    of them, or there is no rest."""


class BlockLevels:
    """Levels of a stream of chunks in blocks of 50 ms, of the loudest channel; any cuts give the same bits.

    Parameters
    ----------
    sample_rate_hz : float, at least 1000
    channels : int
    """

    def __init__(self, sample_rate_hz: float, channels: int) -> None:
        check_rate(sample_rate_hz, "gaps")
        self.channels = channels
        self._hop = max(1, round(HOP_MS * sample_rate_hz / 1000.0))
        self.hop_s = self._hop / sample_rate_hz
        self._begun = np.zeros((channels, 0))
        self._powers: list[Array] = []
        self._peaks: list[Array] = []

    def add(self, x: Audio) -> None:
        """Take the next chunk, shape (channels, frames); AudioError if it is not finite."""
        if not np.isfinite(x).all():
            raise AudioError("gaps: the take holds a sample that is not finite")
        joined = np.concatenate([self._begun, x], axis=1)
        count = joined.shape[1] // self._hop
        cells = joined[:, : count * self._hop].reshape(self.channels, count, self._hop)
        self._powers.append(np.max(np.mean(np.square(cells), axis=2), axis=0))
        self._peaks.append(np.max(np.abs(cells), axis=(0, 2)))
        self._begun = joined[:, count * self._hop :].copy()

    def result(self) -> tuple[Array, Array]:
        """Rms and peak in dBFS of the blocks so far, each two hops long, of which one begins with every hop."""
        power = np.concatenate([np.zeros(0), *self._powers])
        peak = np.concatenate([np.zeros(0), *self._peaks])
        return 0.5 * _db(0.5 * (power[1:] + power[:-1])), _db(np.maximum(peak[1:], peak[:-1]))


class GapMeter:
    """Reads the gaps of a stream of chunks; any cuts give the same bits. It keeps two numbers every 25 ms.

    Parameters
    ----------
    sample_rate_hz : float, at least 1000
    channels : int
    """

    def __init__(self, sample_rate_hz: float, channels: int) -> None:
        self.channels = channels
        self._levels = BlockLevels(sample_rate_hz, channels)

    def add(self, x: Audio) -> None:
        """Take the next chunk, shape (channels, frames), C-contiguous float64; AudioError if it is not finite."""
        check_chunk(x, self.channels, "gaps")
        self._levels.add(x)

    def result(self) -> Gaps:
        """Return what has been read so far."""
        (rms_db, peak_db), hop_s = self._levels.result(), self._levels.hop_s
        audible = np.isfinite(rms_db)
        if not audible.any():
            whole = ((0.0, (rms_db.size + 1) * hop_s),) if rms_db.size else ()
            return Gaps(-math.inf, -math.inf, -math.inf, -math.inf, whole, whole, math.nan)
        loud_db = float(np.percentile(rms_db[audible], LOUD_PERCENTILE))
        start_db = _steady_floor_db(rms_db)
        hissing = audible & (rms_db <= start_db + STEADY_DB) & (start_db <= loud_db - REST_UNDER_LOUD_DB)
        resting = hissing | ~audible
        notes = ~resting
        rests_s = _long_enough(_spans_s(resting, hop_s))
        loud_rms, loud_peak = (float(np.percentile(levels[notes], LOUD_PERCENTILE)) for levels in (rms_db, peak_db))
        if hissing.any():
            noise_rms = float(np.median(rms_db[hissing]))
            noise_peak = float(np.percentile(peak_db[hissing], NOISE_PEAK_PERCENTILE))
        else:
            noise_rms = noise_peak = -math.inf if rests_s else math.nan
        threshold = max(noise_peak + ABOVE_NOISE_DB, loud_peak - UNDER_LOUD_DB)
        return Gaps(
            noise_rms_dbfs=noise_rms,
            noise_peak_dbfs=noise_peak,
            loud_rms_dbfs=loud_rms,
            loud_peak_dbfs=loud_peak,
            rests_s=rests_s,
            noise_s=_spans_s(hissing, hop_s) if hissing.any() else rests_s,
            gate_threshold_db=threshold if threshold <= loud_peak - LEAST_ROOM_DB else math.nan,
        )


def measure_gaps(audio: npt.ArrayLike, sample_rate_hz: float) -> Gaps:
    """Noise floor, rests and loud notes of a take.

    Parameters
    ----------
    audio : ndarray, shape (frames, channels) or (frames,)
        The take; under 50 ms of it there is no block to measure, and it counts as silent.
    sample_rate_hz : float
        Sample rate.

    Returns
    -------
    Gaps

    Raises
    ------
    AudioError
        If a sample is not finite.
    """
    meter = GapMeter(sample_rate_hz, channel_count(audio))
    for piece in pieces(audio):
        meter.add(piece)
    return meter.result()


def _db(amplitude: Array) -> Array:
    levels = np.full(amplitude.shape, -np.inf)
    np.log10(amplitude, out=levels, where=amplitude > 0.0)
    return 20.0 * levels


def _steady_floor_db(rms_db: Array) -> float:
    """Middle level of the quietest steady and audible stretch; infinity if there is none."""
    if rms_db.size < STEADY_BLOCKS:
        return math.inf
    stretches = np.lib.stride_tricks.sliding_window_view(rms_db, STEADY_BLOCKS)
    stretches = stretches[np.isfinite(stretches).all(axis=1)]
    steady = stretches[np.ptp(stretches, axis=1) <= STEADY_DB]
    return float(np.min(np.median(steady, axis=1))) if steady.size else math.inf


def _spans_s(flags: npt.NDArray[np.bool_], hop_s: float) -> tuple[tuple[float, float], ...]:
    """Begin and end of each run of flagged blocks, each of which is two hops long."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return tuple((float(a) * hop_s, float(b + 1) * hop_s) for a, b in zip(edges[::2], edges[1::2], strict=True))


def _long_enough(spans_s: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    return tuple((a, b) for a, b in spans_s if b - a >= SHORTEST_REST_S)
