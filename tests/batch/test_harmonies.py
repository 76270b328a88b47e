"""Voices of a sketch against a take: shifted by the block itself, and by an ideal one that errs where it is told to."""

from __future__ import annotations

import functools
from collections.abc import Callable

import numpy as np
import pytest

from chainsim.audio.reading import TakeArray
from chainsim.batch import harmonies
from chainsim.batch.harmonies import Degrees, HarmonyReport, VoiceReport, measure_harmonies
from chainsim.errors import SketchError
from chainsim.graph.rendering import Rendering
from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import Phrase
from chainsim.horn.play import HornTake, play
from chainsim.music.pitch import parse_pitch
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch
from tests.tables import thorough

RATE_HZ = 48_000.0
SCALE = Phrase("Up the mole", 100.0, notes_of("C4 1, - 1, E4 1, - 1, G4 1, - 1, A4 1"), "tenor sax")
"""Four notes of 0.6 s, with rests between them."""


@functools.cache
def scale(semitones: float = 0.0) -> HornTake:
    return play(SCALE, seed=2, transpose_semitones=semitones)


def sketch(voices: str, more: str = "", key: str = "C major") -> Sketch:
    return parse_sketch(f"""
key = "{key}"
instrument = "tenor sax"
chain = [{{ lanes = ["dry", {{ chain = ["mates"], level_db = -6 }}] }}, "reverb"]
[blocks.mates]
type = "pitch_shifter"
voices = [{voices}]
{more}
""")


def measured(voices: str, more: str = "", key: str = "C major") -> HarmonyReport:
    return measure_harmonies(sketch(voices, more, key), TakeArray(scale().audio, RATE_HZ))


def true_enough(voice: VoiceReport) -> bool:
    """What the project asks of a shifter: 2 cents, 8 cents, 1.5 dB, no drop-out."""
    error = voice.error
    return (
        abs(error.mean_cents) < 2.0
        and error.spread_cents < 8.0
        and abs(error.worst_level_db) < 1.5
        and error.dropped_out == 0
        and len(error.steady_notes) == 4
    )


def test_every_voice_is_told_in_order() -> None:
    report = measured('{ interval = "P5 above" }, { interval = "+4 semitones" }, { pitch = "C3" }')
    assert [(v.block, v.number, v.place) for v in report.voices] == [
        ("mates", 1, "P5 above"), ("mates", 2, "+4 semitones"), ("mates", 3, "C3")
    ]  # fmt: skip
    assert [v.degrees for v in report.voices] == [None] * 3
    assert [round(v.error.notes[0].semitones) for v in report.voices] == [7, 4, -12]
    assert all(true_enough(v) for v in report.voices)
    assert (report.key, report.take, report.channels) == ("C major", "array", 1)
    assert report.duration_s == pytest.approx(scale().audio.size / RATE_HZ)


def test_level_place_delay_and_detuning_of_a_voice_do_not_count_against_it() -> None:
    (voice,) = measured(
        '{ interval = "P4 below", level_db = -9, pan = -0.7, delay_ms = 300, cents = 12 }', "level_db = -20"
    ).voices
    assert voice.cents == 12.0
    assert true_enough(voice)


def test_a_shifter_without_voices_has_one_in_unison() -> None:
    (voice,) = measured("").voices
    assert (voice.place, voice.number) == ("unison", 1)
    assert true_enough(voice)


def test_several_shifters_and_several_notes() -> None:
    both = parse_sketch("""
chain = ["low", "high"]
instrument = "tenor sax"
[blocks.low]
type = "pitch_shifter"
voices = [{ interval = "octave below" }]
[blocks.high]
type = "pitch_shifter"
notes = "several"
voices = [{ interval = "M3 above" }]
""")
    report = measure_harmonies(both, TakeArray(scale().audio, RATE_HZ))
    assert [(v.block, v.place) for v in report.voices] == [("low", "octave below"), ("high", "M3 above")]
    assert true_enough(report.voices[0])
    assert abs(report.voices[1].error.mean_cents) < 2.0


IN_KEY = {
    ("third above", "C major"): "E4 G4 B4 C5",
    ("fifth below", "C major"): "F3 A3 C4 D4",
    ("third above", "F major"): "E4 G4 Bb4 C5",
    ("sixth below", "E minor"): "E3 G3 B3 C4",
    ("third above", "A harmonic minor"): "E4 G#4 B4 C5",
}
"""What is asked of C4 E4 G4 A4, from scales as they are spelled: over E4 is G4 in C major, over C4 E4. G4, which is no
note of A harmonic minor, takes the scale note that makes a true third."""


@pytest.mark.parametrize(("interval", "key"), [*list(IN_KEY)[3:], *thorough(*list(IN_KEY)[:3])])
def test_in_key_voices_play_the_degrees_of_the_key(interval: str, key: str) -> None:
    (voice,) = measured(f'{{ interval = "{interval}" }}', key=key).voices
    played = [parse_pitch(p) for p in ("C4", "E4", "G4", "A4")]
    asked = [parse_pitch(p) for p in IN_KEY[interval, key].split()]
    assert [round(n.semitones) for n in voice.error.notes] == [a - p for a, p in zip(asked, played, strict=True)]
    assert voice.degrees == Degrees(4, 4)
    assert true_enough(voice)


