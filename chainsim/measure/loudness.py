"""Loudness after ITU-R BS.1770-5 and EBU Tech 3341 / 3342: integrated, momentary, short-term, range.

    l = -0.691 + 10 log10( sum_c w[c] mean(y[c]^2) ),  y the K-weighted signal           BS.1770-5 eq. 2 and 4   (1)

Energy is gathered in slots of 10 ms on a grid of the absolute sample count. Windows of 400 ms and 3 s move by one
slot (a hop of 100 ms would under-read the momentary maximum by up to half a LU, and fail Tech 3341 case 13); gating
blocks and the windows of the loudness range move by ten. Blocks are kept as a histogram of 0.01 LU, each bin with
the count and the energy of what fell into it: memory does not grow, means are exact, and only blocks within 0.01 LU
of the relative gate can land on its wrong side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.kernel import kernel
from chainsim.measure.k_weighting import k_weighting
from chainsim.measure.signals import channel_count, check_chunk, check_rate, pieces
from chainsim.units import Array, Audio

SLOTS_PER_S = 100
SHORT_SLOTS = 300
OFFSET_LU = -0.691
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
RANGE_GATE_LU = -20.0
RANGE_LOW, RANGE_HIGH = 0.10, 0.95
LOWEST_LUFS = -100.0
"""Of blocks that are kept: of a sound raised by up to 30 dB, those that then pass the absolute gate."""
BINS_PER_LU = 100
BINS = 150 * BINS_PER_LU
SURROUND_WEIGHT = 1.41
BOTH_SIDES = (2.0,)
"""Weight in BS.1770-5, equation 2, of a single channel that comes from two loudspeakers alike."""

INTEGRATED, RANGE = 0, 1
MOMENTARY, SHORT_TERM = 0, 1


def from_two_loudspeakers(lufs: float, channels: int) -> float:
    """Loudness as from two loudspeakers, of which one channel plays on both: what comparisons go by."""
    return lufs - 10.0 * math.log10(channels / 2.0)


@dataclass(frozen=True)
class Loudness:
    """What a `LoudnessMeter` has read; minus infinity where nothing passed the gate or nothing sounded."""

    integrated_lufs: float
    momentary_max_lufs: float
    short_term_max_lufs: float
    loudness_range_lu: float


@kernel
def k_weighted_energy(
    x: Audio, sos: Array, weights: Array, rate_hz: float, z: Array, energy: Array, counters: npt.NDArray[np.int64],
    slots: Array,
) -> int:  # fmt: skip
    """Fill slots with the weighted energy of each 10 ms that ends in x (channels, frames); return how many.

    z (channels, 4) is the filters' state (direct form II transposed), energy (channels,) the open slot's,
    counters (2,) the absolute frame and the number of slots closed before.
    """
    b0, b1, b2, a1, a2 = sos[0, 0], sos[0, 1], sos[0, 2], sos[0, 4], sos[0, 5]
    d0, d1, d2, c1, c2 = sos[1, 0], sos[1, 1], sos[1, 2], sos[1, 4], sos[1, 5]
    frames = x.shape[1]
    done = 0
    first = 0
    while first < frames:
        edge = math.floor((counters[1] + 1) * rate_hz / SLOTS_PER_S)
        last = min(frames, first + edge - counters[0])
        for c in range(x.shape[0]):
            z0, z1, z2, z3, e = z[c, 0], z[c, 1], z[c, 2], z[c, 3], energy[c]
            for i in range(first, last):
                v = x[c, i]
                u = b0 * v + z0
                z0 = (b1 * v + z1) - a1 * u
                z1 = b2 * v - a2 * u
                y = d0 * u + z2
                z2 = (d1 * u + z3) - c1 * y
                z3 = d2 * u - c2 * y
                e += y * y
            z[c, 0], z[c, 1], z[c, 2], z[c, 3], energy[c] = z0, z1, z2, z3, e
        counters[0] += last - first
        first = last
        if counters[0] == edge:
            total = 0.0
            for c in range(x.shape[0]):
                total += weights[c] * energy[c]
                energy[c] = 0.0
                # The slot's edge is on the absolute grid, and in one slot nothing decays from here to a denormal.
                for j in range(4):
                    if abs(z[c, j]) < 1e-30:
                        z[c, j] = 0.0
            slots[done] = total
            done += 1
            counters[1] += 1
    return done


@kernel
def loudness_windows(
    slots: Array, count: int, rate_hz: float, recent: Array, tenths: Array, closed: npt.NDArray[np.int64],
    now: Array, highest: Array, counts: Array, energies: Array,
) -> None:  # fmt: skip
    """Move the windows over `count` new slots.

    recent (10,) and tenths (300,) are rings of slot energies and of their sums over 100 ms; closed (1,) counts
    slots; now (2,) and highest (2,) are mean powers over 400 ms and 3 s; counts, energies (2, bins) the histograms
    of the blocks over `LOWEST_LUFS`.
    """
    for i in range(count):
        k = closed[0]
        recent[k % 10] = slots[i]
        tenth = 0.0
        for j in range(10):
            tenth += recent[j]
        tenths[k % SHORT_SLOTS] = tenth
        total = 0.0
        for j in range(30):
            total += tenths[(k - 10 * j) % SHORT_SLOTS]
            if j == 3:
                now[MOMENTARY] = total / (0.4 * rate_hz)
        now[SHORT_TERM] = total / (3.0 * rate_hz)
        closed[0] = k + 1
        for w in range(2):
            highest[w] = max(highest[w], now[w])
            if closed[0] % 10 == 0 and closed[0] >= (SHORT_SLOTS if w == SHORT_TERM else 40) and now[w] > 0.0:
                above = OFFSET_LU + 10.0 * math.log10(now[w]) - LOWEST_LUFS
                if above > 0.0:
                    # What lies on an edge belongs below it: the gates ask for more than their level.
                    b = int(min(math.ceil(above * BINS_PER_LU) - 1.0, BINS - 1.0))
                    counts[w, b] += 1.0
                    energies[w, b] += now[w]


class LoudnessMeter:
    """Measures loudness of a stream of chunks, with memory that does not grow; any cuts give the same bits.

    Parameters
    ----------
    sample_rate_hz : float, at least 4000
        Sample rate.
    channels : int
        Number of channels. One channel counts as one front channel, so it reads 3.01 LU less than the same
        sound in left and right.
    weights : sequence of float, optional
        Weight of each channel; by default 1 for up to three (left, right, centre) and 1.41 for the fourth and
        fifth of five (left and right surround). An LFE channel takes 0.

    References
    ----------
    .. [1] ITU-R BS.1770-5 (11/2023), Annex 1.
    .. [2] EBU Tech 3341 (2023), 3342 (2023).
    """

    def __init__(self, sample_rate_hz: float, channels: int, weights: Sequence[float] | None = None) -> None:
        check_rate(sample_rate_hz, "loudness", least_hz=4000.0)
        self.channels = channels
        self._rate_hz = float(sample_rate_hz)
        self._weights = np.array(_default_weights(channels) if weights is None else weights, dtype=np.float64)
        if self._weights.shape != (channels,):
            raise AudioError(f"loudness: {self._weights.size} weights for {channels} channels")
        self._sos = k_weighting(sample_rate_hz)
        self._z = np.zeros((channels, 4))
        self._energy = np.zeros(channels)
        self._counters = np.zeros(2, np.int64)
        self._recent, self._tenths, self._closed = np.zeros(10), np.zeros(SHORT_SLOTS), np.zeros(1, np.int64)
        self._now, self._highest = np.zeros(2), np.zeros(2)
        self._counts, self._energies = np.zeros((2, BINS)), np.zeros((2, BINS))

    def add(self, x: Audio) -> None:
        """Take the next chunk, shape (channels, frames), C-contiguous float64."""
        check_chunk(x, self.channels, "loudness")
        slots = np.empty(int(x.shape[1] * SLOTS_PER_S / self._rate_hz) + 2)
        done = k_weighted_energy(
            x, self._sos, self._weights, self._rate_hz, self._z, self._energy, self._counters, slots
        )
        loudness_windows(
            slots, done, self._rate_hz, self._recent, self._tenths, self._closed, self._now, self._highest,
            self._counts, self._energies,
        )  # fmt: skip

    @property
    def momentary_lufs(self) -> float:
        """Loudness of the last 400 ms, as if silence came before the stream."""
        return _lufs(float(self._now[MOMENTARY]))

    @property
    def short_term_lufs(self) -> float:
        """Loudness of the last 3 s, as if silence came before the stream."""
        return _lufs(float(self._now[SHORT_TERM]))

    def result(self) -> Loudness:
        """Return what has been read so far; AudioError if a sample was not finite."""
        if not (np.isfinite(self._z).all() and np.isfinite(self._energy).all()):
            raise AudioError("loudness: the sound holds a sample that is not finite")
        return Loudness(
            integrated_lufs=_lufs(self._integrated_power()),
            momentary_max_lufs=_lufs(float(self._highest[MOMENTARY])),
            short_term_max_lufs=_lufs(float(self._highest[SHORT_TERM])),
            loudness_range_lu=self._range_lu(),
        )

    def raised_lufs(self, by_db: float) -> float:
        """Integrated loudness that the sound would have with a gain of `by_db`, up to 30 dB.

        It is not simply so much more: the absolute gate stays where it is, and lets other blocks pass.
        """
        return _lufs(self._integrated_power(ABSOLUTE_GATE_LUFS - by_db)) + by_db

    def _integrated_power(self, absolute_gate_lufs: float = ABSOLUTE_GATE_LUFS) -> float:
        """Mean power of the blocks over both gates, BS.1770-5 eq. 5 to 7."""
        counts, energies = self._gated(INTEGRATED, RELATIVE_GATE_LU, absolute_gate_lufs)
        return float(np.sum(energies) / np.sum(counts)) if counts.size else 0.0

    def _range_lu(self) -> float:
        """Distance of the 10th and 95th percentiles of the gated 3 s windows, Tech 3342; 0 without windows."""
        counts, energies = self._gated(RANGE, RANGE_GATE_LU)
        if not counts.size:
            return 0.0
        until = np.cumsum(counts)
        powers = energies / counts
        ranks = [math.floor((until[-1] - 1.0) * share + 0.5) for share in (RANGE_LOW, RANGE_HIGH)]
        low, high = (float(powers[np.searchsorted(until, rank, side="right")]) for rank in ranks)
        return _lufs(high) - _lufs(low)

    def _gated(self, which: int, gate_lu: float, absolute_gate_lufs: float = ABSOLUTE_GATE_LUFS) -> tuple[Array, Array]:
        filled = self._counts[which] > 0.0
        filled[: max(0, round((absolute_gate_lufs - LOWEST_LUFS) * BINS_PER_LU))] = False
        counts, energies = self._counts[which][filled], self._energies[which][filled]
        if counts.size:
            gate = np.sum(energies) / np.sum(counts) * 10.0 ** (gate_lu / 10.0)
            kept = energies / counts > gate
            counts, energies = counts[kept], energies[kept]
        return counts, energies


def measure_loudness(audio: npt.ArrayLike, sample_rate_hz: float, weights: Sequence[float] | None = None) -> Loudness:
    """Loudness of a whole sound.

    Parameters
    ----------
    audio : ndarray, shape (frames, channels) or (frames,)
        Sound; 1 is full scale.
    sample_rate_hz : float, at least 4000
        Sample rate.
    weights : sequence of float, optional
        As in `LoudnessMeter`.

    Returns
    -------
    Loudness
        Minus infinity (and a range of 0) for silence and for sounds shorter than a gating block of 400 ms.

    Raises
    ------
    AudioError
        If a sample is not finite, or the shape or the weights do not fit.
    """
    meter = LoudnessMeter(sample_rate_hz, channel_count(audio), weights)
    for piece in pieces(audio):
        meter.add(piece)
    return meter.result()


def _default_weights(channels: int) -> list[float]:
    if 1 <= channels <= 3:
        return [1.0] * channels
    if channels == 5:
        return [1.0, 1.0, 1.0, SURROUND_WEIGHT, SURROUND_WEIGHT]
    raise AudioError(f"loudness: {channels} channels need their weights given (known: 1, 2, 3 and 5 channels)")


def _lufs(power: float) -> float:
    return OFFSET_LU + 10.0 * math.log10(power) if power > 0.0 else -math.inf
