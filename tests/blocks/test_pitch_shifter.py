"""The pitch shifter on takes of synthetic and sampled horns: voices, keys, time and place, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

import chainsim
from chainsim.horn.phrases import PHRASES
from chainsim.horn.play import HornTake, play
from chainsim.measure.fundamental import fundamental_hz
from chainsim.measure.harmony import HarmonyError, harmony_error
from tests.blocks.scripted_pitch import pitch_of
from tests.blocks.shifted_takes import FS, SETTINGS, TONE_ONLY, ballad, level_db, line, semitones_over, shifted, shifter
from tests.dsp.tracked import harmonics, mellow
from tests.sampled_horns import SampledHorn
from tests.tables import thorough


def judged(take: HornTake, semitones: int, horn: str) -> HarmonyError:
    sketch = shifter(f'{{ interval = "{semitones:+d} semitones" }}', TONE_ONLY, head=f'instrument = "{horn}"\n')
    return harmony_error(take.audio, shifted(sketch, take.audio)[:, 0], FS, float(semitones))


# Voices ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("semitones", [-12, *thorough(7)])
@pytest.mark.parametrize(
    ("phrase", "horn"),
    [("low water", "tenor sax"), ("lantern waltz", "clarinet"), ("ropewalk", "trumpet"), ("lantern waltz", "trombone")],
)
def test_a_voice_is_true_to_the_horn(phrase: str, horn: str, semitones: int) -> None:
    """What issue and players ask: 2 cents off, 8 of spread, 1.5 dB note by note, no note lost, 40 dB of pre-echo."""
    error = judged(play(PHRASES[phrase], horn, seed=4), semitones, horn)
    assert len(error.steady_notes) >= 4
    assert abs(error.mean_cents) < 2.0
    assert error.spread_cents < 8.0
    assert abs(error.worst_level_db) < 1.5
    assert error.dropped_out == 0
    assert error.pre_echo_db < -40.0


@pytest.mark.parametrize("semitones", [7, *thorough(-5)])
def test_a_voice_is_true_to_sampled_horns(
    sampled_sax: SampledHorn, sampled_trombone: SampledHorn, semitones: int
) -> None:
    for horn, name in ((sampled_sax, "tenor sax"), (sampled_trombone, "trombone")):
        head = f'instrument = "{name}"\n'
        sketch = shifter(f'{{ interval = "{semitones:+d} semitones" }}', TONE_ONLY, head=head)
        y = shifted(sketch, horn.audio, horn.sample_rate_hz)[:, 0]
        error = harmony_error(horn.audio, y, horn.sample_rate_hz, float(semitones))
        assert len(error.steady_notes) >= 6
        assert abs(error.mean_cents) < 2.0
        assert error.spread_cents < 8.0
        assert abs(error.worst_level_db) < 1.5
        assert error.dropped_out == 0


@pytest.mark.parametrize(
    ("voice", "semitones"),
    [
        ('interval = "P5 above"', 7.0),
        ('interval = "M10 below"', -16.0),
        ('interval = "+6 semitones"', 6.0),
        ('interval = "unison", cents = 12', 0.12),
        ('interval = "P8 below", cents = -30', -12.3),
    ],
)
def test_every_kind_of_interval(voice: str, semitones: float) -> None:
    take = line("Bb3 1.5 tenuto")
    y = shifted(shifter(f"{{ {voice} }}", TONE_ONLY), take.audio)[:, 0]
    found = semitones_over(take, y, take.onsets_s[0] + np.arange(0.3, 1.3, 0.05), semitones)
    assert np.median(found) == pytest.approx(semitones, abs=0.02)


def test_levels_are_in_db_and_none_given_is_one_in_unison() -> None:
    take = ballad()
    plain = shifted(shifter(""), take.audio)
    assert np.array_equal(plain, shifted(shifter('{ interval = "unison" }'), take.audio))
    soft = shifted(shifter('{ interval = "unison", level_db = -9.0 }', "level_db = -6.0\n"), take.audio)
    assert np.abs(soft - plain * 10.0 ** (-15.0 / 20.0)).max() < 1e-12


@pytest.mark.parametrize(("pitch", "cents", "hz"), [("G2", 0.0, 97.9989), ("Bb3", -20.0, 233.0819 * 2 ** (-20 / 1200))])
def test_a_drone_stays_whatever_is_played(pitch: str, cents: float, hz: float) -> None:
    """Frequencies of equal temperament to A4 = 440 Hz; to 2 cents in the mean and 8 of spread, as all intervals."""
    take = ballad()
    y = shifted(shifter(f'{{ pitch = "{pitch}", cents = {cents} }}', TONE_ONLY), take.audio)[:, 0]
    for note in take.notes:
        if note.end_s - note.onset_s > 0.5:
            at_s = np.arange(note.onset_s + 0.1, note.end_s - 0.1, 0.01)
            off = 1200.0 * np.log2(fundamental_hz(y, FS, at_s, hz, 0.05) / hz)
            assert abs(np.mean(off)) < 2.0
            assert np.std(off) < 8.0
            sounding = slice(round((note.onset_s + 0.1) * FS), round((note.end_s - 0.1) * FS))
            assert level_db(y[sounding]) == pytest.approx(level_db(take.audio[sounding]), abs=1.5)


# Keys -----------------------------------------------------------------------------------------------------------------


def test_thirds_in_the_key_note_by_note() -> None:
    """G dorian is G A Bb C D E F: over each note the third that theory books have, in semitones."""
    take = line(
        "G3 1 tenuto, A3 1 tenuto, Bb3 1 tenuto, C4 1 tenuto, D4 1 tenuto, E4 1 tenuto, F4 1 tenuto, G4 1 tenuto"
    )
    expected = [3, 3, 4, 4, 3, 3, 4, 3]
    head = 'instrument = "tenor sax"\nkey = "G dorian"\n'
    y = shifted(shifter('{ interval = "third above" }', TONE_ONLY, head=head), take.audio)[:, 0]
    for note, semitones in zip(take.notes, expected, strict=True):
        at_s = np.arange(note.onset_s + 0.3, note.end_s - 0.1, 0.02)
        found = semitones_over(take, y, at_s, 3.5)
        assert np.all(np.abs(found - semitones) < 0.15), note.pitch


def test_a_scoop_of_150_cents_is_one_degree() -> None:
    """In C major the third over D is minor, over C, near which the scoop begins, major: it never jumps there."""
    take = line("D4 1 tenuto, - 0.3, D4 1.2 scoop, - 0.3, D4 1.2 scoop")
    head = 'instrument = "tenor sax"\nkey = "C major"\n'
    y = shifted(shifter('{ interval = "third above" }', TONE_ONLY, head=head), take.audio)[:, 0]
    for note in take.notes[1:]:
        at_s = np.arange(note.onset_s + 0.06, note.end_s - 0.1, 0.005)
        assert np.ptp(take.f0_at(at_s)) > 0.04 * note.f0_hz  # the scoop is in it
        found = semitones_over(take, y, at_s, 3.0)
        assert np.nanmax(np.abs(found - 3.0)) < 0.5
        assert np.mean(np.isnan(found)) < 0.05


def test_a_grace_note_makes_no_blip() -> None:
    """E, F for 45 ms, E: over F the third of C major is major, and would be heard to jump for so short a time."""
    take = line("E4 1 tenuto, ~F4 0.045, ~E4 1 tenuto, - 0.5, E4 1 tenuto")
    head = 'instrument = "tenor sax"\nkey = "C major"\n'
    y = shifted(shifter('{ interval = "third above" }', TONE_ONLY, head=head), take.audio)[:, 0]
    at_s = np.arange(take.notes[0].onset_s + 0.3, take.notes[2].end_s - 0.1, 0.005)
    assert np.ptp(take.f0_at(at_s)) > 0.03 * take.notes[0].f0_hz  # the grace note is in it
    found = semitones_over(take, y, at_s, 3.0)
    # At the steps themselves a window holds both notes.
    steps_s = np.array([take.notes[1].onset_s, take.notes[2].onset_s])
    clear = np.min(np.abs(at_s[:, np.newaxis] - steps_s), axis=1) > 0.04
    assert np.all(np.abs(found[clear] - 3.0) < 0.15)
    assert np.nanmax(np.abs(found - 3.0)) < 0.6


def test_a_cue_changes_the_key() -> None:
    """Over C the third of C major is major, that of C minor minor; the key changes in the rest."""
    take = line("C4 1 tenuto, - 1, C4 1 tenuto")
    text = f"""
