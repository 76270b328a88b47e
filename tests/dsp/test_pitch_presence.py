"""When a note counts: soft ones after loud ones, low ones whose pulses are no attacks, a bass that is not the horn."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from chainsim.dsp.pitch_rows import F0_HZ, ONSET_AGE_S, ROWS, VOICED
from chainsim.dsp.pitch_tracker import PitchTracker
from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import Phrase
from chainsim.horn.play import play
from chainsim.music.horns import find_horn

RATE_HZ = 48_000.0


def tracked(x: np.ndarray, low_hz: float, high_hz: float) -> np.ndarray:
    rows = np.empty((len(ROWS), x.size))
    PitchTracker(low_hz, high_hz, RATE_HZ).process(0, x, rows)
    return rows


@pytest.mark.parametrize("f0_hz", [65.4, 80.0, 90.0, 110.0])
@pytest.mark.parametrize("power", [1.0, 2.0])
def test_the_pulses_of_a_low_note_are_no_attacks(f0_hz: float, power: float) -> None:
    """Between two pulses of 65 Hz the level falls further than the 6 dB of an attack; a period is 15 ms."""
    t = np.arange(2 * int(RATE_HZ)) / RATE_HZ
    shape = np.minimum(1.0, np.minimum(t, t[-1] - t) / 0.01)
    tone = 0.15 * shape * sum(np.sin(2.0 * np.pi * k * f0_hz * t + k) / k**power for k in range(1, 25))
    rest = np.zeros(int(RATE_HZ) // 4)
    rows = tracked(np.concatenate([rest, tone, rest]), 0.8 * f0_hz, 1600.0)
    assert 1 <= np.count_nonzero(rows[ONSET_AGE_S]) <= 2


@pytest.mark.parametrize(
    ("horn", "phrase"),
    [
        ("tenor sax", "E5 1 0.8, F#5 1, E5 1, G5 1, C3 3 0.25"),
        ("trumpet", "A5 1 0.9, G5 1, A5 1, B5 1, A5 1, G4 3 0.3"),
        ("clarinet", "E6 1 0.7, D6 1, C6 1, E6 1, E3 3 0.4"),
        ("flute", "A6 1 0.7, G6 1, A6 1, G6 1, C4 3 0.4"),
    ],
)
def test_a_soft_low_note_counts_after_loud_high_ones(horn: str, phrase: str) -> None:
    take = play(Phrase("leap", 100.0, notes_of(phrase), horn), horn)
    rows = tracked(take.audio, *find_horn(horn).search_hz())
    begin = round((take.onsets_s[-1] + 0.1) * RATE_HZ)
    note = slice(begin, begin + round(1.2 * RATE_HZ))
    assert np.mean(rows[VOICED, note]) > 0.9
    cents = 1200.0 * np.log2(rows[F0_HZ, note] / take.f0_hz[note])
    assert np.mean(np.abs(cents) < 50.0) > 0.95


def test_a_bass_beside_the_horn_is_not_taken_for_it() -> None:
    """A bass 15 dB under the horn, as it comes into a stage microphone, goes on in the horn's rests."""
    take = play(Phrase("rests", 100.0, notes_of("A4 2 0.7, - 2, C5 2, - 2, B4 2, - 2"), "tenor sax"), "tenor sax")
    t = np.arange(take.audio.size) / RATE_HZ
    bass = sum(np.sin(2.0 * np.pi * k * 62.0 * t) / k**2 for k in range(1, 9))
    horn_rms = np.sqrt(np.mean(take.audio[take.f0_hz > 0.0] ** 2))
    bass *= horn_rms * 10.0 ** (-15.0 / 20.0) / np.sqrt(np.mean(bass**2))
    rows = tracked(take.audio + bass, 40.0, 1600.0)
    sounding = take.f0_hz > 0.0
    far = ~maximum_filter1d(sounding, round(0.3 * RATE_HZ))
    assert np.count_nonzero(far) > RATE_HZ
    first = int(np.argmax(sounding))
    assert np.mean(rows[VOICED, first:][far[first:]]) < 0.1
    inside = minimum_filter1d(sounding, round(0.2 * RATE_HZ))
    assert np.mean(rows[VOICED, inside]) > 0.97
