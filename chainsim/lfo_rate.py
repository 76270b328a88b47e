"""Settings that every low frequency oscillator has: its shape, and how often it turns, in Hz or as a note value."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import field_validator, model_validator

from chainsim.music.note_value import parse_note_value
from chainsim.settings import Settings, choice, fixed, words


class LfoRate(Settings):
    """Shape, and rate or note value."""

    alternatives = (("rate_hz", "note"),)
    shape: Literal["sine", "triangle", "saw", "square", "sample and hold"] = choice(
        "sine", "how it moves; saw rises, square begins high, sample and hold takes a new place each turn"
    )
    rate_hz: float = fixed(5.0, 0.01, 30.0, "Hz", "how often")
    note: str | None = words(None, 'note value in place of rate_hz, such as "1/8 triplet"; follows the tempo')

    @field_validator("note")
    @classmethod
    def _is_a_note_value(cls, note: str | None) -> str | None:
        if note is not None and parse_note_value(note).swung:
            raise ValueError(f'= "{note}", allowed note values that are not swung')
        return note

    @model_validator(mode="after")
    def _one_rate(self) -> Self:
        if self.note is not None and "rate_hz" in self.model_fields_set:
            raise ValueError("both rate_hz and note are given, allowed one of them")
        return self
