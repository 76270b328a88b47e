"""The following synth on scripted pitch tracks: what it plays, when it is silent, what moves it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from chainsim.errors import SettingError
from chainsim.measure.loudness import measure_loudness
from tests.blocks.scripted_pitch import Script, pitch_of, play, ready

FS = 48_000
SINE: dict[str, Any] = {"voices": [{"waveform": "sine"}], "cutoff_hz": 20_000.0, "q": 0.5}
"""A voice whose line is easy to find."""


def heard(script: Script, **settings: Any) -> np.ndarray:
    """First channel of what the synth makes of a script."""
    how = {k: settings.pop(k) for k in ("key", "a4_hz") if k in settings}
    return play(ready("following_synth", **how, **settings), script.track, script.horn)[0]


def level_db(y: np.ndarray) -> float:
    """Root mean square in dB."""
    return 20.0 * math.log10(max(float(np.sqrt(np.mean(y**2))), 1e-12))


def between(y: np.ndarray, a_s: float, b_s: float) -> np.ndarray:
    """The sound from one time to another."""
    return y[round(a_s * FS) : round(b_s * FS)]


def cents(found_hz: float, expected_hz: float) -> float:
    """How far one frequency is over another."""
    return 1200.0 * math.log2(found_hz / expected_hz)


@pytest.mark.parametrize(
    "settings",
    [
        {},
        {"voices": [{"unison": 3, "spread": 1.0}, {"waveform": "pulse", "interval": "P8 below", "pan": -0.4}]},
        {"voices": [{"waveform": "noise"}], "amplitude": "envelope", "when_unsure": "fade", "drive_db": 20.0},
        {"source": "part.mid", "lfos": [{"shape": "sample and hold", "rate_hz": 9.0, "pitch_cents": 30.0}]},
        {"voices": [{"pitch": "E2", "unison": 2}], "lfos": [{"pitch_cents": 8.0}]},
        {"glide_ms": 60.0, "snap_rate": 300.0, "lfos": [{"note": "1/8", "level_db": 6.0, "cutoff_octaves": 1.0}]},
    ],
)
@pytest.mark.parametrize("channels", [1, 2])
def test_cuts_and_reset_leave_the_bits_alone(settings: dict[str, Any], channels: int) -> None:
    script = Script().rest(0.02).note(220.0, 0.08, unknown_s=0.02).note(247.0, 0.05, attack=False).rest(0.03)
    track, horn = script.track, np.repeat(script.horn, channels, axis=0)
    block = ready("following_synth", channels=channels, **settings)
    whole = play(block, track, horn)
    for size in (1, 7, 64, 509):
        block.reset()
        assert play(block, track, horn, cuts=range(size, track.shape[1], size)).tobytes() == whole.tobytes()


@pytest.mark.parametrize(
    ("interval", "semitones"), [("unison", 0), ("P5 above", 7), ("M10 below", -16), ("+6 semitones", 6)]
)
@pytest.mark.parametrize("a4_hz", [440.0, 443.0])
def test_intervals_are_exact(interval: str, semitones: int, a4_hz: float) -> None:
    y = heard(Script().note(311.7, 0.9), voices=[{**SINE["voices"][0], "interval": interval}], a4_hz=a4_hz)
    expected_hz = 311.7 * 2.0 ** (semitones / 12.0)
    assert abs(cents(pitch_of(between(y, 0.2, 0.9), expected_hz), expected_hz)) < 0.1


@pytest.mark.parametrize("a4_hz", [440.0, 443.0])
def test_a_pedal_tone_stays_under_whatever_is_played(a4_hz: float) -> None:
    # E2 is 29 semitones under A4: 82.407 Hz at A4 = 440 Hz, as tables print it
    voices = [{"waveform": "sine", "pitch": "E2"}]
    script = Script().note(220.0, 0.8).note(311.7, 0.8, attack=False)
    y = heard(script, **{**SINE, "voices": voices}, a4_hz=a4_hz, glide_ms=50.0, snap_rate=500.0)
    expected_hz = 82.4069 * a4_hz / 440.0
    for a_s, b_s in ((0.1, 0.8), (0.8, 1.5), (0.4, 1.2)):
        assert abs(cents(pitch_of(between(y, a_s, b_s), expected_hz), expected_hz)) < 0.1


@pytest.mark.parametrize(("played", "sounding"), [("C", 329.628), ("D", 349.228), ("E", 391.995)])
def test_a_third_in_the_key_is_major_or_minor(played: str, sounding: float) -> None:
    # C major: C-E, D-F, E-G; frequencies of equal temperament to A4 = 440 Hz, as tables print them.
    played_hz = {"C": 261.626, "D": 293.665, "E": 329.628}[played]
    voices = [{"waveform": "sine", "interval": "third above"}]
    y = heard(Script().note(played_hz, 0.8), **{**SINE, "voices": voices}, key="C major")
    assert abs(cents(pitch_of(between(y, 0.2, 0.8), sounding), sounding)) < 0.1


def test_the_first_note_is_in_the_key_at_once_however_slow_the_glide() -> None:
    # A minor: over A the third is minor; MIDI note 0, a C, would have a major one.
    voices = [{"waveform": "sine", "interval": "third above"}]
    script = Script().rest(0.2).note(220.0, 0.5)
    y = heard(script, **{**SINE, "voices": voices}, key="A minor", glide_ms=2000.0)
    expected_hz = 261.626
    assert abs(cents(pitch_of(between(y, 0.25, 0.7), expected_hz), expected_hz)) < 1.0


def test_what_needs_a_key_says_so() -> None:
    with pytest.raises(SettingError, match=r'voices\[0\].interval = "third above" counts steps in a key'):
        ready("following_synth", voices=[{"interval": "third above"}])
    with pytest.raises(SettingError, match="snap_to"):
        ready("following_synth", snap_to="key")


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"voices": [{}] * 7}, "= 7 voices, allowed up to 6"),
        ({"voices": [{"interval": "P5"}]}, "no interval"),
        ({"voices": [{"pitch": "E"}]}, "no pitch"),
        ({"voices": [{"pitch": "E2", "interval": "unison"}]}, "both interval and pitch"),
        ({"source": "part.wav"}, "allowed .track., .tracked_midi. or the name of a .mid file"),
        ({"lfos": [{"note": "1/8", "rate_hz": 2.0}]}, "both rate_hz and note"),
        ({"lfos": [{"note": "1/8 swung"}]}, "not swung"),
        ({"lfos": [{}, {}, {}]}, "= 3 LFOs, allowed up to 2"),
        ({"cutoff_hz": 5.0}, "allowed 20 ... 20000 Hz"),
    ],
)
def test_wrong_settings_are_refused(settings: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        ready("following_synth", **settings)


@pytest.mark.parametrize("amplitude", ["horn", "envelope"])
def test_no_wrong_pitch_at_a_note_whose_pitch_is_not_known_yet(amplitude: str) -> None:
    script = Script().note(220.0, 0.4).rest(0.2).note(330.0, 0.4, unknown_s=0.03)
    y = heard(script, **SINE, amplitude=amplitude, release_ms=10.0)
    assert level_db(between(y, 0.612, 0.628)) < -80.0
    begun = between(y, 0.633, 0.70)
    assert abs(cents(pitch_of(begun, 330.0), 330.0)) < 5.0
    assert level_db(begun) > -30.0


def test_doubt_within_a_note_is_held_faded_or_muted() -> None:
    script = Script().note(220.0, 0.4).note(517.0, 0.4, attack=False, voiced=False).note(220.0, 0.3, attack=False)
    held, faded, muted = (heard(script, **SINE, when_unsure=word, fade_ms=200.0) for word in ("hold", "fade", "mute"))
    steady = level_db(between(held, 0.2, 0.4))
    assert abs(level_db(between(held, 0.45, 0.8)) - steady) < 0.2
    assert abs(cents(pitch_of(between(held, 0.42, 0.8), 220.0), 220.0)) < 1.0
    # The unsure guess, 517 Hz, is nowhere: no burble.
    spectrum = np.abs(np.fft.rfft(between(held, 0.4, 0.8) * np.blackman(round(0.4 * FS))))
    assert 20.0 * math.log10(spectrum[round(0.4 * 517.0)] / spectrum.max()) < -80.0
    # Half-way through the fade, 3 t^2 - 2 t^3 is a half.
    assert level_db(between(faded, 0.4995, 0.5005)) == pytest.approx(
        level_db(between(held, 0.4995, 0.5005)) - 6.02, abs=0.3
    )
    assert level_db(between(faded, 0.61, 0.79)) < -100.0
    assert level_db(between(muted, 0.41, 0.79)) < -100.0
    for y in (faded, muted):
        assert abs(level_db(between(y, 0.85, 1.1)) - steady) < 0.2


def test_a_rest_is_no_doubt() -> None:
    script = Script().note(220.0, 0.3)
    script.note(220.0, 0.5, level_db=-34.0, attack=False, voiced=False)  # 14 dB down: bleed or breath
    for word in ("hold", "fade", "mute"):
        assert level_db(between(heard(script, **SINE, when_unsure=word), 0.5, 0.8)) < -100.0


def test_envelope_restarts_with_attacks_and_not_with_slurs() -> None:
    pluck = {**SINE, "amplitude": "envelope", "decay_ms": 40.0, "sustain_db": -60.0}
    slurred = heard(Script().note(220.0, 0.4).note(247.0, 0.4, attack=False), **pluck)
    tongued = heard(Script().note(220.0, 0.4).note(247.0, 0.4), **pluck)
    assert level_db(between(slurred, 0.42, 0.46)) < -60.0
    assert level_db(between(tongued, 0.42, 0.46)) > -35.0


def test_one_attack_known_late_starts_one_note() -> None:
    """The onset pulse comes 10 ms after the pitch in the script; the envelope must not begin twice."""
    y = heard(Script().rest(0.1).note(220.0, 0.3), **SINE, amplitude="envelope", attack_ms=1.0, decay_ms=5.0)
    size = np.abs(y)
    early, late = size[round(0.103 * FS) : round(0.108 * FS)].max(), size[round(0.118 * FS) : round(0.14 * FS)].max()
    assert late < 0.9 * early


def test_a_new_note_begins_at_its_own_pitch_unless_gliding() -> None:
    script = Script().note(220.0, 0.4).rest(0.5).note(440.0, 0.5)
    direct = heard(script, **SINE)
    assert abs(cents(pitch_of(between(direct, 0.9, 0.95), 440.0), 440.0)) < 10.0
    gliding = heard(script, **SINE, glide_ms=100.0)
    # An octave falling off as exp(-t / 100 ms): 100 ms in, 1200 / e cents below; over 30 ms it moves about evenly.
    expected_hz = 440.0 * 2.0 ** (-1.0 / math.e)
    assert abs(cents(pitch_of(between(gliding, 0.985, 1.015), expected_hz), expected_hz)) < 25.0


def test_vibrato_is_followed_through_a_glide() -> None:
    t = np.arange(FS) / FS
    vibrato = 2.0 ** (0.4 / 12.0 * np.sin(2.0 * np.pi * 5.5 * t))
    script = Script().note(330.0, 0.5).note(440.0 * vibrato, 1.0, attack=False)
    y = heard(script, **SINE, glide_ms=400.0)
    n0 = round(1.0 * FS)
    turns = np.cumsum(np.full(FS // 2, 440.0)) / FS
    base = np.convolve(y[n0:] * np.exp(-2j * np.pi * turns), np.hanning(481) / 240.0, "same")[600:-600]
    moving_cents = 1200.0 * np.log2(1.0 + np.diff(np.unwrap(np.angle(base))) * FS / (2.0 * np.pi) / 440.0)
    slope = np.polyval(np.polyfit(np.arange(moving_cents.size), moving_cents, 3), np.arange(moving_cents.size))
    assert np.std(moving_cents - slope) * math.sqrt(2.0) == pytest.approx(40.0, rel=0.12)


def test_snapping_draws_to_the_tempered_note_at_its_rate() -> None:
    script = Script().note(440.0 * 2.0 ** (40.0 / 1200.0), 2.0)
    free, slow, fast = (heard(script, **SINE, snap_rate=rate) for rate in (0.0, 20.0, 2_000.0))
    assert cents(pitch_of(between(free, 1.0, 2.0), 440.0), 440.0) == pytest.approx(40.0, abs=0.1)
    assert cents(pitch_of(between(slow, 0.95, 1.05), 440.0), 440.0) == pytest.approx(20.0, abs=0.5)
    assert cents(pitch_of(between(fast, 1.0, 2.0), 440.0), 440.0) == pytest.approx(0.0, abs=0.1)
    lower = heard(script, **SINE, snap_rate=2_000.0, a4_hz=444.0)
    assert cents(pitch_of(between(lower, 1.0, 2.0), 444.0), 444.0) == pytest.approx(0.0, abs=0.1)


def test_snapping_to_the_key_leaves_out_other_notes() -> None:
    sharp_hz = 440.0 * 2.0 ** (1.0 / 12.0)  # A#4 in C major: of A and B, both as near, the lower
    y = heard(Script().note(sharp_hz, 1.0), **SINE, snap_rate=20_000.0, snap_to="key", key="C major")
    assert cents(pitch_of(between(y, 0.3, 1.0), 440.0), 440.0) == pytest.approx(0.0, abs=0.1)


def test_lfo_keeps_to_the_beat_wherever_the_render_begins() -> None:
    script = Script().note(220.0, 2.2)
    settings = {**SINE, "lfos": [{"shape": "square", "note": "1/4", "level_db": 6.0}]}
    y = play(ready("following_synth", **settings), script.track, script.horn, bpm=100.0)[0]
    # At 100 beats a minute a quarter lasts 600 ms: 300 ms up by 6 dB, 300 ms down by 6.
    levels = [level_db(between(y, 0.3 * k + 0.05, 0.3 * k + 0.29)) for k in range(1, 7)]
    assert np.diff(levels) == pytest.approx([12.0, -12.0, 12.0, -12.0, 12.0], abs=0.1)
    begun = 30_000
    late = play(ready("following_synth", **settings), script.track, script.horn, bpm=100.0, start=begun)[0]
    assert level_db(late[2_000:4_000]) == pytest.approx(level_db(y[begun + 2_000 : begun + 4_000]), abs=0.1)


def test_lfo_vibrato_has_the_depth_it_says_and_the_pedal_takes_it_back() -> None:
    script = Script().note(440.0, 1.0)
    settings = {**SINE, "lfos": [{"rate_hz": 5.0, "pitch_cents": 50.0}]}
    for depth in (1.0, 0.5, 0.0):
        y = heard(script, **settings, lfo_1_depth=depth)
        # Phase modulation by index f (2^(c/1200) - 1) / r: the carrier has amplitude |J0|, the side lines |J1| ...
        moved = 440.0 * 2.0 ** (depth * 50.0 / 1200.0 * np.sin(2.0 * np.pi * 5.0 * np.arange(FS) / FS))
        expected = np.sin(2.0 * np.pi * np.concatenate([[0.0], np.cumsum(moved)[:-1]]) / FS)
        a, b = (np.abs(np.fft.rfft(v[FS // 5 :] * np.blackman(v.size - FS // 5))) for v in (y, expected))
        assert np.abs(a / a.max() - b / b.max()).max() < 0.01


def test_width_and_unison_make_it_stereo_only_when_spread() -> None:
    script = Script().note(220.0, 0.5)
    block = ready("following_synth", voices=[{"unison": 5, "spread": 0.8}])
    y = play(block, script.track, script.horn)
    assert y.shape[0] == 2
    assert np.corrcoef(y[0, FS // 5 :], y[1, FS // 5 :])[0, 1] < 0.95
    assert abs(level_db(y[0, FS // 5 :]) - level_db(y[1, FS // 5 :])) < 3.0
    middle = play(ready("following_synth", channels=2), script.track, np.repeat(script.horn, 2, axis=0))
    assert middle[0].tobytes() == middle[1].tobytes()


def test_detuned_unison_stands_evenly_around_the_pitch() -> None:
    y = heard(Script().note(440.0, 2.5), **{**SINE, "voices": [{"waveform": "sine", "unison": 3}]}, detune_cents=40.0)
    spectrum = np.abs(np.fft.rfft(between(y, 0.4, 2.4) * np.blackman(2 * FS)))
    for offset in (-40.0, 0.0, 40.0):
        k = round(2.0 * 440.0 * 2.0 ** (offset / 1200.0))
        assert spectrum[k - 2 : k + 3].max() > 0.5 * spectrum.max()


@pytest.mark.parametrize("settings", [{}, {"drive_db": 24.0}, {"voices": [{"waveform": "pulse"}]}])
@pytest.mark.parametrize("hz", [110.0, 233.0, 466.0, 880.0])
def test_about_as_loud_as_the_horn(settings: dict[str, Any], hz: float) -> None:
    n = 2 * FS
    script = Script().note(hz, 2.0)
    # Harmonics falling as 1 / k^1.5 stand for a horn of middling brightness.
    k = np.arange(1, int(8_000 / hz) + 1)[:, None]
    horn = (k**-1.5 * np.sin(2.0 * np.pi * k * hz * np.arange(n) / FS)).sum(axis=0)[None]
    horn *= 0.1 / np.sqrt(np.mean(horn**2))
    y = play(ready("following_synth", **settings), script.track, horn)
    ours, theirs = (measure_loudness(v.T[FS // 4 :], FS).integrated_lufs for v in (y, horn))
    assert abs(ours - theirs) < 2.0


def test_nothing_clicks() -> None:
    """A click is a step that the wave itself does not have: broadband, so heard far over a low sine's own band."""
    script = Script().rest(0.1).note(220.0, 0.3).rest(0.2).note(330.0, 0.2, unknown_s=0.02).note(220.0, 0.3).rest(0.3)
    horn = script.horn
    for settings in ({"amplitude": "envelope", "attack_ms": 1.0, "release_ms": 1.0}, {"when_unsure": "mute"}):
        y = play(ready("following_synth", **SINE, **settings), script.track, horn)[0]
        # The steepest a sine of 330 Hz at this peak gets, and as much again for ramps of 1 ms.
        slope = np.abs(np.diff(y)).max()
        assert slope < np.abs(y).max() * (2.0 * math.pi * 330.0 + 2_000.0) / FS


@pytest.mark.parametrize("source", ["part.mid", "tracked_midi"])
def test_midi_level_row_drives_the_amplitude(source: str) -> None:
    script = Script().note(220.0, 0.5, level_db=-26.0).note(220.0, 0.5, level_db=-14.0)
    silent = np.zeros_like(script.horn)
    y = play(ready("following_synth", **SINE, source=source), script.track, silent)[0]
    assert level_db(between(y, 0.7, 1.0)) - level_db(between(y, 0.2, 0.5)) == pytest.approx(12.0, abs=0.1)


def test_tail_is_what_is_reported() -> None:
    script = Script().note(220.0, 0.5).rest(8.0)
    for settings in (
        {},
        {"when_unsure": "fade", "fade_ms": 60.0},
        {"amplitude": "envelope", "release_ms": 100.0, "sustain_db": 0.0},
    ):
        block = ready("following_synth", **SINE, **settings)
        y = np.abs(play(block, script.track, script.horn)[0])
        measured = (np.flatnonzero(y > y.max() * 10.0 ** (-90.0 / 20.0))[-1] - FS // 2) / FS
        assert measured <= block.tail_s <= 1.5 * measured + 0.001
        assert not y[-100:].any()
