"""The wandering bass on scripted pitch tracks: in the key, in time, in range, the same every time."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from chainsim.dsp.hashed_noise import hashed
from chainsim.dsp.random_walk import grid_point, walk_on
from chainsim.errors import SettingError
from tests.blocks.scripted_pitch import Script, pitch_of, play, ready

FS = 48_000
SINE: dict[str, Any] = {"waveform": "sine", "cutoff_hz": 5_000.0, "q": 0.5, "envelope_octaves": 0.0}
E_MINOR = {4, 6, 7, 9, 11, 0, 2}
"""Pitch classes: E F# G A B C D."""


def line(script: Script, *, bpm: float = 120.0, **settings: Any) -> np.ndarray:
    """What the bass plays to a script in E minor."""
    how = {k: settings.pop(k) for k in ("name", "key") if k in settings}
    block = ready("wandering_bass", **{"key": "E minor", **how}, **settings)
    return play(block, script.track, script.horn, bpm=bpm)[0]


def note_at(y: np.ndarray, begin_s: float, end_s: float) -> float:
    """MIDI note, fractional, of the strongest line below 1 kHz."""
    part = y[round(begin_s * FS) : round(end_s * FS)]
    spectrum = np.abs(np.fft.rfft(part * np.blackman(part.size), 1 << 19))
    hz = np.argmax(spectrum[: round(1_000 / FS * (1 << 19))]) * FS / (1 << 19)
    return 69.0 + 12.0 * math.log2(pitch_of(part, hz) / 440.0)


def test_cuts_reset_and_late_waking_leave_the_bits_alone() -> None:
    script = Script().note(330.0, 0.6).note(294.0, 0.3).rest(0.4)
    block = ready("wandering_bass", key="E minor", every="1/16 swung", goes_on_s=0.1)
    whole = play(block, script.track, script.horn)
    for size in (1, 7, 64, 509):
        block.reset()
        cuts = range(size, script.track.shape[1], size)
        assert play(block, script.track, script.horn, cuts=cuts).tobytes() == whole.tobytes()


def test_stepping_in_later_gives_the_same_line() -> None:
    script = Script().note(329.628, 4.0)
    block = ready("wandering_bass", key="E minor", **SINE)
    whole = play(block, script.track, script.horn)[0]
    block.reset()
    begun = round(1.7 * FS)
    late = play(block, script.track, script.horn, start=begun)[0]
    assert not late[: round(0.29 * FS)].any()  # between two points: it waits for the next, at 2 s
    for begin_s in (2.0, 2.5, 3.0):
        ours = note_at(late, begin_s + 0.05 - 1.7, begin_s + 0.4 - 1.7)
        assert ours == pytest.approx(note_at(whole, begin_s + 0.05, begin_s + 0.4), abs=0.02)


def test_notes_stay_in_the_key_and_in_the_range_and_move_by_the_step() -> None:
    script = Script().note(329.628, 16.0)
    wide = {"gate": 1.0, "sustain_db": 0.0, "range_steps": 5, "largest_step": 2}
    block = ready("wandering_bass", key="E minor", **SINE, **wide)
    y = play(block, script.track, script.horn)[0]
    notes = [note_at(y, 0.5 * k + 0.05, 0.5 * k + 0.48) for k in range(1, 31)]
    assert np.abs(np.array(notes) - np.round(notes)).max() < 0.01
    whole = [round(n) for n in notes]
    assert {n % 12 for n in whole} <= E_MINOR
    scale = [n for n in range(20, 100) if n % 12 in E_MINOR]
    places = np.array([scale.index(n) - scale.index(52) for n in whole])  # E3, an octave below E4
    assert np.abs(places).max() <= 5
    assert set(np.abs(np.diff(places))) <= {0, 1, 2}  # 0 only where the walk turns back at its end
    assert len(set(whole)) >= 4
    # A walk of its own, step by step, from the numbers drawn.
    seed = block._seed
    at = math.floor((hashed(seed, 0) + 1.0) / 2.0 * 11) - 5
    expected = [at]
    for k in range(1, 31):
        at += (-2, -1, 1, 2)[math.floor(2.0 * (hashed(seed, k) + 1.0))]
        at = 10 - at if at > 5 else -10 - at if at < -5 else at
        expected.append(at)
    assert places.tolist() == expected[1:]


def test_walk_is_even_and_the_same_however_one_comes_to_it() -> None:
    steps = np.diff([walk_on(0, -1, k, 2, 1_000, 99) for k in range(4_001)])
    counts = {s: int((steps == s).sum()) for s in (-2, -1, 1, 2)}
    assert sum(counts.values()) == 4_000
    # 1000 each expected, standard deviation sqrt(4000 / 4 * 3 / 4) = 27.
    assert all(abs(c - 1_000) < 5 * 27 for c in counts.values())