instrument = "tenor sax"
key = "C major"
chain = ["shift"]
{SETTINGS}
voices = [{{ interval = "third above" }}]
{TONE_ONLY}
[patches.bright]
engage = ["shift"]
[patches.dark]
engage = ["shift"]
key = "C minor"
[[cues]]
at_s = 0.0
patch = "bright"
[[cues]]
at_s = {0.5 * (take.notes[0].end_s + take.notes[1].onset_s)}
patch = "dark"
"""
    y = shifted(chainsim.parse_sketch(text), take.audio)[:, 0]
    for note, semitones in zip(take.notes, (4.0, 3.0), strict=True):
        at_s = np.arange(note.onset_s + 0.3, note.end_s - 0.1, 0.02)
        assert np.median(semitones_over(take, y, at_s, 3.5)) == pytest.approx(semitones, abs=0.05)


# Time and space -------------------------------------------------------------------------------------------------------


def test_a_delayed_voice_is_the_same_voice_later() -> None:
    take = ballad()
    at_once = shifted(shifter('{ interval = "P5 above" }', TONE_ONLY), take.audio)[:, 0]
    later = shifted(shifter('{ interval = "P5 above", delay_ms = 30 }', TONE_ONLY), take.audio)[:, 0]
    assert np.abs(later[1_440:] - at_once[:-1_440]).max() < 1e-12  # 30 ms at 48 kHz
    assert np.abs(at_once).max() > 0.05


def test_places_keep_the_power_of_a_voice() -> None:
    """Equal power: what left and right have together is the voice's, twice, wherever it stands."""
    take = ballad()
    alone = shifted(shifter('{ interval = "P5 above" }', TONE_ONLY), take.audio)[:, 0]
    for pan, left, right in ((-1.0, 1.0, 0.0), (0.5, 0.1464, 0.8536), (1.0, 0.0, 1.0)):
        # cos^2 and sin^2 of (pan + 1) 45 degrees
        y = shifted(shifter(f'{{ interval = "P5 above", pan = {pan} }}', TONE_ONLY), take.audio)
        shares = np.sum(y**2, axis=0) / (2.0 * np.sum(alone**2))
        assert shares == pytest.approx([left, right], abs=1e-3)
    assert shifted(shifter("", TONE_ONLY), take.audio).shape[1] == 1


