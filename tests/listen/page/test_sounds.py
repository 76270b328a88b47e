"""Sounds of a page: what is in the files, judged by other meters and decoders than ours."""

from __future__ import annotations

import io
import math

import numpy as np
import pyloudnorm
import pytest
import soundfile
from scipy.signal import correlate, lfilter

from chainsim.errors import ChainsimError
from chainsim.listen.page.model import PageSound
from chainsim.listen.page.sounds import RawSound, find_trims, page_sounds
from chainsim.units import Array

RATE_HZ = 48_000
LATE = 123
STEP = 2.0**-23
"""Of 24 bit; rounding is off by half of it at most."""


def noise(seconds: float, channels: int, colour: float, gain: float, seed: int) -> Array:
    """Bursts of coloured noise: each a different loudness and crest."""
    x = np.random.default_rng(seed).standard_normal((round(seconds * RATE_HZ), channels))
    bursts = 0.3 + 0.7 * (np.sin(2 * np.pi * 3.0 * np.arange(len(x)) / RATE_HZ) > 0.0)
    y: Array = gain * bursts[:, np.newaxis] * lfilter([1.0], [1.0, -colour], x, axis=0)
    return y


@pytest.fixture(scope="module")
def raw() -> tuple[RawSound, ...]:
    late = np.concatenate([np.zeros((LATE, 2)), noise(1.6, 2, 0.9, 0.01, 2)])
    return (
        RawSound("take", "the take", "take", "page", noise(1.5, 1, 0.0, 0.05, 1)),
        RawSound("soft", "soft and late", "version", "page", late, (LATE + 0.4) / RATE_HZ),
        RawSound("loud", "loud", "version", "page", noise(1.5, 2, 0.97, 0.2, 3).astype(np.float32)),
        RawSound("none", "silence", "version", "page", np.zeros((1000, 1))),
        RawSound("other", "of another scene", "wire", "wires", noise(0.6, 1, 0.5, 0.03, 4), pictures=False),
        RawSound("hot", "a wire behind much gain", "wire", "wires", noise(0.6, 1, 0.5, 0.9, 4), pictures=False),
    )


@pytest.fixture(scope="module")
def sounds(raw: tuple[RawSound, ...]) -> tuple[PageSound, ...]:
    return page_sounds(raw, RATE_HZ)


def on_both_sides(x: Array) -> Array:
    """What leaves a browser: Web Audio, 4.1 "speakers", plays one channel on both sides."""
    return np.tile(x, (1, 2)) if x.shape[1] == 1 else x


def decoded(sound: PageSound) -> Array:
    x: Array = soundfile.read(io.BytesIO(sound.audio), always_2d=True)[0]
    return x


def test_all_are_equally_loud(sounds: tuple[PageSound, ...]) -> None:
    """CHECKS OD-4: within 0.1 dB before any comparison; by pyloudnorm, another implementation of BS.1770."""
    for sound in sounds:
        if sound.key != "none":
            found = pyloudnorm.Meter(RATE_HZ).integrated_loudness(on_both_sides(decoded(sound)))
            assert found == pytest.approx(-23.0, abs=0.1), sound.key


def test_what_would_take_too_much_gain_is_told_from_the_others(raw: tuple[RawSound, ...]) -> None:
    faint = RawSound("faint", "faint", "version", "page", 1e-3 * noise(1.0, 1, 0.0, 0.1, 3))
    silent = RawSound("silent", "silent", "version", "page", np.zeros((RATE_HZ, 1)))
    found = page_sounds((*raw[:1], faint, silent), RATE_HZ, pictures=False)
    assert [sound.equally_loud for sound in found] == [True, False, True]


def test_the_files_hold_the_sounds_within_24_bit(raw: tuple[RawSound, ...], sounds: tuple[PageSound, ...]) -> None:
    trims = find_trims(raw, RATE_HZ).trims_db
    for one, sound, trim_db in zip(raw, sounds, trims, strict=True):
        late = LATE if one.key == "soft" else 0
        expected = one.audio[late:].astype(np.float64) * 10.0 ** (trim_db / 20.0)
        found = decoded(sound)
        assert np.max(np.abs(found[: len(expected)] - expected)) <= 0.5 * STEP * (1.0 + 1e-9), sound.key
        assert not found[len(expected) :].any()
        assert (sound.frames, sound.channels, sound.mime) == (*found.shape, "audio/flac")


