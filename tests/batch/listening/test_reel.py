"""The reel: beeps that count, versions in order, and a running order that is true."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.ndimage import label
from scipy.signal import hilbert

from chainsim.batch.listening.reel import AFTER_VERSION_S, BEEP_HZ, write_reel
from chainsim.listen.page.model import ListeningPage
from chainsim.listen.page.sounds import RawSound, page_sounds
from chainsim.units import Array

RATE_HZ = 8_000
COUNTED = {1: "s", 2: "ss", 3: "sss", 4: "ssss", 5: "l", 6: "ls", 7: "lss"}


@pytest.fixture(scope="module")
def page() -> ListeningPage:
    """Seven versions, one of them in stereo."""
    raw = []
    for number in COUNTED:
        x = 0.05 * np.random.default_rng(number).standard_normal((4_000, 2 if number == 2 else 1))
        raw.append(RawSound(f"version-{number}", f"number {number}", "version", "page", x))
    sounds = page_sounds(raw, RATE_HZ, pictures=False)
    return ListeningPage("Seven", "take.wav", RATE_HZ, sounds, ())


def beeps(x: Array) -> tuple[str, float]:
    """Short and long beeps of a stretch, by their envelope, and their peak."""
    envelope = np.abs(hilbert(x))
    peak = float(np.median(envelope[envelope > 0.5 * envelope.max()]))
    runs, count = label(envelope > 0.5 * peak)
    lengths_s = [np.sum(runs == i) / RATE_HZ for i in range(1, count + 1)]
    return "".join("l" if s > 0.3 else "s" for s in lengths_s if s > 0.05), peak


def test_beeps_count_and_versions_follow(page: ListeningPage, tmp_path: Path) -> None:
    order = write_reel(page, tmp_path / "car.flac")
    x, rate_hz = soundfile.read(tmp_path / "car.flac")
    assert (rate_hz, x.shape[1]) == (RATE_HZ, 2)
    assert order.seconds == len(x) / RATE_HZ
    for entry, sound in zip(order.entries, page.sounds, strict=True):
        first, begin = round(entry.beeps_s * RATE_HZ), round(entry.starts_s * RATE_HZ)
        stretch = x[first:begin, 0]
        found, peak = beeps(stretch)
        assert found == COUNTED[entry.number], entry
        assert peak == pytest.approx(10.0 ** (-32.0 / 20.0), rel=0.02)
        spectrum = np.abs(np.fft.rfft(stretch))
        assert np.argmax(spectrum) * RATE_HZ / len(stretch) == pytest.approx(BEEP_HZ, abs=10.0)
        version = soundfile.read(io.BytesIO(sound.audio), always_2d=True)[0]
        end = begin + len(version)
        assert np.array_equal(x[begin:end], np.broadcast_to(version, (len(version), 2)))
        assert not x[end : end + round(AFTER_VERSION_S * RATE_HZ)].any()


def test_the_running_order_is_beside_it(page: ListeningPage, tmp_path: Path) -> None:
    order = write_reel(page, tmp_path / "car.wav")
    text = (tmp_path / "car.txt").read_text(encoding="utf-8")
    assert text == order.text
    lines = text.splitlines()
    assert lines[0] == "Seven"
    assert lines[3:10] == [
        f"{int(e.starts_s) // 60}:{int(e.starts_s) % 60:02d}  {e.number}  number {e.number}" for e in order.entries
    ]
    assert order.entries[0].beeps_s == 0.0
