"""What voices beside a horn have in common: an interval to it, or a pitch of their own; level and place."""

from __future__ import annotations

import math
from typing import Annotated, TypeVar

import numpy as np
from pydantic import model_validator

from chainsim.errors import SettingError
from chainsim.music.interval import Interval, StepInterval, parse_interval
from chainsim.music.pitch import parse_pitch
from chainsim.music.scale import Key
from chainsim.settings import Settings, fixed, readable_by, words
from chainsim.units import Array

V = TypeVar("V", bound="PlacedVoice")


class PlacedVoice(Settings):
    alternatives = (("interval", "pitch"),)
    interval: Annotated[str, readable_by(parse_interval)] = words(
        "unison", 'where it plays: "P5 above", "M10 below", or in the key "third above"'
    )
    pitch: Annotated[str, readable_by(parse_pitch)] | None = words(
        None, 'in place of interval, where it stays, as it sounds: "E2"'
    )
    cents: float = fixed(0.0, -100.0, 100.0, "cents", "how far it is out of tune")
    level_db: float = fixed(0.0, -60.0, 12.0, "dB", "its level among the voices")
    pan: float = fixed(0.0, -1.0, 1.0, "1", "-1 is left, 0 the middle, 1 right")

    @property
    def in_key(self) -> bool:
        """Whether its interval counts steps in a key."""
        return self.pitch is None and isinstance(parse_interval(self.interval), StepInterval)

    @model_validator(mode="after")
    def _one_place(self: V) -> V:
        if self.pitch is not None and "interval" in self.model_fields_set:
            raise ValueError("both interval and pitch are given, allowed one of them")
        return self


def key_is_missing(place: str, interval: str) -> str:
    """What is wrong with a voice that counts steps in a key where there is none."""
    return (
        f'{place}.interval = "{interval}" counts steps in a key, but the sketch has no key; '
        'allowed with one, or an interval with its quality, such as "M3 above"'
    )


def intervals_of(place: str, text: str, key: Key | None) -> Array:
    """Distance in semitones from each note, 0 ... 127.

    Raises
    ------
    SettingError
        If the interval counts steps in a key and there is none.
    """
    interval = parse_interval(text)
    if isinstance(interval, Interval):
        return np.full(128, float(interval.semitones))
    if key is None:
        raise SettingError(key_is_missing(place, text))
    return np.array([float(key.step(note, interval.steps) - note) for note in range(128)])


def place_gains(pan: float, channels: int) -> Array:
    """Gains (channels,) of a place by equal power, 0 dB in the middle."""
    if channels == 1 or pan == 0.0:
        return np.ones(channels)
    theta = (pan + 1.0) * math.pi / 4.0
    return math.sqrt(2.0) * np.array([math.cos(theta), math.sin(theta)])
