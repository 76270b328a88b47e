"""All that test signals tell of one chain, as one value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from chainsim.measure.arrival import Arrival, first_copy
from chainsim.measure.filter_response import FilterResponse
from chainsim.measure.gate_ramps import GateFigures
from chainsim.measure.idle_noise import IdleNoise
from chainsim.measure.sine_distortion import SineFigures
from chainsim.measure.tail import Tail

SAME_WAY_MS = 0.5
"""A copy that near to what was reported came that way: a filter may move it by so much."""
MOVES_DB = -60.0


@dataclass(frozen=True)
class Latency:
    """In milliseconds; None where the output holds no copy of the input, or a click does not come through."""

    reported_ms: tuple[float, float]
    """By the shortest and the longest way, as the blocks say."""
    noise_ms: float | None
    """Of the earliest copy of white noise."""
    correlation: float
    """Of that copy with the whole output; 0 without one."""
    longest_ms: float | None
    """Of the copy that comes by the longest way, where ways differ and it stands out."""
    click_ms: float | None

    @classmethod
    def of(
        cls, reported: tuple[float, float], copies: Sequence[Arrival], onset: int | None, sample_rate_hz: float
    ) -> Latency:
        """Put together what was reported and found, all in samples."""
        ms, (least, most) = 1000.0 / sample_rate_hz, reported
        first = first_copy(copies)
        late = [copy for copy in copies if abs(copy.samples - most) * ms < SAME_WAY_MS and copy is not first]
        longest = min(late, key=lambda copy: abs(copy.samples - most), default=None) if most > least else None
        return cls(
            reported_ms=(least * ms, most * ms),
            noise_ms=None if first is None else first.samples * ms,
            correlation=0.0 if first is None else first.correlation,
            longest_ms=None if longest is None else longest.samples * ms,
            click_ms=None if onset is None else onset * ms,
        )


@dataclass(frozen=True)
class LargestGain:
    """Where the chain is loudest over the dry sound, its controllers where, for broadband sound of which level.

    NaN where nothing is known.
    """

    gain_db: float
    freq_hz: float
    controllers: str
    level_dbfs: float


@dataclass(frozen=True)
class ChainFigures:
    """Figures of one patch.

    Attributes
    ----------
    name : str
    response : FilterResponse
    steps : tuple of SineFigures
        A steady sine at rising levels.
    sine_hz : float
    latency : Latency
    tail : Tail or None
        None where a click does not come through.
    noise : IdleNoise
    gates : tuple of GateFigures
        Of every noise gate that is heard.
    largest : LargestGain
    change_db : float
        How much the response to a click is another one 0.3 s later, relative to it; minus infinity if it never moves.
    follows_pitch : bool
    remarks : tuple of str
        What could not be told, and why.
    """

    name: str
    response: FilterResponse
    steps: tuple[SineFigures, ...]
    sine_hz: float
    latency: Latency
    tail: Tail | None
    noise: IdleNoise
    gates: tuple[GateFigures, ...]
    largest: LargestGain
    change_db: float
    follows_pitch: bool
    remarks: tuple[str, ...]

    @property
    def moves(self) -> bool:
        """Whether it changes by itself, with an LFO or a reverb's turning paths."""
        return self.change_db > MOVES_DB

    def step(self, in_dbfs: float) -> SineFigures:
        """The step at one level."""
        return next(step for step in self.steps if step.in_dbfs == in_dbfs)

    def to_dict(self) -> dict[str, Any]:
        """Plain values for --json."""
        plain = asdict(self)
        response = self.response
        plain["response"] = {
            "level_dbfs": response.level_dbfs,
            "third_octaves": [
                {"freq_hz": band.nominal_hz, "gain_db": gain, "stray_db": stray}
                for band, gain, stray in zip(
                    response.bands, response.gain_db.tolist(), response.stray_db.tolist(), strict=True
                )
            ],
        }
        return plain