@pytest.mark.parametrize(
    ("beat", "every", "share", "expected"),
    [
        (0.0, 1.0, 0.5, (0, 0.0, 1.0)),
        (1.0, 1.0, 0.5, (1, 1.0, 2.0)),
        (2.999, 1.0, 0.5, (2, 2.0, 3.0)),
        (0.7, 0.5, 0.75, (0, 0.0, 0.75)),
        (0.75, 0.5, 0.75, (1, 0.75, 1.0)),
    ],
)
def test_grid_points(beat: float, every: float, share: float, expected: tuple[int, float, float]) -> None:
    assert grid_point(beat, every, share) == expected


@pytest.mark.parametrize(
    ("every", "swing", "begins_ms"),
    [
        ("1/4", 66.7, [500.0, 1000.0, 1500.0]),  # 60000 / 120
        ("1/8 dotted", 66.7, [375.0, 750.0, 1125.0]),
        ("1/8 swung", 75.0, [375.0, 500.0, 875.0, 1000.0]),  # 3/4 and 1/4 of a quarter
    ],
)
def test_notes_begin_on_the_grid(every: str, swing: float, begins_ms: list[float]) -> None:
    script = Script().note(329.628, 2.0)
    y = line(script, every=every, swing_percent=swing, gate=0.5, release_ms=5.0, cutoff_hz=5_000.0)
    for begin in begins_ms:
        n = round(begin * FS / 1000.0)
        before, after = (np.sqrt(np.mean(part**2)) for part in (y[n - 240 : n], y[n : n + 720]))
        assert after > 20.0 * before


def test_first_note_may_come_late_when_the_horn_begins_on_the_beat() -> None:
    y = line(Script().rest(0.5).note(329.628, 0.6, unknown_s=0.03), **SINE)
    assert not y[: round(0.53 * FS)].any()
    assert np.abs(y[round(0.535 * FS) : round(0.6 * FS)]).max() > 0.02
    other = line(Script().rest(0.5).note(329.628, 0.45, unknown_s=0.1), **SINE)
    assert not other.any()


def test_it_stops_when_the_horn_has_stopped() -> None:
    script = Script().note(329.628, 1.05).rest(3.0)
    for goes_on_s, last in ((0.0, 2), (1.0, 4)):
        y = line(script, **SINE, goes_on_s=goes_on_s, gate=0.5, release_ms=10.0)
        loud = [
            bool(np.abs(y[round((0.5 * k + 0.05) * FS) : round((0.5 * k + 0.2) * FS)]).max() > 0.01) for k in range(8)
        ]
        assert loud == [k <= last for k in range(8)]
        assert not y[-FS // 2 :].any()


def test_other_names_walk_other_ways() -> None:
    script = Script().note(329.628, 6.0)
    one, same, other = (line(script, **SINE, name=name) for name in ("low", "low", "lower"))
    assert one.tobytes() == same.tobytes()
    assert one.tobytes() != other.tobytes()


def test_its_level_is_the_horns() -> None:
    soft, loud = (line(Script().note(329.628, 2.0, level_db=level), **SINE, sustain_db=0.0) for level in (-30.0, -18.0))
    assert np.std(loud) / np.std(soft) == pytest.approx(10.0 ** (12.0 / 20.0), rel=0.01)
    steady = loud[round(1.05 * FS) : round(1.35 * FS)]
    assert 20.0 * math.log10(np.std(steady)) == pytest.approx(-18.0, abs=0.5)


def test_notes_after_the_horn_has_stopped_are_as_loud_as_it_was_before_it_died_away() -> None:
    script = Script().note(329.628, 1.05)
    for fallen_db in range(0, 25, 2):  # 24 dB in 0.26 s, the pitch still known
        script.note(329.628, 0.02, level_db=-20.0 - fallen_db, attack=False)
    script.rest(2.5)
    y = line(script, **SINE, sustain_db=0.0, goes_on_s=2.0, gate=0.8)
    levels_db = [
        20.0 * math.log10(np.std(y[round((0.5 * k + 0.1) * FS) : round((0.5 * k + 0.35) * FS)])) for k in (3, 4, 5)
    ]
    assert levels_db == pytest.approx([-20.0] * 3, abs=0.5)


def test_a_soft_note_after_a_rest_goes_on_softly() -> None:
    script = Script().note(329.628, 1.0, level_db=-10.0).rest(1.0).note(329.628, 0.2, level_db=-40.0).rest(1.0)
    y = line(script, **SINE, sustain_db=0.0, gate=0.8)
    assert 20.0 * math.log10(np.std(y[round(2.6 * FS) : round(2.85 * FS)])) == pytest.approx(-40.0, abs=0.5)


def test_it_needs_a_key_and_right_words() -> None:
    with pytest.raises(SettingError, match='allowed such as key = "E minor"'):
        ready("wandering_bass")
    for settings in ({"every": "1/7"}, {"interval": "low"}, {"source": "a.wav"}, {"range_steps": 0}):
        with pytest.raises(ValidationError):
            ready("wandering_bass", key="E minor", **settings)