def test_the_rest_stays_in_the_middle() -> None:
    take = line("Bb3 1 tenuto")
    y = shifted(shifter('{ interval = "P5 above", pan = -1.0 }'), take.audio)
    before = slice(0, round((take.onsets_s[0] - 0.1) * FS))
    assert np.abs(y[before, 0] - y[before, 1]).max() < 1e-12
    assert np.abs(y[before, 0] - take.audio[before]).max() < 1e-12


def test_drift_is_the_same_every_time_and_no_wider_than_asked() -> None:
    x = harmonics(233.08, mellow(233.08), 4.0)
    sketch = shifter('{ interval = "P5 above", drift_cents = 15 }', TONE_ONLY)
    y = shifted(sketch, x)[:, 0]
    assert y.tobytes() == shifted(sketch, x)[:, 0].tobytes()
    at_s = np.arange(0.3, 3.7, 0.02)
    wanted_hz = 233.08 * 2.0 ** (7.0 / 12.0)
    off = 1200.0 * np.log2(fundamental_hz(y, FS, at_s, wanted_hz, 0.04) / wanted_hz)
    assert np.abs(off).max() < 15.0 + 0.5
    assert np.ptp(off) > 10.0
    other = shifted(shifter('{ interval = "P5 above", drift_cents = 16 }', TONE_ONLY), x)[:, 0]
    others = 1200.0 * np.log2(fundamental_hz(other, FS, at_s, wanted_hz, 0.04) / wanted_hz)
    assert abs(np.corrcoef(off, others)[0, 1]) < 0.8  # other settings, another player


@pytest.mark.parametrize(("cents", "alike"), [(0.0, True), (10.0, False)])
def test_two_shifters_that_are_set_alike_do_not_drift_alike(cents: float, alike: bool) -> None:
    settings = f'type = "pitch_shifter"\nvoices = [{{ interval = "P5 above", drift_cents = {cents} }}]\n'
    blocks = f"[blocks.first]\n{settings}[blocks.second]\n{settings}"
    x = harmonics(233.08, mellow(233.08), 1.0)

    def rendered(lanes: str) -> np.ndarray:
        sketch = f'instrument = "trumpet"\nchain = [{{ lanes = [{lanes}] }}]\n{blocks}'
        return shifted(chainsim.parse_sketch(sketch), x)[:, 0]

    both = rendered('["first"], ["second"]')
    assert np.array_equal(rendered('["first"]'), rendered('["second"]')) == alike
    assert np.array_equal(both, 2.0 * rendered('["first"]')) == alike


