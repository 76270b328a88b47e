"""The convolver on its own: channels, onset, delay, levels, and files that are not what they should be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import fftconvolve

from chainsim.errors import SettingError
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import parse_sketch
from tests.blocks.harness import prepared, run

FS = 48_000
WET = {"dry_db": "off", "wet_db": 0.0, "response_level": "as recorded", "begin_at_onset": False}


def stored(folder: Path, taps: np.ndarray, rate_hz: int = FS, name: str = "response.wav") -> str:
    """Write taps (channels, frames) as float64."""
    soundfile.write(folder / name, taps.T, rate_hz, subtype="DOUBLE")
    return name


def noise(channels: int, frames: int, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((channels, frames))


@pytest.mark.parametrize("inputs", [1, 2])
@pytest.mark.parametrize("responses", [1, 2, 4])
@pytest.mark.parametrize("stereo", [True, False])
def test_who_goes_where(tmp_path: Path, inputs: int, responses: int, stereo: bool) -> None:
    """LL, LR, RL, RR; two are left and right; one is for all; and a mono sound is the same on both sides."""
    h, x = noise(responses, 900), noise(inputs, 4_000, seed=2)
    settings = {**WET, "file": stored(tmp_path, h), "stereo": stereo}
    if not stereo and inputs == 1 and responses > 1:
        with pytest.raises(SettingError, match=f"stereo = false, allowed true .* {responses} channels"):
            prepared("convolver", channels=inputs, folder=tmp_path, **settings)
        return
    left, right = x[0], x[inputs - 1]

    def through(*pairs: tuple[np.ndarray, int]) -> np.ndarray:
        return sum(fftconvolve(sound, h[k])[:4_000] for sound, k in pairs)

    expected = {
        1: [through((left, 0)), through((right, 0))],
        2: [through((left, 0)), through((right, responses - 1))],
        4: [through((left, 0), (right, 2 % responses)), through((left, 1 % responses), (right, responses - 1))],
    }[responses]
    y = run(prepared("convolver", channels=inputs, folder=tmp_path, **settings), x, cuts=[1_000, 1_001])
    assert y.shape[0] == (2 if stereo else inputs)
    for side, want in zip(y, expected, strict=False):
        assert np.max(np.abs(side - want)) < 1e-10 * np.max(np.abs(want))


def test_a_response_begins_where_its_sound_does(tmp_path: Path) -> None:
    """The first sample over -40 dB of the peak, of any channel: what lies between the channels is kept."""
    taps = 1e-4 * noise(2, 6_000)
    taps[0, 1_200], taps[0, 1_500], taps[1, 1_224] = 0.02, 1.0, 0.5
    settings = {**WET, "file": stored(tmp_path, taps), "begin_at_onset": True}
    x = np.zeros((1, 3_000))
    x[0, 0] = 1.0
    y = run(prepared("convolver", folder=tmp_path, **settings), x)
    assert np.array_equal(y[:, 0], taps[:, 1_200])
    assert np.argmax(np.abs(y[0])) == 300
    assert np.argmax(np.abs(y[1])) == 24
    late = run(prepared("convolver", folder=tmp_path, **settings, pre_delay_ms=10.0), x)
    assert np.max(np.abs(late[:, :480])) < 1e-12
    assert np.max(np.abs(late[:, 480:] - y[:, :-480])) < 1e-12
    kept = run(prepared("convolver", folder=tmp_path, **{**settings, "begin_at_onset": False}), x)
    assert np.argmax(np.abs(kept[0])) == 1_500


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize(("channels", "size"), [(1, 1e-4), (2, 1.0), (4, 30.0)])
def test_even_brings_noise_back_as_loud(tmp_path: Path, channels: int, size: float, rate_hz: int) -> None:
    """Of white noise up to 20 kHz, whatever the level, the channels and the rate of the file."""
    frames = round(0.2 * rate_hz)
    h = size * noise(channels, frames) * np.exp(-np.arange(frames) / (0.03 * rate_hz))
    settings = {"dry_db": "off", "wet_db": 0.0, "file": stored(tmp_path, h, rate_hz)}
    x = noise(2, 4 * FS, seed=3)
    y = run(prepared("convolver", channels=2, folder=tmp_path, **settings), x)[:, FS:]

    def audible(sound: np.ndarray) -> float:
        power = np.mean(np.abs(np.fft.rfft(sound)) ** 2, axis=0)
        freq_hz = np.fft.rfftfreq(sound.shape[1], 1.0 / FS)
        return float(np.mean(power[(freq_hz >= 20.0) & (freq_hz <= 20_000.0)]))

    # 0.2 dB: the spread of three seconds of noise through a response with random resonances
    assert 10.0 * np.log10(audible(y) / audible(x[:, FS:])) == pytest.approx(0.0, abs=0.2)


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 22_050, 44_100])
def test_even_is_the_same_for_one_response_in_files_of_all_rates(tmp_path: Path, rate_hz: int) -> None:
    """A room of damped tones below 2.5 kHz: what a tone of it is turned up by, against the same from a 48 kHz file."""

    def room(fs: int) -> np.ndarray:
        t = np.arange(round(0.3 * fs)) / fs
        tones = ((310.0, 60.0, 0.3), (990.0, 80.0, 1.0), (2_410.0, 90.0, 2.0))
        return sum(t * np.exp(-d * t) * np.sin(2.0 * np.pi * f * t + p) for f, d, p in tones)[None] * 48_000.0 / fs

    x = np.sin(2.0 * np.pi * 990.0 * np.arange(FS // 2) / FS)[None]
    levels_db = []
    for fs in (rate_hz, 48_000):
        settings = {"dry_db": "off", "wet_db": 0.0, "file": stored(tmp_path, room(fs), fs)}
        y = run(prepared("convolver", folder=tmp_path, **settings), x)[0, FS // 4 :]
        levels_db.append(20.0 * np.log10(np.std(y)))
    assert levels_db[0] == pytest.approx(levels_db[1], abs=0.02)


def test_wet_off_passes_both_sides_bit_by_bit(tmp_path: Path) -> None:
    x = np.tile(noise(1, 3_000), (2, 1))
    settings = {"file": stored(tmp_path, noise(2, 400)), "wet_db": "off"}
    assert run(prepared("convolver", channels=2, folder=tmp_path, **settings), x).tobytes() == x.tobytes()


def test_a_response_at_another_rate_keeps_its_level(tmp_path: Path) -> None:
    """A 1 kHz tone through a one-pole low pass, as a file of 44.1 or 96 kHz: the gain of H at 1 kHz."""
    for rate_hz in (44_100, 48_000, 96_000):
        a = np.exp(-2.0 * np.pi * 500.0 / rate_hz)
        h = (1.0 - a) * a ** np.arange(4_000)
        gain = abs((1.0 - a) / (1.0 - a * np.exp(-2j * np.pi * 1_000.0 / rate_hz)))
        block = prepared("convolver", folder=tmp_path, file=stored(tmp_path, h[None], rate_hz), **WET)
        y = run(block, np.sin(2.0 * np.pi * 1_000.0 * np.arange(FS) / FS)[None])[0, FS // 2 :]
        assert np.sqrt(2.0 * np.mean(y**2)) == pytest.approx(gain, rel=1e-3)


def test_the_tail_ends_where_the_response_has_died_away(tmp_path: Path) -> None:
    """60 dB in 0.5 s is 90 dB in 0.75 s, however long the file goes on; a louder dry sound leaves less to wait for."""
    t = np.arange(3 * FS) / FS
    file = stored(tmp_path, noise(1, t.size) * 10.0 ** (-3.0 * t / 0.5))
    tails = {
        dry: prepared("convolver", folder=tmp_path, file=file, dry_db=dry, wet_db=0.0).tail_s
        for dry in ("off", 0.0, 20.0)
    }
    assert tails["off"] == pytest.approx(0.75, abs=0.06)
    assert tails[20.0] == pytest.approx(0.75 - 20.0 / 120.0, abs=0.06)
    assert tails["off"] >= tails[0.0] > tails[20.0]


def damaged(folder: Path, what: str) -> str:
    """A file that is not an impulse response."""
    path = folder / "bad.wav"
    taps = np.zeros((1, 100))
    taps[0, 3] = 0.5
    match what:
        case "text":
            path.write_text("not a sound")
        case "empty":
            path.write_bytes(b"")
        case "cut off":
            path.write_bytes((folder / stored(folder, taps)).read_bytes()[:20])
        case "three channels":
            stored(folder, np.tile(taps, (3, 1)), name=path.name)
        case "no frames":
            stored(folder, taps[:, :0], name=path.name)
        case "silent":
            stored(folder, 0.0 * taps, name=path.name)
        case "not a number":
            taps[0, 50] = np.nan
            stored(folder, taps, name=path.name)
        case "too loud":
            stored(folder, 1e160 * taps, name=path.name)
        case "infinite":
            taps[0, 50] = np.inf
            stored(folder, taps, name=path.name)
        case "long":
            soundfile.write(path, np.full(31 * 8_000, 0.1), 8_000, subtype="PCM_U8")
        case "slow":
            stored(folder, taps, 4_000, name=path.name)
        case "ogg":
            soundfile.write(path, np.tile(taps[0], 100), FS, format="OGG")
    return path.name


@pytest.mark.parametrize(
    ("what", "message"),
    [
        ("text", "not a sound file that can be read"),
        ("empty", "not a sound file that can be read"),
        ("cut off", "not a sound file that can be read"),
        ("three channels", r"3 channels, allowed 1 \(mono\)"),
        ("no frames", "is silent"),
        ("silent", "is silent"),
        ("not a number", "holds a sample that is not a finite number"),
        ("too loud", r"peak 5e\+159 of full scale, allowed up to 1000"),
        ("infinite", "holds a sample that is not a finite number"),
        ("long", "31.0 s long, allowed up to 30 s"),
        ("slow", "sample rate 4000 Hz, allowed 8000 ... 192000 Hz"),
        ("ogg", "of format OGG, allowed WAV, AIFF and FLAC"),
    ],
)
def test_a_file_that_is_no_response_is_refused(tmp_path: Path, what: str, message: str) -> None:
    file = damaged(tmp_path, what)
    with pytest.raises(SettingError, match=f'^file "bad.wav": {message}'):
        prepared("convolver", folder=tmp_path, file=file)


def test_what_a_file_is_called_does_not_matter(tmp_path: Path) -> None:
    named = (tmp_path / stored(tmp_path, np.ones((1, 10)))).rename(tmp_path / "hall.raw")
    assert prepared("convolver", folder=tmp_path, file=named.name).tail_s >= 0.0
    named.write_bytes(b"0123456789")
    with pytest.raises(SettingError, match="not a sound file that can be read"):
        prepared("convolver", folder=tmp_path, file=named.name)


def test_a_file_must_be_named_and_lie_in_the_folder(tmp_path: Path) -> None:
    stored(tmp_path, np.ones((1, 10)))
    inside = tmp_path / "inside"
    inside.mkdir()
    for file, message in (("", "needs one"), ("../response.wav", "outside"), ("hall.wav", "not found")):
        with pytest.raises(SettingError, match=message):
            prepared("convolver", folder=inside, file=file)


def test_what_nobody_can_hear_has_no_even_level(tmp_path: Path) -> None:
    settings = {"folder": tmp_path, "file": stored(tmp_path, np.full((1, FS), 0.1))}
    with pytest.raises(SettingError, match='nothing from 20 Hz to 20 kHz, allowed "as recorded"'):
        prepared("convolver", **settings)
    assert prepared("convolver", **settings, response_level="as recorded").tail_s > 0.9


def test_in_a_sketch_it_rings_on_after_it_was_left(tmp_path: Path) -> None:
    h = np.zeros((1, 4_001))
    h[0, [0, 4_000]] = 1.0, 0.5
    stored(tmp_path, h, 8_000)
    text = (
        f'chain = ["c"]\n[blocks.c]\ntype = "convolver"\nfile = "response.wav"\ndry_db = "off"\nwet_db = 0\n{PATCHES}'
    )
    x = np.zeros((1, 8_000))
    x[0, :2_000] = 0.25
    sketch = parse_sketch(text, folder=tmp_path)
    y = render_graph(build_graph(sketch, 8_000.0, 1), x)["out"]
    assert np.max(np.abs(y[0, 4_100:5_900])) > 0.01


PATCHES = 'response_level = "as recorded"\n[patches.without]\nengage = []\n[[cues]]\nat_s = 0.3\npatch = "without"\n'
