"""The horns: what is fixed in bore and mouthpiece, and what a player's breath does to it.

A harmonic's level is a source (its number, the blowing pressure) times a bore (its frequency), so that a pitch can
move while the bore stays. Figures are from memory of the literature, rounded, then set by eye against spectra of
sampled horns: tone-hole lattices cut off near 1500 Hz in clarinets and lower in larger saxophones [1]_, brass bells
let sound out above 500 Hz (trombone) or 1200 Hz (trumpet), a cylinder stopped by a reed lacks the lower even
harmonics, the upper harmonics of reeds grow faster than the lower ones, and loud brass steepens its wave inside the
tube and turns bright [2]_.

References
----------
.. [1] A. H. Benade, "Fundamentals of Musical Acoustics", chapters 21 and 22 (from memory).
.. [2] N. H. Fletcher, T. D. Rossing, "The Physics of Musical Instruments", chapters 13 to 16 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

from chainsim.errors import SettingError
from chainsim.music.horns import find_horn


@dataclass(frozen=True)
class Formant:
    """A broad peak or dip of the bore: `level_db` at `centre_hz`, falling to half at `width_octaves` / 2 beside it."""

    centre_hz: float
    level_db: float
    width_octaves: float


@dataclass(frozen=True)
class HornModel:
    """One horn. Pairs hold a value for the softest and one for the loudest blowing.

    Attributes
    ----------
    name : str
        As `chainsim.music.horns` has it, with the compass; above that the notes are later, thinner and airier.
    radiation_hz : float
        Below it the horn radiates 6 dB less per octave.
    cutoff_hz : float
        Where the bore begins to let sound out instead of sending it back.
    source_db_per_octave : tuple of float
        Fall of the source over harmonic number.
    rolloff_db_per_octave, damping_db_per_khz : tuple of float
        Fall above the cut-off, over the logarithm of frequency and over frequency.
    even_db : float
        Level of the low even harmonics where the reed stops a cylinder; 0 for cones and brass.
    ripple_db : float
        How much the bore's response to each fingering departs from the smooth curve.
    range_db : float
        From the softest to the loudest note.
    breath_db, breath_ring : float
        Breath noise of the loudest note against its tone, and how much of it the bore sends back (0 to 1).
    attack_ms, tongue_db, scoop_cents : float
        Rise of a tongued middle note, its tongue noise against the tone, and how far below pitch it speaks.
    slur_ms, slur_dip_db : float
        How long the bore takes to another note under a slur, and by how much the tone sinks meanwhile.
    vibrato_hz, vibrato_cents, vibrato_db : float
        Rate, pitch depth (peak) and level depth (peak) on a long note.
    key_db : float
        Noise of keys or valves against the loudest tone; minus infinity for none.
    """

    name: str
    radiation_hz: float
    cutoff_hz: float
    formants: tuple[Formant, ...]
    source_db_per_octave: tuple[float, float]
    rolloff_db_per_octave: tuple[float, float]
    damping_db_per_khz: tuple[float, float]
    even_db: float
    ripple_db: float
    range_db: float
    breath_db: float
    breath_ring: float
    attack_ms: float
    tongue_db: float
    scoop_cents: float
    slur_ms: float
    slur_dip_db: float
    vibrato_hz: float
    vibrato_cents: float
    vibrato_db: float
    key_db: float

    @property
    def low_midi(self) -> int:
        """Lowest sounding note."""
        return find_horn(self.name).low

    @property
    def high_midi(self) -> int:
        """Highest note of the usual range."""
        return find_horn(self.name).high


def _sax(
    name: str, radiation_hz: float, cutoff_hz: float, formants: tuple[Formant, ...], attack_ms: float
) -> HornModel:
    return HornModel(
        name=name,
        radiation_hz=radiation_hz,
        cutoff_hz=cutoff_hz,
        formants=formants,
        source_db_per_octave=(13.0, 1.0),
        rolloff_db_per_octave=(15.0, 6.0),
        damping_db_per_khz=(4.5, 1.6),
        even_db=0.0,
        ripple_db=4.5,
        range_db=28.0,
        breath_db=-47.0,
        breath_ring=0.45,
        attack_ms=attack_ms,
        tongue_db=-30.0,
        scoop_cents=-22.0,
        slur_ms=11.0,
        slur_dip_db=-2.5,
        vibrato_hz=5.1,
        vibrato_cents=19.0,
        vibrato_db=0.9,
        key_db=-54.0,
    )


_MODELS = (
    _sax("soprano sax", 380.0, 1500.0, (Formant(1350.0, 4.0, 0.9), Formant(3000.0, 6.0, 0.8)), 34.0),
    _sax("alto sax", 300.0, 1100.0, (Formant(800.0, 4.0, 0.9), Formant(2400.0, 7.0, 0.8)), 38.0),
    _sax("tenor sax", 240.0, 900.0, (Formant(540.0, 4.0, 0.9), Formant(1900.0, 8.0, 0.8)), 42.0),
    _sax("baritone sax", 200.0, 760.0, (Formant(400.0, 4.0, 0.9), Formant(1600.0, 9.0, 0.9)), 50.0),
    HornModel(
        name="clarinet",
        radiation_hz=220.0,
        cutoff_hz=1500.0,
        formants=(Formant(1800.0, 6.0, 0.9), Formant(3200.0, 4.0, 0.6)),
        source_db_per_octave=(15.0, 1.0),
        rolloff_db_per_octave=(14.0, 6.5),
        damping_db_per_khz=(5.0, 2.4),
        even_db=-34.0,
        ripple_db=2.5,
        range_db=36.0,
        breath_db=-52.0,
        breath_ring=0.5,
        attack_ms=46.0,
        tongue_db=-36.0,
        scoop_cents=-10.0,
        slur_ms=9.0,
        slur_dip_db=-2.0,
        vibrato_hz=5.0,
        vibrato_cents=3.0,
        vibrato_db=0.3,
        key_db=-58.0,
    ),
    HornModel(
        name="trumpet",
        radiation_hz=700.0,
        cutoff_hz=1300.0,
        formants=(Formant(1250.0, 4.0, 1.0), Formant(2500.0, 2.0, 0.8)),
        source_db_per_octave=(9.0, 0.5),
        rolloff_db_per_octave=(9.0, 2.0),
        damping_db_per_khz=(13.0, 3.9),
        even_db=0.0,
        ripple_db=1.5,
        range_db=30.0,
        breath_db=-56.0,
        breath_ring=0.3,
        attack_ms=28.0,
        tongue_db=-34.0,
        scoop_cents=-28.0,
        slur_ms=24.0,
        slur_dip_db=-5.0,
        vibrato_hz=5.3,
        vibrato_cents=13.0,
        vibrato_db=0.7,
        key_db=-62.0,
    ),
    HornModel(
        name="trombone",
        radiation_hz=430.0,
        cutoff_hz=650.0,
        formants=(Formant(560.0, 4.0, 1.0), Formant(1500.0, 2.0, 0.8)),
        source_db_per_octave=(9.0, 0.5),
        rolloff_db_per_octave=(10.0, 3.0),
        damping_db_per_khz=(19.0, 4.8),
        even_db=0.0,
        ripple_db=1.5,
        range_db=30.0,
        breath_db=-54.0,
        breath_ring=0.3,
        attack_ms=52.0,
        tongue_db=-36.0,
        scoop_cents=-30.0,
        slur_ms=55.0,
        slur_dip_db=-5.0,
        vibrato_hz=5.0,
        vibrato_cents=16.0,
        vibrato_db=0.5,
        key_db=-68.0,
    ),
    HornModel(
        name="flute",
        radiation_hz=250.0,
        cutoff_hz=1600.0,
        formants=(Formant(700.0, 3.0, 1.2),),
        source_db_per_octave=(15.0, 6.0),
        rolloff_db_per_octave=(12.0, 6.0),
        damping_db_per_khz=(5.0, 2.5),
        even_db=0.0,
        ripple_db=2.5,
        range_db=20.0,
        breath_db=-38.0,
        breath_ring=0.8,
        attack_ms=52.0,
        tongue_db=-26.0,
        scoop_cents=-14.0,
        slur_ms=12.0,
        slur_dip_db=-2.0,
        vibrato_hz=5.2,
        vibrato_cents=9.0,
        vibrato_db=2.0,
        key_db=-56.0,
    ),
)

HORNS: dict[str, HornModel] = {model.name: model for model in _MODELS}
"""Every synthetic horn by name."""


def horn_model(name: str) -> HornModel:
    """Return the horn of that name, long forms too: "tenor saxophone".

    Raises
    ------
    SettingError
        If there is none.
    """
    found = HORNS.get(find_horn(name).name)
    if found is None:
        raise SettingError(f'no synthetic horn "{name}"; there are: {", ".join(HORNS)}')
    return found