# Several notes, and what is refused -----------------------------------------------------------------------------------


def test_several_notes_at_once_move_together() -> None:
    """A fourth, Bb3 and Eb4, up a fifth: F4 and Bb4, and no line of its own of either note is left."""
    x = harmonics(233.082, mellow(233.082), 1.5) + harmonics(311.127, mellow(311.127), 1.5)
    y = shifted(shifter('{ interval = "P5 above" }', 'notes = "several"\n'), x)[FS // 2 : FS, 0]
    for played_hz in (233.082, 311.127):
        wanted_hz = played_hz * 2.0 ** (7.0 / 12.0)
        assert abs(1200.0 * math.log2(pitch_of(y, wanted_hz) / wanted_hz)) < 2.0
    spectrum = np.abs(np.fft.rfft(y * np.blackman(y.size)))
    line_hz = np.arange(spectrum.size) * FS / y.size
    left = spectrum[np.abs(line_hz - 233.082) < 10.0].max()
    assert 20.0 * math.log10(left / spectrum.max()) < -30.0
    assert level_db(y) == pytest.approx(level_db(x[FS // 2 : FS]), abs=1.5)


@pytest.mark.parametrize(
    ("voices", "settings", "message"),
    [
        ('{ interval = "P5 abov" }', "", r'voices\[0\]\.interval.*"P5 abov".*did you mean "P5 above"'),
        ('{}, { interval = "M5 above" }', "", r"voices\[1\]\.interval.*M5"),
        (", ".join(["{}"] * 9), "", "= 9 voices, allowed up to 8"),
        ('{ interval = "+25 semitones" }', "", r"\+25 semitones.*allowed up to two octaves"),
        ('{ interval = "-25 semitones" }', "", "-25 semitones.*allowed up to two octaves"),
        ('{ interval = "+24 semitones", cents = 1 }', "", r"cents = 1, allowed up to two octaves"),
        ('{ interval = "P15 below", cents = -10 }', "", r"cents = -10, allowed up to two octaves"),
        ('{ interval = "M17 above" }', "", "M17 above.*allowed up to two octaves"),
        ('{ interval = "unison", pitch = "G2" }', "", "both interval and pitch"),
        ('{ pitch = "H2" }', "", "no pitch"),
        ('{ pitch = "G2" }', 'notes = "several"', r"voices\[0\].*of several notes at once none is known"),
        ('{ interval = "third above" }', 'notes = "several"', r"voices\[0\].*of several notes at once none is known"),
        ("{}", 'lowest_note = "low"', "lowest_note.*no pitch"),
        ("{}", 'lowest_note = "G#0"', 'lowest_note = "G#0", allowed "A0" ... "C8"'),
        ("{}", 'lowest_note = "C#8"', 'lowest_note = "C#8", allowed "A0" ... "C8"'),
        ("{}", "formant = 1.5", "formant = 1.5, allowed 0 ... 1"),
        ("{ delay = 20 }", "", r'voices\[0\]\.delay: no setting "delay"; did you mean "delay_ms"'),
        ('"P5 above"', "", r"voices\[0\] = 'P5 above', allowed a table, such as \{ interval = \"P5 above\" \}"),
    ],
)
def test_what_is_wrong_is_said(voices: str, settings: str, message: str) -> None:
    with pytest.raises(chainsim.SketchError, match=message):
        shifter(voices, settings)


def test_a_lowest_note_above_the_horn_is_said() -> None:
    # Nothing would be shifted, and at no latency.
    sketch = shifter("{}", 'lowest_note = "C8"', head='instrument = "tenor sax"\n')
    with pytest.raises(chainsim.ChainsimError, match='lowest_note = "C8" lies above all that the tenor sax plays'):
        chainsim.render(sketch, np.zeros(FS), FS)


def test_a_key_that_is_missing_or_misspelt_is_said() -> None:
    sketch = shifter('{ interval = "third above" }')
    with pytest.raises(chainsim.ChainsimError, match=r'voices\[0\]\.interval = "third above" counts steps in a key'):
        chainsim.render(sketch, np.zeros(FS), FS)
    with pytest.raises(chainsim.SketchError, match='did you mean "G dorian"'):
        shifter('{ interval = "third above" }', head='key = "G dorain"\n')
