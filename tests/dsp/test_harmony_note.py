"""Which note a harmony is chosen for, and when, on scripted tracks.

Times are those at which a change is heard in the row of notes. In scripts an attack becomes known 10 ms after the note
begins, and estimates come every 3 ms (tests/blocks/scripted_pitch.py); decisions fall on a grid of a millisecond.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np
import pytest

from chainsim.dsp.harmony_note import HarmonyNote
from chainsim.dsp.pitch_following import interval_ratio
from chainsim.dsp.pitch_rows import F0_HZ, ONSET_AGE_S, VOICED
from chainsim.music.scale import parse_key
from tests.blocks.scripted_pitch import Script

FS = 48_000.0
COMMIT_MS = 60.0
STILL_MS = 40.0
"""How long a pitch must lie still, as the docstring says, where a note may wait for so long."""

HOP_MS = 4.0
"""An estimate and a step of the grid."""

Change = tuple[int, int]
"""When, in ms, and to which note."""


def hz(midi: float | np.ndarray) -> np.ndarray:
    return 440.0 * 2.0 ** ((np.asarray(midi, dtype=float) - 69.0) / 12.0)


def chosen(
    track: np.ndarray, commit_ms: float = COMMIT_MS, rate_hz: float = FS, a4_hz: float = 440.0, cuts: Iterable[int] = ()
) -> np.ndarray:
    """The row of notes."""
    block = HarmonyNote(commit_ms, a4_hz, rate_hz)
    y = np.full(track.shape[1], np.nan)
    begin = 0
    for end in [*cuts, track.shape[1]]:
        part = np.empty(end - begin)
        block.process(np.ascontiguousarray(track[:, begin:end]), part)
        y[begin:end], begin = part, end
    return y


def changes(y: np.ndarray, rate_hz: float = FS) -> list[Change]:
    at = np.flatnonzero(np.diff(y, prepend=-1.0))
    return [(round(1000.0 * i / rate_hz), int(y[i])) for i in at]


def after_c(script: Script, **how: float) -> list[Change]:
    """Changes of a script that begins with half a second of C4, counted from its end; that C itself is left out."""
    found = changes(chosen(script.track, **how), script.rate_hz)
    assert found[0][1] == 60
    assert found[0][0] < 100
    return [(ms - 500, note) for ms, note in found[1:]]


def c4(rate_hz: float = FS) -> Script:
    return Script(rate_hz).note(float(hz(60)), 0.5)


def course(shape: Callable[[np.ndarray], np.ndarray], seconds: float) -> np.ndarray:
    """Pitch in Hz from a course in semitones over the time in seconds."""
    return hz(shape(np.arange(round(seconds * FS)) / FS))


def smooth(t: np.ndarray, from_st: float, to_st: float, takes_s: float) -> np.ndarray:
    """From one pitch to another as half a cosine."""
    return from_st + (to_st - from_st) * (0.5 - 0.5 * np.cos(np.pi * np.clip(t / takes_s, 0.0, 1.0)))


@pytest.mark.parametrize("unknown_ms", [0.0, 20.0, 50.0])
def test_the_first_note_is_chosen_when_its_pitch_lies_still(unknown_ms: float) -> None:
    found = changes(chosen(Script().rest(0.2).note(440.0, 0.5, unknown_s=unknown_ms / 1000.0).track))
    assert [note for _, note in found] == [69]
    assert 200.0 + unknown_ms + STILL_MS - 2.0 <= found[0][0] <= 200.0 + unknown_ms + STILL_MS + HOP_MS


@pytest.mark.parametrize("commit_ms", [20.0, 30.0, 45.0, 60.0, 120.0, 200.0])
@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 96_000.0])
def test_a_tongued_note_is_chosen_so_long_after_its_attack(commit_ms: float, rate_hz: float) -> None:
    # Not before the pitch has lain still since the attack is known.
    due_ms = max(commit_ms, 10.0 + min(max(commit_ms - 20.0, 15.0), STILL_MS))
    found = after_c(c4(rate_hz).note(float(hz(64)), 0.5), commit_ms=commit_ms, rate_hz=rate_hz)
    assert [note for _, note in found] == [64]
    assert due_ms - 2.0 <= found[0][0] <= due_ms + HOP_MS


@pytest.mark.parametrize("step", [-12, -7, -2, -1, 1, 2, 5, 12])
@pytest.mark.parametrize("slur_ms", [0.0, 15.0, 50.0])
def test_a_slurred_note_is_chosen_so_long_after_the_pitch_left(step: int, slur_ms: float) -> None:
    def slurred(t: np.ndarray) -> np.ndarray:
        return smooth(t, 60.0, 60.0 + step, max(slur_ms / 1000.0, 1e-6))

    found = after_c(c4().note(course(slurred, 0.5), 0.5, attack=False))
    assert [note for _, note in found] == [60 + step]
    # It left at the beginning of the slur at the earliest, and it lies still 40 ms after its end at the latest.
    assert COMMIT_MS - HOP_MS <= found[0][0] <= max(COMMIT_MS + slur_ms, slur_ms + STILL_MS) + HOP_MS


@pytest.mark.parametrize("scoop_ms", [60.0, 100.0, 125.0, 150.0])
@pytest.mark.parametrize("from_st", [-1.5, -2.0, -1.0, 1.5])
@pytest.mark.parametrize("tongued", [True, False])
def test_a_scoop_yields_one_degree(scoop_ms: float, from_st: float, tongued: bool) -> None:
    def scooped(t: np.ndarray) -> np.ndarray:
        return smooth(t, 67.0 + from_st, 67.0, scoop_ms / 1000.0)

    found = after_c(c4().note(course(scooped, 0.6), 0.6, attack=tongued))
    assert [note for _, note in found] == [67]
    assert found[0][0] <= max(10.0 + COMMIT_MS, scoop_ms + STILL_MS) + HOP_MS


def test_a_slow_scoop_is_chosen_at_the_deadline() -> None:
    def scooped(t: np.ndarray) -> np.ndarray:
        return np.minimum(64.3 + 7.0 * t, 67.0)

    # 3 x 60 + 60 ms after the attack the scoop is at 65.98 and still moves, 28 cents in 40 ms.
    found = after_c(c4().note(course(scooped, 0.9), 0.9))
    assert [note for _, note in found] == [66, 67]
    assert found[0][0] == pytest.approx(240.0, abs=HOP_MS)


def test_a_pitch_that_goes_on_for_a_moment_after_the_attack() -> None:
    def late(t: np.ndarray) -> np.ndarray:
        return np.where(t < 0.03, 60.0, 64.0)

    found = after_c(c4().note(course(late, 0.5), 0.5))
    assert [note for _, note in found] == [64]
    assert found[0][0] <= 10.0 + COMMIT_MS + HOP_MS


def test_a_slur_from_a_pitch_that_has_drifted() -> None:
    def drifting(t: np.ndarray) -> np.ndarray:
        return 60.0 - 0.4 * np.clip(t, 0.0, 1.0) + np.where(t < 1.5, 0.0, 1.0)

    found = after_c(c4().note(course(drifting, 2.0), 2.0, attack=False))
    assert [note for _, note in found] == [61]
    # 60.6 is so far from any note that it must lie still for 80 ms.
    assert found[0][0] <= 1500.0 + 80.0 + HOP_MS


def test_a_bend_soon_after_a_slur() -> None:
    def bent(t: np.ndarray) -> np.ndarray:
        return 65.0 + smooth(t - 0.07, 0.0, 1.0, 0.1) - smooth(t - 0.2, 0.0, 1.0, 0.1)

    assert [note for _, note in after_c(c4().note(course(bent, 0.8), 0.8, attack=False))] == [65]


def test_a_scoop_after_a_rest_from_the_note_before() -> None:
    def scooped(t: np.ndarray) -> np.ndarray:
        return smooth(t, 60.0, 62.0, 0.12)

    script = c4().rest(0.15).note(course(scooped, 0.6), 0.6, attack=False)
    assert [note for _, note in after_c(script)] == [62]


def test_at_the_deadline_the_note_before_counts_for_nothing() -> None:
    def falling(t: np.ndarray) -> np.ndarray:
        return np.maximum(67.0 - t / 0.015, 61.0)

    # 60 ms after the attack the pitch has fallen to 63.
    found = after_c(c4().note(course(falling, 0.6), 0.6), commit_ms=0.0)
    assert [note for _, note in found] == [63, 61]
    assert found[0][0] == pytest.approx(60.0, abs=HOP_MS)


@pytest.mark.parametrize("grace_ms", [20.0, 40.0, 55.0])
@pytest.mark.parametrize("grace", [58, 59, 61, 62, 65, 72])
@pytest.mark.parametrize("tongued", [True, False])
@pytest.mark.parametrize(("after", "notes"), [(60, []), (64, [64])])
def test_grace_notes_choose_nothing(grace_ms: float, grace: int, tongued: bool, after: int, notes: list[int]) -> None:
    script = c4().note(float(hz(grace)), grace_ms / 1000.0, attack=tongued).note(float(hz(after)), 0.5, attack=False)
    found = after_c(script)
    assert [note for _, note in found] == notes
    if notes:
        assert found[0][0] <= grace_ms + COMMIT_MS + HOP_MS


def test_a_tongued_note_after_a_tongued_grace_note() -> None:
    found = after_c(c4().note(float(hz(62)), 0.055).note(float(hz(64)), 0.5))
    assert [note for _, note in found] == [64]


@pytest.mark.parametrize("each_ms", [40.0, 50.0, 55.0])
def test_the_interval_before_lasts_through_a_run_of_shorter_notes(each_ms: float) -> None:
    script = c4()
    for midi in (62, 64, 65, 67, 69, 71):
        script.note(float(hz(midi)), each_ms / 1000.0, attack=False)
    found = after_c(script.note(float(hz(72)), 0.5, attack=False))
    assert [note for _, note in found] == [72]


@pytest.mark.parametrize("cents", [20.0, 40.0, 60.0])
@pytest.mark.parametrize("vibrato_hz", [4.0, 5.0, 6.5])
@pytest.mark.parametrize("phase", [0.0, 0.25, 0.5, 0.75])
def test_vibrato_chooses_nothing_even_from_the_first(cents: float, vibrato_hz: float, phase: float) -> None:
    def shaken(t: np.ndarray) -> np.ndarray:
        return 64.0 + 0.01 * cents * np.sin(2.0 * np.pi * (vibrato_hz * t + phase))

    found = after_c(c4().note(course(shaken, 3.0), 3.0))
    assert [note for _, note in found] == [64]
    # At the latest 3 x 60 + 60 ms after the attack.
    assert found[0][0] <= 240.0 + HOP_MS


@pytest.mark.parametrize("cents", [-30.0, 30.0])
def test_vibrato_about_a_pitch_that_is_off(cents: float) -> None:
    def shaken(t: np.ndarray) -> np.ndarray:
        return 64.0 + 0.01 * cents + 0.4 * np.sin(2.0 * np.pi * 5.0 * t) * np.clip(t - 0.2, 0.0, 0.4) / 0.4

    assert [note for _, note in after_c(c4().note(course(shaken, 3.0), 3.0))] == [64]


@pytest.mark.parametrize("bend_ms", [100.0, 200.0, 300.0, 600.0, 1000.0])
@pytest.mark.parametrize("reach_st", [-2.0, -1.5, -1.0, 1.0, 1.5, 2.0])
def test_a_bend_and_back_chooses_nothing(bend_ms: float, reach_st: float) -> None:
    def bent(t: np.ndarray) -> np.ndarray:
        turns = np.clip((t - 0.5) / (bend_ms / 1000.0), 0.0, 1.0)
        return 60.0 + reach_st * (0.5 - 0.5 * np.cos(2.0 * np.pi * turns))

    assert after_c(c4().note(course(bent, 2.0), 2.0, attack=False)) == []


@pytest.mark.parametrize("reach_st", [-7.0, 5.0])
def test_a_fall_chooses_nothing_and_the_next_note_does(reach_st: float) -> None:
    def falling(t: np.ndarray) -> np.ndarray:
        return 60.0 + reach_st * np.clip((t - 0.1) / 0.42, 0.0, 1.0) ** 1.5

    script = c4().note(course(falling, 0.52), 0.52, attack=False).rest(0.3).note(float(hz(62)), 0.5)
    assert [note for _, note in after_c(script)] == [62]


@pytest.mark.parametrize("to_st", [-5.0, -1.0, 1.0, 3.0])
@pytest.mark.parametrize("takes_ms", [400.0, 800.0])
def test_a_glissando_that_stays_is_chosen_once(to_st: float, takes_ms: float) -> None:
    def sliding(t: np.ndarray) -> np.ndarray:
        return 60.0 + to_st * np.clip(t / (takes_ms / 1000.0), 0.0, 1.0)

    found = after_c(c4().note(course(sliding, 1.5), 1.5, attack=False))
    # The last 60 cents of the way count as staying, and half a second later it has stayed.
    near_ms = takes_ms * max(1.0 - 0.6 / abs(to_st), 0.0)
    assert [note for _, note in found] == [60 + to_st]
    assert near_ms + 500.0 - HOP_MS <= found[0][0] <= takes_ms + 500.0 + HOP_MS


def test_a_glissando_that_stays_with_vibrato() -> None:
    def sliding(t: np.ndarray) -> np.ndarray:
        return np.minimum(60.0 + t / 0.133, 63.0) + 0.27 * np.sin(2.0 * np.pi * 5.0 * np.maximum(t - 0.4, 0.0))

    found = after_c(c4().note(course(sliding, 1.5), 1.5, attack=False))
    assert [note for _, note in found] == [63]
    assert found[0][0] <= 400.0 + 500.0 + 50.0


def test_repeated_notes_choose_nothing_anew() -> None:
    script = c4()
    for _ in range(8):
        script.note(float(hz(60)), 0.107, unknown_s=0.015)
    assert after_c(script) == []


@pytest.mark.parametrize("rest_s", [0.12, 0.5, 5.0])
@pytest.mark.parametrize("tongued", [True, False])
def test_the_note_after_a_rest(rest_s: float, tongued: bool) -> None:
    found = after_c(c4().rest(rest_s).note(float(hz(65)), 0.5, attack=tongued, unknown_s=0.02))
    assert [note for _, note in found] == [65]
    due_ms = 1000.0 * rest_s + COMMIT_MS + (0.0 if tongued else 20.0)
    assert due_ms - 2.0 <= found[0][0] <= due_ms + HOP_MS


@pytest.mark.parametrize("lasts_ms", [10.0, 40.0, 55.0])
@pytest.mark.parametrize("slip", [48, 72, 79])
def test_short_slips_of_the_tracker_choose_nothing(lasts_ms: float, slip: int) -> None:
    script = c4().note(float(hz(slip)), lasts_ms / 1000.0, attack=False).note(float(hz(60)), 0.5, attack=False)
    assert after_c(script) == []


@pytest.mark.parametrize("lasts_ms", [20.0, 90.0, 400.0])
def test_what_is_guessed_where_no_pitch_is_known_chooses_nothing(lasts_ms: float) -> None:
    script = c4().note(float(hz(77)), lasts_ms / 1000.0, attack=False, voiced=False)
    assert after_c(script.note(float(hz(60)), 0.5, attack=False)) == []


def test_a_slur_through_a_dropout() -> None:
    script = c4().note(float(hz(60)), 0.05, attack=False, voiced=False).note(float(hz(62)), 0.5, attack=False)
    found = after_c(script)
    assert [note for _, note in found] == [62]
    assert found[0][0] <= 50.0 + COMMIT_MS + HOP_MS


def test_a_dropout_in_a_bend() -> None:
    def bent(t: np.ndarray) -> np.ndarray:
        return 60.0 + smooth(t, 0.0, 2.0, 0.1) - smooth(t - 0.226, 0.0, 2.0, 0.1)

    script = c4().note(course(bent, 1.0), 1.0, attack=False)
    track = script.track
    track[VOICED, round(0.6 * FS) : round(0.66 * FS)] = 0.0
    assert [note for _, note in changes(chosen(track))] == [60]


def test_a_flutter_does_not_wait_for_ever() -> None:
    script = c4()
    for _ in range(20):
        script.note(float(hz(64)), 0.05)
    found = after_c(script)
    assert [note for _, note in found] == [64]
    # The second of its attacks, known at 60 ms, is taken for a new note at first, and must lie still once more.
    assert found[0][0] <= 60.0 + STILL_MS + HOP_MS


def test_an_attack_known_late_is_the_tone_s_own() -> None:
    script = c4().rest(0.2).note(float(hz(64)), 0.5, attack=False)
    track = script.track
    # Known 50 ms after the pitch, but 60 ms old.
    track[ONSET_AGE_S, round(0.75 * FS)] = 0.06
    found = [(ms - 700, note) for ms, note in changes(chosen(track))[1:]]
    assert [note for _, note in found] == [64]
    assert found[0][0] == pytest.approx(COMMIT_MS, abs=HOP_MS)


def test_tuning() -> None:
    # 440 Hz is a semitone above A4 at 415.3 Hz (ISO 16 and the usual baroque pitch: 440 / 2 ** (1 / 12)).
    assert chosen(Script().note(440.0, 0.3).track, a4_hz=440.0 / 2.0 ** (1.0 / 12.0))[-1] == 70.0


def test_nothing_is_chosen_before_a_pitch_is_known() -> None:
    script = Script().rest(0.3).note(440.0, 0.3, voiced=False)
    assert np.all(chosen(script.track) == -1.0)


def test_any_spans_give_the_same_bits() -> None:
    script = c4().note(float(hz(62)), 0.055).note(course(lambda t: smooth(t, 62.5, 64.0, 0.12), 0.5), 0.5).rest(0.2)
    track = script.note(course(lambda t: 65.0 + 0.6 * np.sin(30.0 * t), 0.6), 0.6).track
    whole = chosen(track)
    assert np.unique(whole).tolist() == [-1.0, 60.0, 64.0, 65.0]
    random = np.random.default_rng(1)
    for cuts in (range(1, 4000), range(7, track.shape[1], 509), np.unique(random.integers(1, track.shape[1], 50))):
        assert chosen(track, cuts=[int(c) for c in cuts]).tobytes() == whole.tobytes()


def test_later_estimates_change_nothing_before() -> None:
    track = c4().note(float(hz(64)), 0.5).track
    whole = chosen(track)
    for until in (24_000, 26_000, 27_500):
        changed = track.copy()
        changed[F0_HZ, until:] *= 1.5
        changed[VOICED, until:] = 0.0
        assert chosen(changed)[:until].tobytes() == whole[:until].tobytes()


def test_reset_is_as_new() -> None:
    track = c4().note(float(hz(64)), 0.5).track
    block, first, again = HarmonyNote(COMMIT_MS, 440.0, FS), np.empty(track.shape[1]), np.empty(track.shape[1])
    block.process(track, first)
    block.reset()
    block.process(track, again)
    assert again.tobytes() == first.tobytes()


def test_the_interval_glides_to_that_of_the_chosen_note() -> None:
    key = parse_key("C major")
    thirds = np.array([float(key.step(note, 2) - note) for note in range(128)])
    track = c4().note(float(hz(62)), 0.5).track
    note, ratio = chosen(track), np.empty(track.shape[1])
    frames = np.full(track.shape[1], 12.0)
    interval_ratio(note, thirds, frames, np.zeros_like(frames), 0.0, FS, np.array([np.nan, np.nan]), ratio)
    semitones = 12.0 * np.log2(ratio)
    at = int(np.flatnonzero(note == 62.0)[0])
    # A third above C is major, above D minor; after 12 ms 1/e of the difference is left.
    assert semitones[at - 1] == pytest.approx(4.0, abs=1e-9)
    assert semitones[at + 575] == pytest.approx(3.0 + math.exp(-1.0), abs=1e-6)
    assert semitones[-1] == pytest.approx(3.0, abs=1e-9)
