"""Third-octave bands of IEC 61260-1, base ten: middles at 1000 x 10^(k/10) Hz, edges a factor 10^(1/20) away."""

from __future__ import annotations

from dataclasses import dataclass

LOWEST, HIGHEST = -17, 13
"""20 Hz and 20 kHz, counted from 1 kHz."""
HALF_BAND = 10.0**0.05
HIGHEST_OF_RATE = 0.47
_MANTISSAS = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)


@dataclass(frozen=True)
class Band:
    """One band; `number` counts from 0 at 1 kHz, `nominal_hz` is what it is called."""

    number: int

    @property
    def centre_hz(self) -> float:
        """Exact middle, such as 1258.9 Hz."""
        return float(1000.0 * 10.0 ** (self.number / 10.0))

    @property
    def edges_hz(self) -> tuple[float, float]:
        """Where the band begins and ends."""
        return self.centre_hz / HALF_BAND, self.centre_hz * HALF_BAND

    @property
    def nominal_hz(self) -> float:
        """Rounded middle, such as 1250 Hz."""
        decade, step = divmod(self.number, 10)
        return _MANTISSAS[step] * 10.0 ** (3 + decade)


def third_octaves(sample_rate_hz: float) -> tuple[Band, ...]:
    """Bands from 20 Hz to 20 kHz that lie wholly under 0.47 of the sample rate."""
    bands = (Band(number) for number in range(LOWEST, HIGHEST + 1))
    return tuple(band for band in bands if band.edges_hz[1] <= HIGHEST_OF_RATE * sample_rate_hz)
