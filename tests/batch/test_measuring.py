"""Figures of files whose truth is known: levels, formats, decay; keys that stay; memory that does not grow."""

from __future__ import annotations

import math
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import butter, sosfilt

from chainsim.batch.measuring import measure_file, plot_file
from chainsim.errors import AudioError
from chainsim.measure.loudness import measure_loudness
from chainsim.units import Array

RATE_HZ = 48_000

KEYS = [
    "file", "duration_s", "sample_rate_hz", "channels", "integrated_lufs", "short_term_max_lufs", "momentary_max_lufs",
    "loudness_range_lu", "true_peak_dbtp", "sample_peak_dbfs", "rms_dbfs", "crest_db", "dc", "clip_level",
    "clipped_runs", "clipped_samples", "longest_clip_samples", "noise_floor_dbfs", "noise_bandwidth_hz", "centroid_hz",
    "edt_s", "t20_s", "t30_s", "c80_db", "d50", "centre_time_ms", "onset_s", "decay_range_db", "octaves", "warnings",
]  # fmt: skip


def write(folder: Path, x: Array, subtype: str = "FLOAT", name: str = "sound.wav", rate_hz: int = RATE_HZ) -> Path:
    path = folder / name
    soundfile.write(path, x, rate_hz, subtype=subtype)
    return path


def notes(noise: float, dc: float = 0.0) -> Array:
    """A second of 1 kHz at -6.02 dBFS, a second of rest, three times, over noise: shape (frames,)."""
    t = np.arange(6 * RATE_HZ) / RATE_HZ
    on = (t % 2.0) < 1.0
    tone = 0.5 * on * np.sin(2.0 * np.pi * 1000.0 * t)
    return tone + dc * on + noise * np.random.default_rng(1).standard_normal(t.size)


def test_levels_of_a_known_take(tmp_path: Path) -> None:
    found = measure_file(write(tmp_path, notes(1e-4)))
    assert (found.duration_s, found.sample_rate_hz, found.channels) == (6.0, 48_000.0, 1)
    # One channel of -6.02 dBFS is -9.03 LUFS in the seven blocks of 400 ms that lie within each note; three
    # across each of five ends hold 3/4, 1/2 and 1/4 of that, and pass the gate.
    blocks = (3 * 7 + 5 * 1.5) / (3 * 7 + 5 * 3)
    assert found.loudness.integrated_lufs == pytest.approx(-9.03 + 10.0 * math.log10(blocks), abs=0.03)
    assert found.loudness == measure_loudness(soundfile.read(tmp_path / "sound.wav")[0], RATE_HZ)
    assert found.loudness.momentary_max_lufs == pytest.approx(-9.03, abs=0.05)
    assert found.peaks.sample_peak_dbfs == pytest.approx(-6.02, abs=0.01)
    assert found.peaks.true_peak_dbtp == pytest.approx(-6.02, abs=0.01)
    # Half of the time a sine: rms 3.01 + 3.01 dB under its peak.
    assert found.peaks.crest_db == pytest.approx(6.02, abs=0.01)
    assert found.noise_floor_dbfs == pytest.approx(-80.0, abs=0.2)
    assert found.noise_bandwidth_hz == 24_000.0
    # Amplitudes add up: noise of 0.1 mV a volt in each of a thousand bins pulls the centroid up from the tone's.
    assert 1000.0 < found.centroid_hz < 3500.0
    assert found.impulse is None
    assert found.warnings == ()


def test_offset(tmp_path: Path) -> None:
    both = np.stack([notes(0.0, 0.02), notes(0.0, -0.01)], axis=1)
    found = measure_file(write(tmp_path, both))
    # Present for half of the time.
    assert found.peaks.dc == pytest.approx((0.01, -0.005), abs=1e-6)
    assert found.noise_floor_dbfs == -math.inf


def test_no_rest_no_noise_floor(tmp_path: Path) -> None:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    assert math.isnan(measure_file(write(tmp_path, 0.1 * np.sin(2.0 * np.pi * 500.0 * t))).noise_floor_dbfs)


@pytest.mark.parametrize(
    ("name", "subtype", "level"),
    [
        # The highest value of so many bits; 1 for floats and for what is coded with losses.
        ("a.wav", "PCM_16", 32_767.0 / 32_768.0),
        ("a.flac", "PCM_16", 32_767.0 / 32_768.0),
        ("a.wav", "PCM_24", 1.0 - 2.0**-23),
        ("a.flac", "PCM_24", 1.0 - 2.0**-23),
        ("a.wav", "PCM_U8", 127.0 / 128.0),
        ("a.wav", "FLOAT", 1.0),
        ("a.ogg", "VORBIS", 1.0),
    ],
)
def test_full_scale_is_that_of_the_format(tmp_path: Path, name: str, subtype: str, level: float) -> None:
    x = 0.5 * np.sin(0.01 * np.arange(9000))
    x[1000:1003], x[2000:2002], x[3000], x[4000:4002] = 1.0, -1.0, 1.0, 0.98
    found = measure_file(write(tmp_path, x, subtype, name))
    assert found.clip_level == level
    if subtype != "VORBIS":  # whose samples are others
        peaks = found.peaks
        assert (peaks.clipped_runs, peaks.clipped_samples, peaks.longest_clip_samples) == (2, 6, 3)


