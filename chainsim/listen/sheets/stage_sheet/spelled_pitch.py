"""Pitches and intervals as the player of one horn reads them, and as they sound."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chainsim.music.horns import Horn
from chainsim.music.interval import Interval, parse_interval
from chainsim.music.pitch import alteration_of, hz_to_midi, pitch_class_name, pitch_name
from chainsim.music.scale import Key, parse_key

_LETTERS = "CDEFGAB"
_NATURALS = (0, 2, 4, 5, 7, 9, 11)
_MIDDLE_C = 60
_WIDEST_ALTERATION = 2
_USUALLY_FLAT = (3, 8, 10)


@dataclass(frozen=True)
class SpelledPitch:
    """A pitch with its spelling.

    Attributes
    ----------
    letter : int
        Letters above C-1: C4 and Cb4 are 35.
    midi : int
        Note number; it may lie outside MIDI's 0 ... 127.
    """

    letter: int
    midi: int

    @classmethod
    def of(cls, note: str, midi: int) -> SpelledPitch:
        """The pitch `midi`, spelt as `note`, which has no octave: "Bb"."""
        octave = (midi - alteration_of(note[1:])) // 12
        return cls(7 * octave + _LETTERS.index(note[0]), midi)

    def moved(self, steps: int, semitones: int) -> SpelledPitch:
        """The pitch an interval away."""
        return SpelledPitch(self.letter + steps, self.midi + semitones)

    @property
    def name(self) -> str:
        """Letter, accidentals and octave; with more than two accidentals as the keys of a piano are called."""
        octave, place = divmod(self.letter, 7)
        alteration = self.midi - 12 * octave - _NATURALS[place]
        if abs(alteration) > _WIDEST_ALTERATION:
            return f"{pitch_class_name(self.midi)}{self.midi // 12 - 1}"
        return f"{_LETTERS[place]}{'#' * alteration}{'b' * -alteration}{octave - 1}"


@dataclass(frozen=True)
class HornPart:
    """What stands on a player's part.

    Attributes
    ----------
    horn : Horn or None
        None reads as it sounds.
    written_key : str or None
        The key as the player wrote it, so that it keeps its spelling.
    """

    horn: Horn | None = None
    written_key: str | None = None

    @property
    def transposes(self) -> bool:
        """Whether what is read differs from what sounds."""
        return self.transposition != 0

    @property
    def transposition(self) -> int:
        """Semitones from the written note to the sounding one."""
        return 0 if self.horn is None else self.horn.transposition

    def key(self, sounding: str) -> str:
        """The key that is read where `sounding` sounds, in the spelling with the fewer sharps or flats."""
        heard = parse_key(sounding)
        pitch_class = heard.tonic_pc - self.transposition
        if self.written_key is not None:
            own = parse_key(self.written_key)
            if (own.tonic_pc, own.scale) == (pitch_class % 12, heard.scale):
                return own.text
        if pitch_class % 12 == heard.tonic_pc:
            return heard.text
        spellings = [parse_key(f"{pitch_class_name(pitch_class, flats=f)} {heard.scale}") for f in (True, False)]
        return min(spellings, key=lambda k: (abs(k.signature), (k.signature < 0) != (heard.signature < 0))).text

    def pitch(self, midi: int, key: str | None = None) -> str:
        """A pitch that sounds, and how it is written: "E3, written F#4"."""
        sounds = _key_name(midi, key)
        written = midi - self.transposition
        if not self.transposes or not 0 <= written <= 127:
            return sounds
        return f"{sounds}, written {_key_name(written, None if key is None else self.key(key))}"

    def interval(self, text: str, keys: Sequence[str] = ()) -> str:
        """An interval with an example: "M10 above: written C4 gives E5 (sounds Bb2, D4)".

        Parameters
        ----------
        text : str
            As `parse_interval` reads it.
        keys : sequence of str
            Sounding keys in which it is played; one that counts steps gets an example from the tonic of each.
        """
        interval = parse_interval(text)
        if interval.steps == 0:
            return interval.text
        if isinstance(interval, Interval):
            return f"{interval.text}: {self._example('C', None, interval.steps, interval.semitones)}"
        examples = []
        for name in keys:
            key = parse_key(name)
            read = parse_key(self.key(name))
            semitones = self._degree(key, interval.steps)
            where = f"in {read.text} " if len(keys) > 1 else ""
            examples.append(where + self._example(read.tonic, key.tonic, interval.steps, semitones))
        return "; ".join([f"{interval.text}: {examples[0]}", *examples[1:]]) if examples else interval.text

    def _degree(self, key: Key, steps: int) -> int:
        return key.step(_MIDDLE_C + key.tonic_pc, steps) - _MIDDLE_C - key.tonic_pc

    def _example(self, written_note: str, sounding_note: str | None, steps: int, semitones: int) -> str:
        """From a note on the horn, read as `written_note`; a key spells what sounds."""
        written = SpelledPitch.of(written_note, self._on_the_horn(written_note))
        gives = f"{written.name} gives {written.moved(steps, semitones).name}"
        if not self.transposes:
            return gives
        midi = written.midi + self.transposition
        sounding = SpelledPitch.of(sounding_note or pitch_class_name(midi), midi)
        return f"written {gives} (sounds {sounding.name}, {sounding.moved(steps, semitones).name})"

    def _on_the_horn(self, note: str) -> int:
        """The written note from middle C on, or the nearest of that name which the horn has."""
        midi = _MIDDLE_C + (_NATURALS[_LETTERS.index(note[0])] + alteration_of(note[1:])) % 12
        if self.horn is not None:
            while midi + self.transposition < self.horn.low:
                midi += 12
            while midi + self.transposition > self.horn.high:
                midi -= 12
        return midi


def nearest_note(freq_hz: float, a4_hz: float, key: str | None = None) -> str:
    """Name of the nearest pitch, as it sounds; empty beyond MIDI's range."""
    midi = round(hz_to_midi(freq_hz, a4_hz))
    return _key_name(midi, key) if 0 <= midi <= 127 else ""


def _key_name(midi: int, key: str | None) -> str:
    """A name as the key spells it; without sharps or flats in the key, the usual ones: C#, Eb, F#, Ab, Bb."""
    signature = 0 if key is None else parse_key(key).signature
    return pitch_name(midi, flats=midi % 12 in _USUALLY_FLAT if signature == 0 else signature < 0)
