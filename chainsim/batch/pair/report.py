"""What was found of a box, as one value: every figure with its interval."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, Literal

from chainsim.measure.pair.alignment import Alignment
from chainsim.measure.pair.compression import Compression
from chainsim.measure.pair.decay import TailDecay
from chainsim.measure.pair.echoes import Echoes
from chainsim.measure.pair.figure import Figure
from chainsim.measure.pair.gating import PairGating
from chainsim.measure.pair.modulation import Sway
from chainsim.measure.pair.noise import BoxNoise
from chainsim.measure.pair.response import Response

SAME_DELAY_MS = 1.0

Modulation = Literal["tremolo", "vibrato"]


def is_an_echo(latency_ms: Figure, echoes: Echoes) -> bool:
    """Whether what comes first is an echo already: then the latency is one delay time."""
    return echoes.delay_ms.found and abs(latency_ms.value - echoes.delay_ms.value) < SAME_DELAY_MS


@dataclass(frozen=True)
class PairReport:
    """Figures of a box; those not found are missing, which says no more than that these recordings don't show them.

    Attributes
    ----------
    dry, wet : str
        File names.
    sample_rate_hz, seconds : float
        Of the dry recording.
    clearness : float
        How far the direct sound stands out of noise in the response between the two; under 16 nothing is.
    alignment : Alignment
    gain_db : Figure
        Of the direct sound.
    response : Response or None
        None for a box whose delay sways.
    noise : BoxNoise
    echoes : Echoes
    tail : TailDecay
    gating : PairGating
    modulation : str or None
        "tremolo" or "vibrato".
    sway : Sway or None
        Its figures; the depth of a vibrato is in `depth_cents`.
    compression : Compression
    notes : tuple of str
        What else to know.
    lag : int
        Samples by which the wet recording was moved for all this, found or best guessed.
    """

    dry: str
    wet: str
    sample_rate_hz: float
    seconds: float
    clearness: float
    alignment: Alignment
    gain_db: Figure
    response: Response | None
    noise: BoxNoise
    echoes: Echoes
    tail: TailDecay
    gating: PairGating
    modulation: Modulation | None
    sway: Sway | None
    compression: Compression
    notes: tuple[str, ...]
    lag: int

    @property
    def latency_ms(self) -> Figure:
        """Latency in ms."""
        return self.alignment.latency_samples.scaled(1000.0 / self.sample_rate_hz)

    @property
    def dry_is_off(self) -> bool:
        """Whether what comes first is an echo already."""
        return is_an_echo(self.latency_ms, self.echoes)

    @property
    def depth_cents(self) -> Figure:
        """Depth of a vibrato to either side."""
        if self.modulation != "vibrato" or self.sway is None:
            return Figure.missing()
        turn = 2.0 * math.pi * self.sway.rate_hz.value / self.sample_rate_hz
        depth = self.sway.depth
        return Figure(*(1200.0 * math.log2(1.0 + turn * max(d, 0.0)) for d in (depth.value, depth.low, depth.high)))

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        echoes, gating = self.echoes, self.gating
        bands = () if self.response is None else self.response.bands
        return {
            "dry": self.dry,
            "wet": self.wet,
            "sample_rate_hz": self.sample_rate_hz,
            "seconds": self.seconds,
            "clearness": self.clearness,
            "latency_samples": asdict(self.alignment.latency_samples),
            "latency_ms": asdict(self.latency_ms),
            "inverted": self.alignment.inverted,
            "drift_ppm": asdict(self.alignment.drift_ppm),
            "gain_db": asdict(self.gain_db),
            "response": [
                {"centre_hz": band.centre_hz, "gain_db": asdict(band.gain_db), "coherence": band.coherence}
                for band in bands
            ],
            "unexplained_db": math.nan if self.response is None else self.response.unexplained_db,
            "noise_dbfs": asdict(self.noise.dbfs),
            "noise_from_hz": self.noise.from_hz,
            "delay_ms": asdict(echoes.delay_ms),
            "feedback": asdict(echoes.feedback),
            "first_echo_gain": asdict(echoes.first_gain),
            "decay_s": asdict(self.tail.decay_s),
            "tail_db": self.tail.share_db if self.tail.decay_s.found else math.nan,
            "gate_threshold_db": asdict(gating.threshold_db),
            "gate_floor_db": asdict(gating.floor_db),
            "gate_attack_ms": gating.attack_ms,
            "gate_openings": gating.openings,
            "modulation": self.modulation,
            "modulation_rate_hz": asdict(Figure.missing() if self.sway is None else self.sway.rate_hz),
            "tremolo_depth": asdict(
                self.sway.depth if self.modulation == "tremolo" and self.sway is not None else Figure.missing()
            ),
            "vibrato_depth_cents": asdict(self.depth_cents),
            "compression_threshold_db": asdict(self.compression.threshold_db),
            "compression_ratio": asdict(self.compression.ratio),
            "level_curve_db": [list(point) for point in self.compression.curve_db],
            "notes": self.notes,
        }
