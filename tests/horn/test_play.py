"""The truth beside a take is true, and the sound is clean, repeatable and dry."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.errors import SettingError
from chainsim.horn.model import HORNS
from chainsim.horn.phrase import Note, Phrase
from chainsim.horn.phrases import LANTERN_WALTZ, ROPEWALK
from chainsim.horn.play import play
from tests.horn.listening import (
    RATE_HZ,
    cents,
    harmonics_db,
    level_db,
    levels_db,
    one_note,
    peak_hz,
    period_hz,
    played,
    span,
)

# f0 coprime to the rate: no partial falls on another's mirror
ODD_PITCH = 0.37


@pytest.mark.parametrize("horn", HORNS)
def test_true_pitch_is_the_pitch_of_the_sound(horn: str) -> None:
    model = HORNS[horn]
    for pitch in (model.low_midi, model.low_midi + 14, model.high_midi + 3):
        take = one_note(Note(pitch + ODD_PITCH, 1.6, 0.7, vibrato=0.0), horn, clean=True)
        true_hz = take.notes[0].f0_hz
        assert cents(true_hz, 440.0 * 2.0 ** ((pitch + ODD_PITCH - 69.0) / 12.0)) == pytest.approx(0.0, abs=0.01)
        # the fundamental may be masked by its neighbours' skirts: half a second holds 35 periods and more
        assert cents(peak_hz(span(take, 0.5, 1.3), true_hz), true_hz) == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("horn", ["baritone sax", "clarinet", "trumpet", "flute"])
def test_true_pitch_follows_what_wanders(horn: str) -> None:
    take = one_note(Note(64, 2.5, 0.7), horn)
    errors = []
    for begin_s in np.arange(0.3, 2.1, 0.15):
        true_hz = np.median(take.f0_at(take.onsets_s[0] + begin_s + np.arange(0.0, 0.03, 0.001)))
        measured_hz = period_hz(span(take, begin_s, begin_s + 0.03), true_hz, octaves=0.1)
        errors.append(abs(cents(measured_hz, true_hz)))
    # 30 ms of vibrato at 5 Hz, in breath noise
    assert np.median(errors) < 2.0
    assert max(errors) < 6.0


def test_onsets_are_where_the_tone_begins() -> None:
    take = play(ROPEWALK, breath=0.0, floor_dbfs=-np.inf)
    level = levels_db(take.audio)
    # a ghost note's beginning is covered by what rings of the note before
    tongued = [note for note in take.notes if not note.slurred and note.articulation != "ghost"]
    assert len(tongued) > 20
    for note in tongued:
        at = round(note.onset_s * RATE_HZ)
        around = level[at - 240 : at + round(0.06 * RATE_HZ)]
        settled = np.median(level[at + round(0.05 * RATE_HZ) : at + round(0.09 * RATE_HZ)])
        least = int(np.argmin(around[: around.size // 2]))
        # sampled horns rise to -20 dB of a note within 30 ms, and a tongue parts the notes
        assert around[least] < settled - 18.0
        risen_s = (least + np.argmax(around[least:] > settled - 10.0) - 240) / RATE_HZ
        assert 0.0 < risen_s < 0.03


def test_slurs_pass_half_way_at_the_onset_and_never_fall_silent() -> None:
    take = play(LANTERN_WALTZ, unsteadiness=0.0, breath=0.0, floor_dbfs=-np.inf)
    level = levels_db(take.audio, 0.01)
    slurred = [(a, b) for a, b in zip(take.notes, take.notes[1:], strict=False) if b.slurred]
    assert len(slurred) > 8
    for before, note in slurred:
        half_way_hz = 440.0 * 2.0 ** ((0.5 * (before.pitch + note.pitch) - 69.0) / 12.0)
        assert abs(cents(float(take.f0_at(np.array([note.onset_s]))[0]), half_way_hz)) < 40.0
        at = round(note.onset_s * RATE_HZ)
        assert level[at - 1200 : at + 1200].min() > level[at + 2400] - 12.0


@pytest.mark.parametrize(("horn", "pitch"), [("soprano sax", 87), ("trumpet", 82), ("flute", 96), ("baritone sax", 37)])
def test_nothing_sounds_between_the_harmonics(horn: str, pitch: int) -> None:
    from scipy.signal import get_window

    take = one_note(Note(pitch + ODD_PITCH, 2.5, 1.0, vibrato=0.0), horn, clean=True)
    x = span(take, 0.9, 2.1)
    # sidelobes of this window lie 92 dB down and its main lobe is 4 bins to a side (F. J. Harris, 1978)
    level = 20.0 * np.log10(np.abs(np.fft.rfft(x * get_window("blackmanharris", x.size))) + 1e-15)
    freq_hz = np.fft.rfftfreq(x.size, 1.0 / RATE_HZ)
    away = np.abs((freq_hz / take.notes[0].f0_hz + 0.5) % 1.0 - 0.5) * take.notes[0].f0_hz
    assert level[away > 8.0 * RATE_HZ / x.size].max() < level.max() - 80.0
    assert level[freq_hz > 0.45 * RATE_HZ + 10.0].max() < level.max() - 90.0


def test_the_same_arguments_give_the_same_samples() -> None:
    first, again = played(LANTERN_WALTZ), play(LANTERN_WALTZ, seed=1)
    assert first.audio.tobytes() == again.audio.tobytes()
    assert first.f0_hz.tobytes() == again.f0_hz.tobytes()
    other = play(LANTERN_WALTZ, seed=5)
    assert level_db(first.audio - other.audio) > level_db(first.audio) - 10.0


def test_another_rate_is_the_same_playing() -> None:
    at_48, at_44 = played(LANTERN_WALTZ), play(LANTERN_WALTZ, sample_rate_hz=44_100.0)
    times_s = np.arange(0.0, 11.0, 0.01)
    both = (at_48.f0_at(times_s) > 0.0) & (at_44.f0_at(times_s) > 0.0)
    assert np.mean(both) > 0.6
    assert np.abs(1200.0 * np.log2(at_48.f0_at(times_s)[both] / at_44.f0_at(times_s)[both])).max() < 3.0
    assert level_db(at_44.audio) == pytest.approx(level_db(at_48.audio), abs=0.2)


def test_transposed_tones_move_and_the_bore_stays() -> None:
    phrase = Phrase("long", 60.0, (Note(50.0, 2.0, 0.8, vibrato=0.0),), "tenor sax")
    plain, shifted = (
        play(phrase, unsteadiness=0.0, breath=0.0, floor_dbfs=-np.inf, transpose_semitones=t) for t in (0.0, 12.0)
    )
    assert shifted.notes[0].f0_hz == pytest.approx(2.0 * plain.notes[0].f0_hz, rel=1e-9)
    assert shifted.onsets_s == pytest.approx(plain.onsets_s)
    # harmonic k of the shifted tone stands where 2 k of the plain one stood, so bore aside they differ by the
    # source's fall over one octave of number, which is the same for all of them
    low = harmonics_db(span(plain, 0.6, 1.6), plain.notes[0].f0_hz, 24)[1::2]
    high = harmonics_db(span(shifted, 0.6, 1.6), shifted.notes[0].f0_hz, 12)
    assert np.ptp(high - low) < 0.5


def test_rests_hold_the_floor_that_was_asked_for() -> None:
    phrase = Phrase("short", 120.0, (Note(60.0, 1.0),))
    for floor_dbfs in (-70.0, -55.0):
        take = play(phrase, floor_dbfs=floor_dbfs, tail_s=1.0)
        assert level_db(take.audio[-RATE_HZ // 2 :]) == pytest.approx(floor_dbfs, abs=1.0)
        assert np.all(take.f0_hz[-RATE_HZ // 2 :] == 0.0)


@pytest.mark.parametrize("horn", HORNS)
def test_no_sample_clips_and_no_note_stops_abruptly(horn: str) -> None:
    model = HORNS[horn]
    take = one_note(Note(model.low_midi + 12, 1.0, 1.0, "accent"), horn)
    assert np.all(np.isfinite(take.audio))
    assert np.abs(take.audio).max() < 1.0
    level = levels_db(take.audio, 0.02)
    end = round(take.notes[0].end_s * RATE_HZ)
    # a stop within one sample would drop the 20 ms level faster than 60 dB in 25 ms
    assert np.min(level[end - 4800 + 1200 : end + 4800] - level[end - 4800 : end + 4800 - 1200]) > -45.0


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ({"horn": "oboe"}, 'no synthetic horn "oboe"; there are: soprano sax'),
        ({"horn": "tenor sacks"}, 'did you mean "tenor sax"?'),
        ({"sample_rate_hz": 8000.0}, "sample_rate_hz = 8000, allowed 16000 ... 400000"),
        ({"transpose_semitones": 30.0}, "transpose_semitones = 30, allowed -24 ... 24"),
        ({"unsteadiness": -1.0}, "unsteadiness = -1, allowed 0 ... 2"),
        ({"breath": float("nan")}, "breath = nan, allowed 0 ... 4"),
    ],
)
def test_faults_are_told(arguments: dict[str, object], told: str) -> None:
    with pytest.raises(SettingError) as caught:
        play(LANTERN_WALTZ, **arguments)  # type: ignore[arg-type]
    assert told in str(caught.value)