def ideal(monkeypatch: pytest.MonkeyPatch, voice: np.ndarray, latency: int = 0) -> None:
    """Put an ideal voice in the place of what is rendered."""
    late = np.concatenate([np.zeros(latency), voice])[:, None]

    def rendered(sketch: Sketch, take: np.ndarray, sample_rate_hz: float) -> Rendering:
        return Rendering(late, sample_rate_hz, latency_samples=float(latency))

    monkeypatch.setattr(harmonies, "render", rendered)


def mixed(semitones: Callable[[float], float]) -> np.ndarray:
    """Ideal shifts, of which `semitones` says for each time in seconds which one sounds."""
    times_s = np.arange(scale().audio.size) / RATE_HZ
    chosen = np.array([semitones(t) for t in times_s[::480]]).repeat(480)[: times_s.size]
    voice = np.zeros(times_s.size)
    for size in np.unique(chosen):
        voice[chosen == size] = scale(float(size)).audio[chosen == size]
    return voice


def test_wrong_degrees_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    # A major third above every note, where the key asks for 4 3 4 3.
    ideal(monkeypatch, scale(4.0).audio, latency=777)
    (voice,) = measured('{ interval = "third above" }').voices
    assert voice.degrees == Degrees(2, 4)
    assert [n.semitones for n in voice.error.notes] == pytest.approx([4.0] * 4)
    assert true_enough(voice)  # in tune with the degree that it plays


def test_what_is_no_degree_at_all_drops_out(monkeypatch: pytest.MonkeyPatch) -> None:
    ideal(monkeypatch, scale(6.0).audio)
    (voice,) = measured('{ interval = "third above" }').voices
    assert voice.degrees == Degrees(0, 0)
    assert voice.error.dropped_out == 4
    assert np.isnan(voice.error.mean_cents)


@pytest.mark.parametrize(("late_s", "dropped_out"), [(0.2, 0), (0.35, 1), *thorough((0.0, 0), (0.12, 0))])
def test_a_degree_may_be_chosen_until_the_deadline(
    monkeypatch: pytest.MonkeyPatch, late_s: float, dropped_out: int
) -> None:
    # The second note begins with the first one's interval; the block promises to choose within 3 x 60 + 60 = 240 ms.
    onset_s = scale().notes[1].onset_s
    right = {0: 4.0, 1: 3.0, 2: 4.0, 3: 3.0}

    def semitones(t: float) -> float:
        index = sum(t >= n.onset_s - 0.1 for n in scale().notes[1:])
        return 4.0 if index == 1 and t < onset_s + late_s else right[index]

    ideal(monkeypatch, mixed(semitones))
    (voice,) = measured('{ interval = "third above" }').voices
    assert voice.error.dropped_out == dropped_out
    assert [n.dropped_out for n in voice.error.notes][1] == bool(dropped_out)
    if not dropped_out:
        assert voice.degrees == Degrees(4, 4)
        assert voice.error.spread_cents < 1.0


def test_two_channels_are_folded_and_progress_is_told() -> None:
    told: list[tuple[int, int]] = []
    wide = np.stack([scale().audio, scale().audio], axis=1)
    chosen = sketch('{ interval = "P5 above" }, { interval = "P5 below" }')
    report = measure_harmonies(chosen, TakeArray(wide, RATE_HZ), progress=lambda *done: told.append(done))
    assert report.channels == 2
    assert all(true_enough(v) for v in report.voices)
    assert told == [(1, 2), (2, 2)]


def test_what_cannot_be_measured_is_told() -> None:
    take = TakeArray(scale().audio, RATE_HZ)
    with pytest.raises(SketchError, match="no block of type"):
        measure_harmonies(parse_sketch('chain = ["reverb"]'), take)
    keyless = parse_sketch('chain = ["pitch_shifter"]\n[blocks.pitch_shifter]\nvoices = [{ interval = "third above" }]')
    with pytest.raises(SketchError, match=r"blocks.pitch_shifter.voices\[0\].interval = .* the sketch has no key"):
        measure_harmonies(keyless, take)


def test_what_is_left_out_is_told() -> None:
    driven = sketch(
        '{ interval = "P5 above" }',
        """[controllers.pedal]
type = "breakpoints"
points = [[0.0, 0.0], [1.0, 1.0]]
drives = [{ setting = "mates.formant", low = 0, high = 1 }]""",
    )
    report = measure_harmonies(driven, TakeArray(scale().audio, RATE_HZ))
    assert any("controllers are left out" in line for line in report.warnings)
    noise = 0.1 * np.random.default_rng(1).standard_normal(48_000)
    report = measure_harmonies(sketch('{ interval = "P5 above" }'), TakeArray(noise, RATE_HZ))
    assert any("no note is steady" in line for line in report.warnings)
    assert report.voices[0].error.steady_notes == ()
