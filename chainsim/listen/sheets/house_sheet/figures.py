"""What a take tells of the feed, as the house sheet shows it; measured elsewhere."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PatchFigures:
    """What comes out of one patch.

    Attributes
    ----------
    patch : str
    integrated_lufs, true_peak_dbtp : float
        Of what comes to the desk, as a file of it measures: of one line as one loudspeaker, of two lines both together,
        where a patch in mono is on both. Minus infinity for silence.
    lowest_hz : float
        Over it lies all energy but a thousandth; NaN for silence.
    mono_loss_db : float
        By how much the sum of left and right, halved, is quieter than both; 0 for what is mono.
    """

    patch: str
    integrated_lufs: float
    true_peak_dbtp: float
    lowest_hz: float
    mono_loss_db: float


@dataclass(frozen=True)
class WayIn:
    """One way into the desk, for the loudest patch.

    Attributes
    ----------
    name : str
    nominal_dbu, peak_dbu, headroom_db, gain_db : float
        What arrives; how far its peaks are from where box or input clip; what brings it to line level.
    needs_phantom : bool
    """

    name: str
    nominal_dbu: float
    peak_dbu: float
    headroom_db: float
    gain_db: float
    needs_phantom: bool


@dataclass(frozen=True)
class FeedLevels:
    """Levels in dBu of the loudest patch, where the sketch states them.

    Attributes
    ----------
    nominal_dbu, peak_dbu, noise_dbu : float
        Noise is that at rest, from 20 Hz to 20 kHz; minus infinity where none is known.
    phantom : bool
        Whether the house has phantom supply on this line.
    ways : tuple of WayIn
        Those by which something arrives.
    """

    nominal_dbu: float
    peak_dbu: float
    noise_dbu: float
    phantom: bool
    ways: tuple[WayIn, ...]


@dataclass(frozen=True)
class LargestGain:
    """Where a patch is loudest over the dry horn: there it howls first."""

    patch: str
    gain_db: float
    freq_hz: float


@dataclass(frozen=True)
class HouseFigures:
    """All that was measured.

    Attributes
    ----------
    take : str
        Name of the file.
    seconds : float
        How much of it was played.
    patches : tuple of PatchFigures
    levels : FeedLevels or None
    howls : LargestGain or None
        Of the loudest patch; None if it could not be told.
    """

    take: str
    seconds: float
    patches: tuple[PatchFigures, ...]
    levels: FeedLevels | None = None
    howls: LargestGain | None = None
