"""What a block says of itself is what is measured: latency, tail, and the same seconds and Hz at every rate."""

from __future__ import annotations

import itertools
import math
from functools import cache

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from chainsim.block import block_type
from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, VOICED
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch
from tests.contract.feeds import rng_of, unpitched
from tests.contract.subjects import (
    ADDS_A_FLOOR,
    BLOCKS,
    NEEDED,
    RATES_HZ,
    Feed,
    Subject,
    asset_folder,
    drawn_settings,
    made,
)

FLOOR = 10.0 ** (-90.0 / 20.0)

every_block = pytest.mark.parametrize("name", BLOCKS)


def fed(subject: Subject, x: np.ndarray, pitch_hz: float = 220.0) -> np.ndarray:
    """Output of a one-channel sound sent into every port and both channels, without the readings."""
    ports = {p: np.ascontiguousarray(np.tile(x, (w, 1))) for p, w in subject.widths.items()}
    feed = Feed(ports, {}, np.full(x.size, 120.0), a_note_as_long_as(x, pitch_hz))
    return subject.run(feed, range(16_384, x.size, 16_384))[: subject.out_channels]


def a_note_as_long_as(x: np.ndarray, pitch_hz: float) -> np.ndarray:
    """Pitch rows of one note from where a sound begins to where it ends."""
    rows = unpitched(x.size)
    sounding = np.flatnonzero(x)
    if sounding.size:
        note = slice(int(sounding[0]), int(sounding[-1]) + 1)
        rows[[F0_HZ, VOICED, CONFIDENCE, LEVEL_DB], note] = np.array([[pitch_hz], [1.0], [1.0], [-20.0]])
        rows[F0_HZ, note.stop :] = pitch_hz
        rows[ONSET_AGE_S, note.start] = 0.001
    return rows


def delay_between(x: np.ndarray, y: np.ndarray, low: float, high: float) -> tuple[float, float]:
    """Samples by which y is later than x, and how alike they are then (1: the same), between two shares of the rate.

    The peak of the cross-correlation, first among whole samples, then between them as
    R(d) = Re sum X*(f) Y(f) exp(2 pi i f d) over the band.
    """
    size = 1 << (2 * x.size - 1).bit_length()
    f = np.fft.rfftfreq(size)
    band = (f >= low) & (f <= high)
    spectrum_x, spectrum_y = np.fft.rfft(x, size) * band, np.fft.rfft(y, size) * band
    cross = np.conj(spectrum_x) * spectrum_y
    coarse = int(np.argmax(np.fft.irfft(cross, size)))
    coarse -= size if coarse > size // 2 else 0
    fine = minimize_scalar(
        lambda d: -np.sum(np.real(cross * np.exp(2j * np.pi * f * d))),
        bounds=(coarse - 1.0, coarse + 1.0),
        method="bounded",
        options={"xatol": 1e-4},
    )
    norm = np.linalg.norm(spectrum_x) * np.linalg.norm(spectrum_y)
    return float(fine.x), -float(fine.fun) / norm if norm > 0.0 else 0.0


@pytest.mark.parametrize("delay", [0.0, 3.0, 17.25])
def test_the_delay_is_measured_to_a_hundredth(delay: float) -> None:
    size = 4_096
    x = np.fft.irfft(np.fft.rfft(rng_of("delay").standard_normal(size) * np.hanning(size), 2 * size))
    y = np.fft.irfft(np.fft.rfft(x) * np.exp(-2j * np.pi * np.fft.rfftfreq(2 * size) * delay))
    found, alike = delay_between(x, y, 0.02, 0.4)
    assert found == pytest.approx(delay, abs=0.01)
    assert alike > 0.999


GENERATORS = [n for n in BLOCKS if block_type(n).generates]


@pytest.mark.parametrize("name", GENERATORS)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_what_a_generator_makes_begins_its_latency_after_the_note(name: str, rate_hz: float) -> None:
    subject = Subject(name, sample_rate_hz=rate_hz)
    x = np.zeros(int(0.7 * rate_hz))
    begin = int(0.5 * rate_hz)  # a beat at 120 a minute, so that what plays on a grid plays at once
    x[begin:] = 0.3 * np.sin(np.arange(x.size - begin) * 2.0 * np.pi * 220.0 / rate_hz)
    x[begin] = 0.1
    y = np.abs(fed(subject, x)).max(axis=0)
    first = int(np.flatnonzero(y > 1e-9)[0])
    assert 0 <= first - begin - subject.block.latency_samples <= max(2.0, 0.002 * rate_hz)


