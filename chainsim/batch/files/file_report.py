"""What one render into files gave."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from chainsim.measure.dynamics import Dynamics


@dataclass(frozen=True)
class FileReport:
    """What one render gave.

    Attributes
    ----------
    take, output : str
    probes : dict of str
        Files of the probed wires.
    sample_rate_hz : float
    channels, frames : int
    latency_ms : float
        From the take to the output, by the shortest way.
    tail_s : float
        Bound of what goes on after the take.
    integrated_lufs, true_peak_dbtp, sample_peak_dbfs : float
        ITU-R BS.1770-5; minus infinity for silence.
    take_lufs : float
        Of the whole take, on two loudspeakers; minus infinity for silence.
    louder_by_lu : float
        Than the take while that sounds, both on two loudspeakers; NaN if either is silent.
    trim_db : float
        What one loudness needed, where that was asked for.
    lowered_by_db : float
        What an integer format needed, where that was asked for; the levels above are those after both.
    times_real_time : float
        Seconds of take per second of rendering.
    sketch, sketch_sha256, take_sha256, version : str
    patch, room : str or None
        Where it is one patch alone, or one room.
    seat : str or None
        Where in the house it is heard; None for the feed.
    against_feed_lu : float or None
        How much louder it is than the feed, both on two loudspeakers; NaN if either is silent, None for the feed alone.
    dynamics : Dynamics or None
        How much louder soft, medium and loud playing came out, after trim and lowering; None for takes with too little
        steady playing.
    warnings : list of str
    """

    take: str
    output: str
    probes: dict[str, str]
    sample_rate_hz: float
    channels: int
    frames: int
    latency_ms: float
    tail_s: float
    integrated_lufs: float
    take_lufs: float
    louder_by_lu: float
    true_peak_dbtp: float
    sample_peak_dbfs: float
    trim_db: float
    lowered_by_db: float
    times_real_time: float
    sketch: str
    sketch_sha256: str
    take_sha256: str
    version: str
    patch: str | None = None
    room: str | None = None
    seat: str | None = None
    against_feed_lu: float | None = None
    dynamics: Dynamics | None = None
    warnings: list[str] = field(default_factory=list)

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        return asdict(self)
