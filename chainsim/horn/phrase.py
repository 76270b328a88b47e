"""What is to be played: notes in beats, each with a dynamic and an articulation.

Pitches sound as written here; nothing transposes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from chainsim.errors import SettingError, nearest


@dataclass(frozen=True)
class Articulation:
    """How a note begins, speaks and ends.

    Attributes
    ----------
    length : float
        Sounding share of the note's own time.
    attack : float
        Rise against the horn's own, as a factor.
    accent_db : float
        How far the beginning stands over what follows.
    level_db, brightness : float
        Level against the dynamic, and blowing pressure as it is heard in the tone colour, as a factor.
    tongue_db, breath_db : float
        Tongue noise and breath noise against the horn's own; minus infinity is no tongue.
    start_cents, start_s : float
        Where the pitch begins, relative to the note, and how long it takes to arrive; 0 s: as the horn speaks.
    end_cents, end_s : float
        Where the pitch goes at the end, and how long it takes, at most seven tenths of the note.
    growl, flutter : float
        Depth, 0 to 1, of the player's humming, and of the rolling tongue, in the tone.
    trill_semitones, trill_hz : float
        Upper note, and full cycles a second.
    """

    length: float = 0.94
    attack: float = 1.0
    accent_db: float = 1.2
    level_db: float = 0.0
    brightness: float = 1.0
    tongue_db: float = 0.0
    breath_db: float = 0.0
    start_cents: float = 0.0
    start_s: float = 0.0
    end_cents: float = 0.0
    end_s: float = 0.0
    growl: float = 0.0
    flutter: float = 0.0
    trill_semitones: float = 0.0
    trill_hz: float = 0.0


ARTICULATIONS: dict[str, Articulation] = {
    "tongued": Articulation(),
    "tenuto": Articulation(length=1.0, attack=1.15, accent_db=0.4, tongue_db=-8.0),
    "staccato": Articulation(length=0.5, attack=0.75, accent_db=2.0, tongue_db=2.0),
    "accent": Articulation(length=0.92, attack=0.55, accent_db=4.0, brightness=1.15, tongue_db=7.0),
    "breathed": Articulation(length=1.0, attack=2.6, accent_db=0.0, tongue_db=-math.inf, breath_db=4.0),
    "ghost": Articulation(
        length=0.8, attack=0.8, accent_db=0.0, level_db=-13.0, brightness=0.35, tongue_db=6.0, breath_db=6.0
    ),
    "scoop": Articulation(attack=1.6, accent_db=0.0, tongue_db=-8.0, start_cents=-150.0, start_s=0.16),
    "fall": Articulation(length=1.0, accent_db=2.0, end_cents=-700.0, end_s=0.42),
    "doit": Articulation(length=1.0, accent_db=2.0, end_cents=500.0, end_s=0.3),
    "subtone": Articulation(
        length=1.0,
        attack=2.0,
        accent_db=0.0,
        level_db=-5.0,
        brightness=0.16,
        tongue_db=-math.inf,
        breath_db=15.0,
    ),
    "growl": Articulation(attack=0.8, accent_db=2.0, brightness=1.15, breath_db=6.0, growl=0.62),
    "flutter": Articulation(attack=1.0, breath_db=6.0, flutter=0.75),
    "trill": Articulation(length=0.97, trill_semitones=2.0, trill_hz=6.6),
}
"""Every articulation by name."""


@dataclass(frozen=True)
class Note:
    """One note or rest.

    Attributes
    ----------
    pitch : float or None
        Sounding MIDI number, fractions allowed; None is a rest.
    beats : float > 0
    dynamic : float, 0 to 1
        From the softest to the loudest the horn plays.
    articulation : str
        A key of `ARTICULATIONS`.
    slurred : bool
        Connected to the note before without tongue; the articulation then tells the rest.
    swell_to : float or None
        Dynamic at the end of the note, if it grows or wanes.
    vibrato : float
        As a multiple of the horn's own.
    """

    pitch: float | None
    beats: float
    dynamic: float = 0.6
    articulation: str = "tongued"
    slurred: bool = False
    swell_to: float | None = None
    vibrato: float = 1.0

    def __post_init__(self) -> None:
        """Check every value."""
        if self.articulation not in ARTICULATIONS:
            hint = nearest(self.articulation, ARTICULATIONS)
            raise SettingError(
                f'note: no articulation "{self.articulation}"{hint}; there are: {", ".join(ARTICULATIONS)}'
            )
        for name, value, low, high in (
            ("beats", self.beats, 0.01, 64.0),
            ("dynamic", self.dynamic, 0.0, 1.0),
            ("swell_to", self.dynamic if self.swell_to is None else self.swell_to, 0.0, 1.0),
            ("pitch", 60.0 if self.pitch is None else self.pitch, 20.0, 110.0),
            ("vibrato", self.vibrato, 0.0, 5.0),
        ):
            if not low <= value <= high:
                raise SettingError(f"note: {name} = {value:g}, allowed {low:g} ... {high:g}")

    @property
    def how(self) -> Articulation:
        """The articulation."""
        return ARTICULATIONS[self.articulation]


@dataclass(frozen=True)
class Phrase:
    """Notes in a row at one tempo; `horn` names the horn they were written for."""

    title: str
    tempo_bpm: float
    notes: tuple[Note, ...] = field(repr=False)
    horn: str = "tenor sax"

    def __post_init__(self) -> None:
        """Check tempo and that something sounds."""
        if not 20.0 <= self.tempo_bpm <= 400.0:
            raise SettingError(f"{self.title}: tempo_bpm = {self.tempo_bpm:g} bpm, allowed 20 ... 400 bpm")
        if all(note.pitch is None for note in self.notes):
            raise SettingError(f"{self.title}: has no note, allowed 1 or more")

    @property
    def duration_s(self) -> float:
        """From the first beat to the end of the last note's time."""
        return sum(note.beats for note in self.notes) * 60.0 / self.tempo_bpm
