"""Every articulation does what its name says."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.horn.phrase import ARTICULATIONS, Note, Phrase
from chainsim.horn.play import HornTake, play
from tests.horn.listening import (
    RATE_HZ,
    centroid_hz,
    cents,
    level_db,
    levels_db,
    one_note,
    peak_hz,
    period_hz,
    span,
)

PITCH = 58.0
F0_HZ = 440.0 * 2.0 ** ((PITCH - 69.0) / 12.0)


def said(articulation: str, *, clean: bool = False, beats: float = 1.2) -> HornTake:
    return one_note(Note(PITCH, beats, 0.65, articulation, vibrato=0.0), clean=clean)


def sounding_s(take: HornTake) -> float:
    """How long the level stays within 12 dB of its median while sounding."""
    level = levels_db(take.audio, 0.01)
    return float(np.sum(level > np.percentile(level, 95) - 12.0) / RATE_HZ)


def rise_s(take: HornTake) -> float:
    """From the onset to 6 dB under the level at 0.4 s."""
    level = levels_db(take.audio, 0.01)[round(take.onsets_s[0] * RATE_HZ) :]
    return float(np.argmax(level > level[round(0.4 * RATE_HZ)] - 6.0) / RATE_HZ)


def between_harmonics_db(take: HornTake) -> float:
    """Level of what is not harmonic, against the whole, from 0.4 to 1 s."""
    x = span(take, 0.4, 1.0)
    power = np.abs(np.fft.rfft(x * np.blackman(x.size))) ** 2
    freq_hz = np.fft.rfftfreq(x.size, 1.0 / RATE_HZ)
    off = (np.abs(freq_hz / take.notes[0].f0_hz % 1.0 - 0.5) < 0.3) & (freq_hz > 100.0)
    return float(10.0 * np.log10(np.sum(power[off]) / np.sum(power)))


def test_staccato_is_shorter_and_tenuto_longer() -> None:
    lengths = [sounding_s(said(a)) for a in ("staccato", "tongued", "tenuto")]
    assert lengths[0] < 0.6 * lengths[1]
    assert lengths[1] < lengths[2]


def test_accent_begins_louder_and_brighter_than_it_goes_on() -> None:
    take = said("accent", clean=True)
    early, late = span(take, 0.03, 0.1), span(take, 0.5, 0.57)
    assert level_db(early) > level_db(late) + 1.5
    assert rise_s(take) < rise_s(said("tongued", clean=True))


def test_breathed_begins_slowly() -> None:
    assert rise_s(said("breathed", clean=True)) > 1.8 * rise_s(said("tongued", clean=True))


def test_ghost_is_quieter_and_duller() -> None:
    ghost, plain = said("ghost"), said("tongued")
    assert level_db(span(ghost, 0.3, 0.8)) < level_db(span(plain, 0.3, 0.8)) - 10.0
    assert centroid_hz(span(said("ghost", clean=True), 0.3, 0.8)) < centroid_hz(
        span(said("tongued", clean=True), 0.3, 0.8)
    )


def test_scoop_begins_flat_by_what_is_stated_and_arrives() -> None:
    take = said("scoop", clean=True)
    stated = ARTICULATIONS["scoop"]
    first_hz = take.f0_hz[take.f0_hz > 0.0][0]
    assert cents(first_hz, F0_HZ) == pytest.approx(stated.start_cents, abs=3.0)
    # by ear: after a quarter of the way up still half of it flat, and in tune when it has arrived
    heard = cents(period_hz(span(take, 0.02, 0.06), F0_HZ), F0_HZ)
    assert stated.start_cents - 5.0 < heard < 0.6 * stated.start_cents
    late = span(take, stated.start_s + 0.05, stated.start_s + 0.35)
    assert cents(peak_hz(late, F0_HZ), F0_HZ) == pytest.approx(0.0, abs=2.0)


@pytest.mark.parametrize("articulation", ["fall", "doit"])
def test_fall_ends_low_and_doit_high(articulation: str) -> None:
    take = said(articulation, clean=True)
    end_s = take.notes[0].end_s - take.onsets_s[0]
    stated_hz = F0_HZ * 2.0 ** (ARTICULATIONS[articulation].end_cents / 1200.0)
    assert cents(take.f0_at(np.array([take.notes[0].end_s]))[0], stated_hz) == pytest.approx(0.0, abs=3.0)
    heard_hz = period_hz(span(take, end_s - 0.03, end_s + 0.01), stated_hz, octaves=0.2)
    assert abs(cents(heard_hz, stated_hz)) < 120.0
    assert cents(period_hz(span(take, 0.3, 0.4), F0_HZ, octaves=0.2), F0_HZ) == pytest.approx(0.0, abs=2.0)


def test_subtone_is_duller_and_airier() -> None:
    assert centroid_hz(span(said("subtone", clean=True), 0.4, 1.0)) < 0.7 * centroid_hz(
        span(said("tongued", clean=True), 0.4, 1.0)
    )
    assert between_harmonics_db(said("subtone")) > between_harmonics_db(said("tongued")) + 12.0


def test_growl_has_sidebands_and_keeps_its_pitch() -> None:
    growl, plain = said("growl", clean=True), said("tongued", clean=True)
    assert between_harmonics_db(growl) > -12.0
    assert between_harmonics_db(plain) < -60.0
    assert cents(peak_hz(span(growl, 0.4, 1.0), F0_HZ), F0_HZ) == pytest.approx(0.0, abs=2.0)


def test_flutter_beats_as_fast_as_a_tongue_rolls() -> None:
    x = 10.0 ** (levels_db(span(said("flutter", clean=True), 0.2, 1.1), 0.01) / 20.0)
    beat = np.abs(np.fft.rfft((x - x.mean()) * np.hanning(x.size), 1 << 18))
    fastest_hz = np.argmax(beat) * RATE_HZ / (1 << 18)
    # rolled tongues: 20 to 30 a second (from memory of the phonetics of alveolar trills)
    assert 20.0 < fastest_hz < 30.0


def test_trill_alternates_with_the_upper_note() -> None:
    how = ARTICULATIONS["trill"]
    take = said("trill", clean=True, beats=2.0)
    upper_hz = F0_HZ * 2.0 ** (how.trill_semitones / 12.0)
    half_s = 0.5 / how.trill_hz
    for i in range(2, 20):
        heard = period_hz(span(take, i * half_s + 0.015, (i + 1) * half_s - 0.015), F0_HZ, octaves=0.4)
        assert abs(cents(heard, upper_hz if i % 2 else F0_HZ)) < 8.0


def test_altissimo_is_airier() -> None:
    def air(pitch: float) -> float:
        take = one_note(Note(pitch, 1.2, 0.65, vibrato=0.0))
        return between_harmonics_db(take)

    assert air(79.0) > air(72.0) + 3.0


def test_repeated_notes_are_parted_and_tenuto_less_than_staccato() -> None:
    def dip_db(articulation: str) -> float:
        notes = tuple(Note(PITCH, 0.5, 0.65, articulation) for _ in range(4))
        take = play(Phrase("repeated", 120.0, notes, "tenor sax"), breath=0.0, floor_dbfs=-np.inf)
        level = levels_db(take.audio, 0.005)
        inner = level[round(take.onsets_s[1] * RATE_HZ) - 4000 : round(take.onsets_s[1] * RATE_HZ) + 4000]
        return float(inner.max() - inner.min())

    assert 12.0 < dip_db("tenuto") < dip_db("staccato")
    assert dip_db("tongued") > 12.0
