"""The stretch of a take that a lesson hears, and its pictures."""

from __future__ import annotations

import re

import numpy as np
import pytest

from chainsim.errors import AudioError
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import excerpt
from chainsim.listen.lessons.measures import levels_dbfs, power_db, spectrum_db

RATE_HZ = 16_000


def noise(seconds: float) -> np.ndarray:
    return 0.1 * np.random.default_rng(1).standard_normal(round(seconds * RATE_HZ))


def late_start() -> np.ndarray:
    """Seven seconds of the faintest hiss, then a note."""
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    hiss = 2e-5 * np.random.default_rng(0).standard_normal(7 * RATE_HZ)
    return np.concatenate([hiss, 0.2 * np.sin(2.0 * np.pi * 220.0 * t)])


def test_it_is_cut_faded_and_made_one_channel() -> None:
    left, right = noise(4.0), np.zeros(4 * RATE_HZ)
    cut = excerpt(np.stack([left, right], axis=1), RATE_HZ, "t.wav", starts_s=1.0, lasts_s=2.0)
    assert cut.audio.shape == (2 * RATE_HZ,)
    np.testing.assert_array_equal(cut.audio[:1000], 0.5 * left[RATE_HZ : RATE_HZ + 1000])
    assert cut.audio[-1] == 0.0
    assert cut.dry.audio.shape == (3 * RATE_HZ, 1)  # a second after it


@pytest.mark.parametrize(
    ("audio", "starts_s", "message"),
    [
        (noise(0.5), 0.0, "t.wav: from 0 s on 0.5 s are left, a lesson needs 1 s"),
        (noise(2.0), 5.0, "t.wav: from 5 s on 0.0 s are left, a lesson needs 1 s"),
        (np.zeros(2 * RATE_HZ), None, "t.wav: 0 s to 6 s is silent, or quieter than -70 LUFS; name another beginning"),
        (late_start(), 0.0, "name another beginning with --from (playing begins after 6.5 s)"),
    ],
)
def test_too_little_and_silence_are_refused(audio: np.ndarray, starts_s: float | None, message: str) -> None:
    with pytest.raises(AudioError, match=re.escape(message)):
        excerpt(audio, RATE_HZ, "t.wav", starts_s=starts_s)


def test_a_take_that_starts_late_is_heard_from_where_playing_begins() -> None:
    cut = excerpt(late_start(), RATE_HZ, "t.wav", lasts_s=2.0)
    sounding = np.flatnonzero(np.abs(cut.audio) > 0.01)
    assert sounding[0] / RATE_HZ == pytest.approx(0.5, abs=0.01)


def test_white_noise_rises_by_half_a_db_a_sixth_of_an_octave() -> None:
    middles_hz, levels = spectrum_db(excerpt(noise(4.0), RATE_HZ, "t").dry)
    slope = np.polyfit(np.log2(middles_hz[18:]), levels[18:], 1)[0]
    assert slope == pytest.approx(power_db(2.0), abs=0.2)  # constant density: power doubles with the octave


def test_a_sine_s_level_is_3_db_under_its_peak() -> None:
    sine = np.sin(2.0 * np.pi * 1000.0 * np.arange(2 * RATE_HZ) / RATE_HZ)
    _, level = levels_dbfs(excerpt(sine, RATE_HZ, "t").dry)
    assert level[10:90] == pytest.approx(-3.01, abs=0.01)


def test_names_and_words_in_pictures_are_escaped() -> None:
    heard = excerpt(noise(2.0), RATE_HZ, "t").dry.called('<script>"x"')
    for picture in (level_picture([heard], '<a> & "b"'), spectrum_picture([heard, heard], '<a> & "b"')):
        assert "<script" not in picture.svg
        assert 'aria-label="&lt;a&gt; &amp; &quot;b&quot;"' in picture.svg
        assert picture.alt == '<a> & "b"'
    assert picture.svg.count("<polyline") == 2
    assert [line.mark for line in picture.lines] == ["solid", "dashed"]
