"""Presets with voices of their own: on every example take the horn stays in front, and nothing comes too loud."""

from __future__ import annotations

import re

import numpy as np
import pytest
import soundfile

from chainsim import parse_sketch, render
from chainsim.measure.loudness import measure_loudness
from chainsim.measure.peaks import measure_peaks
from chainsim.resources import preset_paths, take_paths

SILENCED = {
    "following_synth": "engaged = false",
    "wandering_bass": "engaged = false",
    "pitch_shifter": 'level_db = "off"',
}
"""What takes the voices out and leaves the rest as it is: a shifter that isn't engaged would let the horn through."""
VOICE = re.compile(rf'^type = "({"|".join(SILENCED)})"$', flags=re.M)
PRESETS = {
    name: path
    for name, path in preset_paths().items()
    if VOICE.search(text := path.read_text()) and "[[banks]]" not in text  # of a set each patch is judged: test_set.py
}
TAKES = take_paths()


def loudness(audio: np.ndarray, rate: int) -> float:
    """Integrated loudness in LUFS."""
    return measure_loudness(audio, float(rate)).integrated_lufs


def silenced(text: str, *kinds: str) -> str:
    """The sketch without the voices of these kinds, or without any."""
    return VOICE.sub(lambda v: f"{v[0]}\n{SILENCED[v[1]]}" if v[1] in (kinds or SILENCED) else v[0], text)


def test_there_are_voices_of_all_kinds() -> None:
    kinds = {kind for path in PRESETS.values() for kind in VOICE.findall(path.read_text())}
    assert len(PRESETS) >= 11
    assert kinds == set(SILENCED)


@pytest.mark.parametrize("take", TAKES)
@pytest.mark.parametrize("name", PRESETS)
def test_the_horn_stays_in_front(name: str, take: str) -> None:
    text = PRESETS[name].read_text()
    audio, rate = soundfile.read(TAKES[take])
    both = render(parse_sketch(text), audio, float(rate)).audio[: len(audio)]
    horn = render(parse_sketch(silenced(text)), audio, float(rate)).audio[: len(audio)]
    # EBU R 128 (2023): at most -1 dBTP
    assert measure_peaks(both, float(rate)).true_peak_dbtp <= -1.0
    # all that follows the sum of lanes is linear, so the difference is what the voices bring
    assert -15.0 < loudness(both - horn, rate) - loudness(horn, rate) < -3.0
    # a house that folds to one channel loses at most 1 LU of it
    folded = np.repeat(both.mean(axis=1, keepdims=True), both.shape[1], axis=1)
    assert abs(loudness(folded, rate) - loudness(both, rate)) < 1.0