@pytest.mark.parametrize("name", [n for n in BLOCKS if n not in GENERATORS])
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_latency_is_what_is_reported(name: str, rate_hz: float) -> None:
    probe = block_type(name).latency_probe
    subject = Subject(name, sample_rate_hz=rate_hz, channels=1, **probe.settings)
    frames = int(0.3 * rate_hz)
    x = 0.3 * rng_of("latency").standard_normal(frames)
    x[: frames // 8] = 0.0
    x[frames // 2 :] = 0.0
    y = fed(subject, x)[0]
    high_hz = min(probe.high_hz or math.inf, 0.4 * rate_hz)
    found, alike = delay_between(x, y, probe.low_hz / rate_hz, high_hz / rate_hz)
    assert alike > 0.9, "under its latency probe the output is not the input"
    assert found == pytest.approx(subject.block.latency_samples, abs=0.05)


def excitations(rate_hz: float, frames: int) -> dict[str, tuple[np.ndarray, float]]:
    """Sounds that end after `frames`, and their pitch: what rings in one block or at one level may not in another."""
    noise = 0.3 * rng_of("tail").standard_normal(frames)
    red = np.cumsum(noise) - np.mean(np.cumsum(noise))
    t = np.arange(frames) / rate_hz
    spike = np.zeros(frames)
    spike[-1] = 1.0
    found = {"spike": (spike, 220.0), "noise": (noise, 220.0), "low noise": (0.5 * red / np.abs(red).max(), 220.0)}
    for freq_hz in (39.2, 40.0, 110.0, 300.0, 1_000.0, 2_500.0):  # 39.2 ends where a shifter's last period begins
        found[f"{freq_hz:g} Hz"] = 0.5 * np.sin(2.0 * np.pi * freq_hz * t), freq_hz
    return found | {f"faint {name}": (1e-4 * x, pitch_hz) for name, (x, pitch_hz) in found.items()}


def measured_tail_s(subject: Subject) -> tuple[float, str]:
    """Longest time from a sound's end to the last sample over -90 dB of the loudest, latency taken off; which sound."""
    rate_hz, latency = subject.rate_hz, math.ceil(subject.block.latency_samples)
    frames = round(0.4 * rate_hz)
    longest, by = 0.0, "none"
    for sound, (x, pitch_hz) in excitations(rate_hz, frames).items():
        subject.block.reset()
        rest = latency + round((1.3 * subject.block.tail_s + 0.5) * rate_hz)
        y = fed(subject, np.concatenate([x, np.zeros(rest)]), pitch_hz)
        if subject.name in ADDS_A_FLOOR:
            subject.block.reset()
            y -= fed(subject, np.zeros(x.size + rest))
        y = np.abs(y).max(axis=0)
        over = np.flatnonzero(y > FLOOR * y.max())
        after = (int(over[-1]) - (frames - 1) - latency) / rate_hz if over.size else 0.0
        if after > longest:
            longest, by = after, sound
    return longest, by


@every_block
def test_tail_is_what_is_reported(name: str) -> None:
    subject = Subject(name, sample_rate_hz=48_000.0)
    reported = subject.block.tail_s
    found, by = measured_tail_s(subject)
    assert found <= reported + 0.0005, by
    assert reported <= 1.5 * found + 0.001, by  # a millisecond: not worth a design


@every_block
def test_no_settings_ring_longer_than_reported(name: str) -> None:
    for i in range(8):
        settings = drawn_settings(name, "tail", i, rate_hz=8_000.0, at_ends=i % 2 == 1)
        subject = made(name, settings, sample_rate_hz=8_000.0, channels=2)
        if subject is None or not subject.block.tail_s < 20.0:
            continue
        found, by = measured_tail_s(subject)
        assert found <= subject.block.tail_s + 0.0005, (by, settings)


LONG_RINGING = [
    pytest.param(
        "delay",
        {
            "time_ms": 1.0, "feedback_percent": 0.0, "low_cut_hz": 10.0, "high_cut_hz": 3520.0, "dry_db": -96.0,
            "wet_db": 24.0, "stereo": "crossed",
        },
        id="delay",
    ),
    pytest.param(
        "envelope_filter",
        {
            "sweep_low_hz": 20.0, "sweep_high_hz": 3520.0, "q": 0.5, "sensitivity_db": -24.0, "attack_ms": 0.1,
            "release_ms": 5000.0,
        },
        id="envelope_filter",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("name", "settings"), LONG_RINGING)
def test_settings_that_ring_long_end_as_reported(name: str, settings: dict[str, object]) -> None:
    subject = Subject(name, sample_rate_hz=8_000.0, channels=2, **settings)
    found, by = measured_tail_s(subject)
    assert found <= subject.block.tail_s + 0.0005, by


@every_block
def test_reported_times_are_the_same_at_all_rates(name: str) -> None:
    blocks = [Subject(name, sample_rate_hz=r, channels=2).block for r in RATES_HZ if r >= 44_100.0]
    tails = [b.tail_s for b in blocks]
    assert max(tails) - min(tails) <= 0.1 * max(tails) + 0.0005
    answers = [b.response_s for b in blocks]
    assert all(a is None for a in answers) or max(answers) <= 1.1 * min(answers) + 0.0005
    latencies = [b.latency_samples / r for b, r in zip(blocks, RATES_HZ[1:], strict=True)]
    assert max(latencies) - min(latencies) <= 0.1 * max(latencies) + 1.0 / 44_100.0


@every_block
def test_sounds_the_same_at_all_rates(name: str) -> None:
    """Energy of a band-limited sound and of what follows it, by the tenth of a second, within 1.5 dB."""
    if block_type(name).generates:
        pytest.skip("makes its own sound")
    levels = {r: short_levels_db(name, r) for r in RATES_HZ if r >= 44_100.0}
    reference = levels[48_000.0]
    heard = reference > reference.max() - 50.0
    for rate_hz, found in levels.items():
        assert np.abs(found - reference)[heard].max() <= 1.5, rate_hz


def short_levels_db(name: str, rate_hz: float) -> np.ndarray:
    """Level of each tenth of a second of what comes of sixty tones."""
    subject = Subject(name, sample_rate_hz=rate_hz, channels=1)
    y = fed(subject, sixty_tones(rate_hz))
    edges = np.round(np.arange(10) * 0.1 * rate_hz + subject.block.latency_samples).astype(int)
    power = [np.mean(y[:, a:b] ** 2) for a, b in itertools.pairwise(edges)]
    return 10.0 * np.log10(np.maximum(power, 1e-20))


@cache
def sixty_tones(rate_hz: float) -> np.ndarray:
    """Between 100 and 2500 Hz, for 0.3 s of 0.9."""
    rng = rng_of("tones")
    t = np.arange(round(0.9 * rate_hz)) / rate_hz
    x = np.zeros(t.size)
    for freq_hz, phase in zip(np.geomspace(100.0, 2_500.0, 60), rng.uniform(0.0, 2.0 * np.pi, 60), strict=True):
        x += 0.04 * np.sin(2.0 * np.pi * freq_hz * t + phase)
    return x * np.where(t < 0.3, np.sin(np.pi * np.minimum(t, 0.3) / 0.3) ** 2, 0.0)


PLAIN = 'chain = ["b"]\n[blocks.b]\ntype = "{name}"\n'
FORKED = 'chain = [{{ blender = "b", wet = ["g"] }}]\n[blocks.g]\ntype = "gain"\n[blocks.b]\ntype = "{name}"\n'


def sketch_text(name: str) -> str:
    """A sketch whose only block, or only blender, is `b`."""
    ports = block_type(name).audio_inputs
    return (PLAIN if len(ports) == 1 else FORKED).format(name=name) + NEEDED.get(name, "")


def sketch_of(text: str) -> Sketch:
    """A sketch that may use the files of the subjects."""
    return parse_sketch(text, folder=asset_folder())


@every_block
@pytest.mark.parametrize("channels", [1, 2])
def test_disengaged_passes_every_bit(name: str, channels: int) -> None:
    if block_type(name).generates:
        pytest.skip("disengaged, it is silent")
    x = 0.3 * rng_of("pass").standard_normal((channels, 3_000))
    graph = build_graph(sketch_of(sketch_text(name) + "engaged = false\n"), 8_000.0, channels)
    assert render_graph(graph, x)["out"].tobytes() == x.tobytes()
    assert graph.frames(3_000) == 3_000


@every_block
def test_disengaged_by_a_cue_passes_every_bit_after_its_ramp(name: str) -> None:
    if block_type(name).generates:
        pytest.skip("disengaged, it is silent")
    text = sketch_text(name) + 'tails = "cut"\n[patches.without]\nengage = []\n'
    text += '[[cues]]\nat_s = 0.1\npatch = "without"\n'
    x = 0.3 * rng_of("pass").standard_normal((2, 3_000))
    y = render_graph(build_graph(sketch_of(text), 8_000.0, 2), x)["out"]
    start = 800 + 80  # the cue, and a ramp of 10 ms
    assert y[:, start:3_000].tobytes() == x[:, start:].tobytes()
    assert not y[:, 3_000:].any()