def test_a_scene_has_one_length(sounds: tuple[PageSound, ...]) -> None:
    lengths = {sound.key: sound.frames for sound in sounds}
    page = dict.fromkeys(("take", "soft", "loud", "none"), round(1.6 * RATE_HZ))
    assert lengths == {**page, "other": 28_800, "hot": 28_800}


def test_the_levels_as_they_come_are_those_of_the_raw_sounds(
    raw: tuple[RawSound, ...], sounds: tuple[PageSound, ...]
) -> None:
    meter = pyloudnorm.Meter(RATE_HZ)
    lufs = {
        one.key: meter.integrated_loudness(on_both_sides(one.audio.astype(float))) for one in raw if one.key != "none"
    }
    loudest = max(lufs[key] for key in ("take", "soft", "loud"))
    assert lufs["hot"] > loudest + 5.0
    for sound in sounds:
        # A wire makes nothing else quieter, and stays as loud as all are at one loudness.
        expected = min(lufs[sound.key] - loudest, 0.0) if sound.key != "none" else 0.0
        assert sound.as_it_comes_db == pytest.approx(expected, abs=0.1)
    assert max(sound.as_it_comes_db for sound in sounds) == 0.0


def test_mp3_is_in_time(raw: tuple[RawSound, ...], sounds: tuple[PageSound, ...]) -> None:
    """A decoder that knows the encoder's delay gives the same frames; the correlation peaks at no lag."""
    for exact, sound in zip(sounds, page_sounds(raw, RATE_HZ, lossy=True, pictures=False), strict=True):
        assert sound.mime == "audio/mpeg"
        assert sound.spectrogram is None
        found = decoded(sound)
        assert found.shape == (exact.frames, exact.channels)
        if exact.key != "none":
            lags = correlate(found[:, 0], decoded(exact)[:, 0], method="fft")
            assert int(np.argmax(lags)) == exact.frames - 1


def test_what_may_be_mp3_is_where_the_rate_allows_it() -> None:
    x = noise(0.5, 1, 0.0, 0.05, 5)
    one = RawSound("foot-1", "one", "part", "page", x, pictures=False, lossy=True)
    assert [page_sounds([one], rate_hz)[0].mime for rate_hz in (44_100, 96_000)] == ["audio/mpeg", "audio/flac"]


def test_a_ceiling_holds_all_back_alike() -> None:
    """Two clicks a second in noise: the one with them peaks far over its loudness."""
    spiky = noise(1.0, 1, 0.0, 0.01, 6)
    spiky[:: RATE_HZ // 2] = 0.9
    raw = [RawSound("a", "a", "take", "p", noise(1.0, 1, 0.0, 0.01, 7)), RawSound("b", "b", "version", "p", spiky)]
    loudnesses = []
    for sound in page_sounds(raw, RATE_HZ, ceiling_dbtp=-10.0, pictures=False):
        x = decoded(sound)
        assert np.max(np.abs(x)) <= 10.0 ** (-10.0 / 20.0) + STEP
        loudnesses.append(pyloudnorm.Meter(RATE_HZ).integrated_loudness(x))
    assert loudnesses[0] == pytest.approx(loudnesses[1], abs=0.1)
    assert loudnesses[0] < -24.0


@pytest.mark.parametrize(
    ("change", "rate_hz", "lossy", "said"),
    [
        ({"key": "b"}, RATE_HZ, False, '"b" stands there twice'),
        ({"latency_s": 1.0}, RATE_HZ, False, '"a": no sound is left after its latency of 1 s'),
        ({}, 96_000, True, "sample rate 96000 Hz, MP3 allows 8000"),
        ({"audio": np.full((RATE_HZ, 1), math.nan)}, RATE_HZ, False, "not finite"),
        ({"key": "Über"}, RATE_HZ, False, "allowed are small letters"),
    ],
)
def test_what_cannot_be_played(change: dict[str, object], rate_hz: int, lossy: bool, said: str) -> None:
    x = noise(0.5, 1, 0.0, 0.05, 8)
    given = {"key": "a", "name": "a", "role": "version", "scene": "p", "audio": x, **change}
    with pytest.raises(ChainsimError, match=said):
        page_sounds(
            [RawSound(**given), RawSound("b", "b", "version", "p", x)],  # type: ignore[arg-type]
            rate_hz,
            lossy=lossy,
            pictures=False,
        )