def test_decay_in_closed_form(tmp_path: Path) -> None:
    # T = 1 s after half a second of silence: EDT = T20 = T30 = T, C80 = 10 log10(exp(1.10524 / T) - 1),
    # D50 = 1 - exp(-0.690776 / T), Ts = T / 13.8155, all from the direct sound on.
    decay = np.exp(-6.907755 * np.arange(3 * RATE_HZ) / RATE_HZ)
    h = np.concatenate([np.zeros(RATE_HZ // 2), decay])
    told = measure_file(write(tmp_path, 0.5 * h, "DOUBLE"), impulse=True).to_dict()
    assert [told[k] for k in ("edt_s", "t20_s", "t30_s")] == pytest.approx([1.0] * 3, rel=1e-3)
    assert told["c80_db"] == pytest.approx(3.053, abs=0.05)
    assert told["d50"] == pytest.approx(0.4988, abs=1e-3)
    assert told["centre_time_ms"] == pytest.approx(72.38, abs=0.1)
    assert told["onset_s"] == pytest.approx(0.5, abs=1e-4)
    assert [band["octave_hz"] for band in told["octaves"]] == [63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000]


def test_two_channels_give_the_mean_and_octaves_their_own(tmp_path: Path) -> None:
    # Noise that decays in 0.8 s and 1.2 s; under 1 kHz twice as long. Bands scatter by 0.55 / sqrt(bandwidth T).
    rng, t = np.random.default_rng(8), np.arange(3 * RATE_HZ) / RATE_HZ
    low = butter(6, 1000.0, "low", fs=RATE_HZ, output="sos")
    high = butter(6, 1000.0, "high", fs=RATE_HZ, output="sos")
    h = np.stack(
        [
            sosfilt(low, rng.standard_normal(t.size)) * np.exp(-6.907755 * t / (2.0 * seconds))
            + sosfilt(high, rng.standard_normal(t.size)) * np.exp(-6.907755 * t / seconds)
            for seconds in (0.8, 1.2)
        ],
        axis=1,
    )
    found = measure_file(write(tmp_path, 0.2 * h), impulse=True)
    assert found.impulse is not None
    assert found.impulse.bands[4000.0].t30_s == pytest.approx(1.0, rel=0.03)
    assert found.impulse.bands[8000.0].t30_s == pytest.approx(1.0, rel=0.03)
    assert found.impulse.bands[250.0].t30_s == pytest.approx(2.0, rel=0.06)
    one = measure_file(write(tmp_path, 0.2 * h[:, 0], name="left.wav"), impulse=True)
    assert one.impulse is not None
    assert one.impulse.bands[4000.0].t30_s == pytest.approx(0.8, rel=0.03)


def test_a_decay_into_noise_says_what_is_missing(tmp_path: Path) -> None:
    # It falls by 25 dB, then there is noise: too near for T20, which takes 35 dB.
    rng, t = np.random.default_rng(9), np.arange(3 * RATE_HZ) / RATE_HZ
    h = 0.2 * rng.standard_normal(t.size) * (np.exp(-6.907755 * t) + 10.0 ** (-25.0 / 20.0))
    told = measure_file(write(tmp_path, h), impulse=True)
    assert math.isnan(told.to_dict()["t20_s"])
    assert len(told.warnings) == 1
    assert "no T20" in told.warnings[0]
    assert "35 dB are needed" in told.warnings[0]


def test_what_is_no_impulse_response_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="silent"):
        measure_file(write(tmp_path, np.stack([np.eye(1, 900)[0], np.zeros(900)], axis=1)), impulse=True)
    with pytest.raises(AudioError, match=r"121 s, allowed for an impulse response: 120 s"):
        measure_file(write(tmp_path, np.eye(1, 121 * 8000)[0], rate_hz=8000), impulse=True)


def test_keys_stay(tmp_path: Path) -> None:
    silent = measure_file(write(tmp_path, np.zeros((4000, 2)))).to_dict()
    heard = measure_file(write(tmp_path, np.eye(1, 9000)[0]), impulse=True).to_dict()
    assert list(silent) == KEYS
    assert list(heard) == KEYS
    for key in ("integrated_lufs", "true_peak_dbtp", "noise_floor_dbfs"):
        assert silent[key] == -math.inf
    assert math.isnan(silent["centroid_hz"])


def test_memory_does_not_grow(tmp_path: Path) -> None:
    x = 0.1 * np.random.default_rng(2).standard_normal((8000 * 30, 1))
    short, long = write(tmp_path, x, rate_hz=8000), tmp_path / "long.wav"
    with soundfile.SoundFile(long, "w", 8000, 1, subtype="FLOAT") as file:
        for _ in range(6):
            file.write(x)

    def most_bytes(path: Path) -> int:
        tracemalloc.start()
        try:
            measure_file(path)
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    measure_file(short)
    # 150 s more, which are 9.6 MB of sound: two numbers every 25 ms of them, and copies of these at the end.
    assert most_bytes(long) - most_bytes(short) < 150 * 40 * 200


def test_plots_are_whole_and_change_no_figure(tmp_path: Path) -> None:
    path = write(tmp_path, notes(1e-3)[:9000])
    assert plot_file(path, tmp_path / "a.png") == measure_file(path)
    assert (tmp_path / "a.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.png", "sound.wav"]


def test_one_silent_frame_is_plot_file(tmp_path: Path) -> None:
    plot_file(write(tmp_path, np.zeros((1, 2))), tmp_path / "a.svg")
    assert "</svg>" in (tmp_path / "a.svg").read_text()


def test_plots_know_their_formats(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match=r'suffix ".bmp", allowed for plots: .png, .svg, .pdf'):
        plot_file(tmp_path / "not looked at.wav", tmp_path / "a.bmp")
