"""What is heard at a seat, by impulses against closed forms; the same bits for any spans; the band."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import fftconvolve

import chainsim
from chainsim.errors import SketchError
from chainsim.graph.engine import Engine
from chainsim.graph.rendering import array_reader, build_graph
from chainsim.house.late_field import middle_energy
from chainsim.house.listening import Heard, KeptTake, Listener
from chainsim.house.resampling import interpolate, interpolation_table, needed
from chainsim.measure.decay import measure_decay, octave_band
from chainsim.measure.loudness import measure_loudness
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch

FS = 48_000.0
C_M_S = 343.2


def sketch_in(venue: str, more: str = "", folder: Path | None = None) -> Sketch:
    return parse_sketch(
        f"""
        chain = ["gain"]
        [house]
        {venue}
        acoustic_horn_db = -12.0
        horn_directivity_db = 0.0
        loudspeaker_directivity_db = 6.0
        {more}
        [house.seats.stalls]
        horn_m = 5.0
        loudspeaker_m = 8.0
        """,
        folder=folder,
    )


def heard(
    sketch: Sketch,
    dry: np.ndarray,
    feed: np.ndarray,
    *,
    seat: str | None = "stalls",
    cuts: Sequence[int] = (),
    take_frames: int | None = None,
    sample_rate_hz: float = FS,
) -> np.ndarray:
    """Dry and feed (channels, frames) at a seat, in spans that end at `cuts`; until nothing is left to be heard."""
    frames = feed.shape[1]
    with Listener(
        sketch, seat, sample_rate_hz=sample_rate_hz, feed_channels=feed.shape[0], take_frames=take_frames or frames
    ) as listener:
        longer = ((0, 0), (0, listener.frames(frames) - frames))
        dry, feed = np.pad(dry, longer), np.pad(feed, longer)
        edges = itertools.pairwise([0, *cuts, feed.shape[1]])
        parts = [listener.hear(a, dry[:, a:b].copy(), feed[:, a:b].copy()) for a, b in edges]
    return np.concatenate(parts, axis=1)


def impulse(at: int = 0, frames: int = 1000) -> np.ndarray:
    x = np.zeros((1, frames))
    x[0, at] = 1.0
    return x


NOTHING = np.zeros((1, 1000))


@pytest.mark.parametrize(
    ("dry", "feed", "distance_m", "level_db"),
    [(impulse(7), NOTHING, 5.0, -12.0), (NOTHING, impulse(7), 8.0, 0.0)],
    ids=["horn", "loudspeaker"],
)
@pytest.mark.parametrize("venue", ['venue = "theatre"', 'venue = "open air"'])
def test_direct_sound_is_as_far_and_as_loud_as_it_should_be(
    venue: str, dry: np.ndarray, feed: np.ndarray, distance_m: float, level_db: float
) -> None:
    """Delay r / c to the sample; 1 / r at 0 Hz, where air takes nothing."""
    y = heard(sketch_in(venue), dry, feed)
    arrives = 7 + round(distance_m / C_M_S * FS)
    assert not y[:, :arrives].any()
    assert np.argmax(np.abs(y[0])) == arrives
    # The ground's reflection is 1.4 ms later for the loudspeaker's 2.5 m and 8 m away, 1.8 ms for the horn.
    direct = y[:, arrives : arrives + 60]
    assert 20.0 * np.log10(np.sum(direct, axis=1)) == pytest.approx(level_db - 20.0 * math.log10(distance_m), abs=0.01)


@pytest.mark.parametrize(
    ("venue", "volume_m3", "decay_s"), [("small club", 500.0, 0.6), ("theatre", 5000.0, 1.1), ("hall", 15000.0, 2.0)]
)
def test_a_venue_gives_back_what_the_theory_says(venue: str, volume_m3: float, decay_s: float) -> None:
    """Direct to reverberant by 1 / r^2 and 312 T / (Q V) exp(-0.04 r / T) within 0.5 dB; T30 within 5 %."""
    at = round(0.37 * FS)
    for dry, feed, distance_m, directivity_db in [
        (impulse(at, at + 1), np.zeros((1, at + 1)), 5.0, 0.0),
        (np.zeros((1, at + 1)), impulse(at, at + 1), 8.0, 6.0),
    ]:
        y = heard(sketch_in(f'venue = "{venue}"'), dry, feed)
        arrives = at + round(distance_m / C_M_S * FS)
        direct, late = y.copy(), y.copy()
        direct[:, arrives + 100 :], late[:, : arrives + 100] = 0.0, 0.0
        found_db = 10.0 * math.log10(middle_energy(direct, FS) / middle_energy(late, FS))
        room = 312.0 * decay_s / volume_m3 * math.exp(-0.04 * distance_m / decay_s) / 10.0 ** (directivity_db / 10.0)
        assert found_db == pytest.approx(-10.0 * math.log10(room * distance_m**2), abs=0.5)
        # The first wall is half a cube's side away: sqrt(r^2 + V^(2/3)) - r later.
        begins_s = (math.hypot(distance_m, volume_m3 ** (1 / 3)) - distance_m) / C_M_S
        first = int(np.argmax(np.max(np.abs(late), axis=0) > 1e-3 * np.max(np.abs(late))))
        assert (first - arrives) / FS == pytest.approx(begins_s, abs=2e-4)
        times_s = [measure_decay(octave_band(ear, FS, hz), FS).t30_s for ear in late for hz in (500.0, 1000.0)]
        assert np.mean(times_s) == pytest.approx(decay_s, rel=0.05)


def test_the_ears_differ_and_are_as_loud() -> None:
    y = heard(sketch_in('venue = "hall"'), NOTHING, impulse())[:, 3000:]
    assert 10.0 * math.log10(np.sum(y[0] ** 2) / np.sum(y[1] ** 2)) == pytest.approx(0.0, abs=1.0)
    assert abs(np.corrcoef(y)[0, 1]) < 0.2


def test_the_sum_is_that_of_both_sources() -> None:
    rng = np.random.default_rng(5)
    dry, feed = rng.normal(size=(1, 2000)), rng.normal(size=(2, 2000))
    sketch = sketch_in('venue = "theatre"')
    both = heard(sketch, dry, feed)
    alone = heard(sketch, dry, np.zeros((2, 2000))) + heard(sketch, np.zeros((1, 2000)), feed)
    assert np.max(np.abs(both - alone)) < 1e-12


def test_a_stereo_feed_with_one_sound_is_heard_as_a_mono_one() -> None:
    x = np.random.default_rng(5).normal(size=(1, 2000))
    sketch = sketch_in('venue = "theatre"')
    none = np.zeros((1, 2000))
    mono, stereo = heard(sketch, none, x), heard(sketch, none, np.repeat(x, 2, axis=0))
    assert np.max(np.abs(mono - stereo)) < 1e-12


NET = """
chain = ["delay"]
[blocks.delay]
time_ms = 20.0
[house]
venue = "small club"
"""


def take(seconds: float = 0.5, rate_hz: float = 16_000.0) -> np.ndarray:
    return 0.1 * np.random.default_rng(3).normal(size=round(seconds * rate_hz))


def test_no_mute_removes_the_horn() -> None:
    """The muted render is what the horn alone gives: the venue with nothing in the loudspeaker."""
    muted = parse_sketch(NET + "[[cues]]\nat_s = 0.0\nmute = true")
    x = take()
    silent_feed = chainsim.render(muted, x, 16_000.0).audio
    assert not silent_feed.any()
    at_seat = chainsim.render(muted, x, 16_000.0, seat="front_row").audio
    frames = len(silent_feed)
    dry = np.pad(x, (0, frames - len(x)))[None]
    horn = heard(muted, dry, np.zeros((1, frames)), seat="front_row", sample_rate_hz=16_000.0)
    assert np.sqrt(np.mean(at_seat**2)) > 0.005
    assert at_seat.T.tobytes() == horn.tobytes()


def test_without_a_seat_nothing_changes() -> None:
    bare = parse_sketch(NET.split("[house]")[0])
    plain = chainsim.render(bare, take(), 16_000.0).audio
    assert chainsim.render(parse_sketch(NET), take(), 16_000.0).audio.tobytes() == plain.tobytes()


def test_the_render_is_longer_by_the_way_and_the_room() -> None:
    x = np.append(take(0.1), 1.0)
    rendering = chainsim.render(parse_sketch(NET), x, 16_000.0, seat="back", probes=["delay"])
    plain = chainsim.render(parse_sketch(NET), x, 16_000.0)
    more_s = (len(rendering.audio) - len(plain.audio)) / 16_000.0
    # 29 ms of air, 8 ms to the first wall; 90 dB at the longest decay (bass, 0.72 s) take 1.08 s, peaks 0.12 s more.
    assert 0.029 + 1.08 < more_s < 0.04 + 1.5
    assert len(rendering.probes["delay"]) == len(rendering.audio)
    assert np.max(np.abs(rendering.audio[-80:])) < 10 ** (-90 / 20) * np.max(np.abs(rendering.audio))


@pytest.fixture(scope="module")
def quay(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a band at 11 kHz, a short one at 16 kHz, a silent one, and an impulse response."""
    folder = tmp_path_factory.mktemp("quay")
    rng = np.random.default_rng(11)
    soundfile.write(folder / "band.wav", 0.1 * rng.normal(size=(22_050, 2)), 11_025, subtype="FLOAT")
    soundfile.write(folder / "short.wav", 0.1 * rng.normal(size=12_000), 16_000, subtype="FLOAT")
    soundfile.write(folder / "silent.wav", np.zeros(20_000), 16_000)
    response = np.zeros((8000, 2))
    response[480] = 0.5
    fall = 10.0 ** (-3.0 * np.arange(7000) / 16_000.0 / 0.4)
    response[1000:] = 0.02 * rng.normal(size=(7000, 2)) * fall[:, None]
    soundfile.write(folder / "loft.wav", response, 16_000, subtype="DOUBLE")
    return folder


def with_band(folder: Path, file: str, loudness_lufs: float = -30.0) -> Sketch:
    return parse_sketch(NET + f'[house.band]\nfile = "{file}"\nloudness_lufs = {loudness_lufs}', folder=folder)


@pytest.mark.parametrize("cuts", [(1, 2, 9, 500, 501, 7000), tuple(range(1000, 10_000, 1000)), (6000, 12_000)])
def test_any_spans_give_the_same_bits(quay: Path, cuts: tuple[int, ...]) -> None:
    sketch = with_band(quay, "band.wav")
    dry, feed = take()[None], np.stack([take(), take()[::-1]])
    whole = heard(sketch, dry, feed, seat="back", sample_rate_hz=16_000.0)
    assert heard(sketch, dry, feed, seat="back", cuts=cuts, sample_rate_hz=16_000.0).tobytes() == whole.tobytes()


@pytest.mark.parametrize("threads", [1, 2])
def test_the_engine_may_cut_as_it_likes(threads: int) -> None:
    x = take(0.3)[None]
    sketch = parse_sketch(NET)
    graph = build_graph(sketch, 16_000.0)
    kept = KeptTake(array_reader(x))
    engine = Engine(graph, kept.read, x.shape[1], chunk=509, threads=threads)
    with Listener(
        sketch, "back", sample_rate_hz=16_000.0, feed_channels=graph.channels("out"), take_frames=x.shape[1]
    ) as listener:
        parts = [outputs["out"] for _, outputs in Heard(engine, kept, listener).stream()]
    whole = chainsim.render(sketch, x[0], 16_000.0, seat="back").audio
    assert np.concatenate(parts, axis=1).tobytes() == whole.T.tobytes()


def test_nothing_is_heard_before_it_is_played(quay: Path) -> None:
    sketch = with_band(quay, "band.wav")
    x, other = take(0.3), take(0.3)
    other[3000:] = 0.5
    first, second = (chainsim.render(sketch, a, 16_000.0, seat="front_row").audio for a in (x, other))
    assert first[:3000].tobytes() == second[:3000].tobytes()
    assert first[3200:].tobytes() != second[3200:].tobytes()


@pytest.mark.parametrize("file", ["band.wav", "short.wav"])
def test_the_band_is_as_loud_as_stated(quay: Path, file: str) -> None:
    """BS.1770 on what a silent horn leaves of the feed; a fade at the take's end and other rates cost under 0.1 LU."""
    rate_hz = 16_000.0
    rendering = chainsim.render(with_band(quay, file, -27.0), np.zeros(48_000), rate_hz, with_band=True)
    seconds = 2.0 if file == "band.wav" else 0.75
    playing = rendering.audio[: round(seconds * rate_hz)]
    assert measure_loudness(playing, rate_hz).integrated_lufs == pytest.approx(-27.0, abs=0.1)
    ends_s = 3.0 - seconds
    assert [w for w in rendering.warnings if "band" in w] == [
        f"house.band: {file} ends {ends_s:.1f} s before the take; the rest goes without a band"
    ]


def test_a_longer_band_is_faded_out_with_the_take(quay: Path) -> None:
    sketch = parse_sketch('chain = ["gain"]' + with_band(quay, "band.wav").text.split("20.0")[1], folder=quay)
    audio = chainsim.render(sketch, np.zeros(16_000), 16_000.0, with_band=True).audio
    assert len(audio) == 16_000
    # Raised cosine over 50 ms: half the gain 25 ms before the end.
    unfaded = chainsim.render(sketch, np.zeros(32_000), 16_000.0, with_band=True).audio
    assert audio[:15_200] == pytest.approx(unfaded[:15_200])
    assert audio[15_600] == pytest.approx(0.5 * unfaded[15_600])
    assert np.max(np.abs(audio[-1])) < 1e-4


@pytest.mark.parametrize(("from_hz", "to_hz"), [(44_100, 48_000), (48_000, 44_100), (22_050, 48_000), (96_000, 44_100)])
def test_the_band_comes_at_the_take_s_rate(from_hz: int, to_hz: int) -> None:
    """A sine is a sine of the same frequency, and above half the lower rate there is none: both by their formula."""
    table = interpolation_table(from_hz, to_hz)

    def brought(hz: float) -> np.ndarray:
        first, count = needed(4000, 2000, from_hz, to_hz, table)
        x = np.sin(2.0 * np.pi * hz * (first + np.arange(count)) / from_hz)[None]
        y = np.empty((1, 2000))
        interpolate(x, first, 4000, from_hz, to_hz, table, y)
        return y[0]

    hz = 0.35 * min(from_hz, to_hz)
    assert np.max(np.abs(brought(hz) - np.sin(2.0 * np.pi * hz * (4000 + np.arange(2000)) / to_hz))) < 10 ** (-80 / 20)
    if from_hz > to_hz:
        assert np.max(np.abs(brought(0.5 * to_hz + 0.25 * (from_hz - to_hz) + 1000.0))) < 10 ** (-70 / 20)


def test_a_measured_response_is_parted_at_its_direct_sound(quay: Path) -> None:
    """Taken at 4 m with a direct sound of 0.5: there it is 1 / 4, at 8 m 1 / 8; the rest is the same at both."""
    sketch = sketch_in('impulse_response = "loft.wav"\nimpulse_response_m = 4.0', folder=quay)
    rate_hz = 16_000.0
    y = heard(sketch, NOTHING, impulse(), sample_rate_hz=rate_hz)
    arrives = round(8.0 / C_M_S * rate_hz)
    assert np.sum(y[:, arrives : arrives + 30], axis=1) == pytest.approx([0.125, 0.125], rel=2e-3)
    file = soundfile.read(quay / "loft.wav")[0].T
    rest = y[:, arrives + 1000 - 480 :][:, :7000]
    # The direct sound's own energy, measured in two octaves of a pulse cut at 5 ms: 0.5 % of a level.
    assert rest == pytest.approx(file[:, 1000:] * 0.25 / 0.5, rel=5e-3, abs=1e-6)


def test_a_measured_response_is_a_convolution(quay: Path) -> None:
    """Of left with left and right with right, by scipy's."""
    sketch = sketch_in('impulse_response = "loft.wav"', "", quay)
    x = np.random.default_rng(9).normal(size=(2, 4000))
    response = heard(sketch, NOTHING, np.pad([[1.0], [1.0]], ((0, 0), (0, 999))), sample_rate_hz=16_000.0)
    found = heard(sketch, np.zeros((1, 4000)), x, sample_rate_hz=16_000.0)
    expected = fftconvolve(response, x, axes=1)[:, : found.shape[1]]
    assert np.max(np.abs(found[:, : expected.shape[1]] - expected)) < 1e-10


WRONG = [
    ('[house]\nvenue = "hall"\n[house.band]\nfile = "no.wav"', "back", 'house.band.file: file "no.wav": not found'),
    ('[house]\nvenue = "hall"\n[house.band]\nfile = "../x.wav"', "back",
     'house.band.file: file "../x.wav": lies outside'),
    ('[house]\nvenue = "hall"\n[house.band]\nfile = "silent.wav"', None, "house.band.file: silent.wav is silent"),
    ('[house]\nimpulse_response = "no.wav"', "back", 'house.impulse_response: file "no.wav": not found'),
    ('[house]\nimpulse_response = "silent.wav"', "back", "house.impulse_response: silent.wav holds no more"),
    ('[house]\nvenue = "hall"', "bakc", 'house.seats: no seat "bakc"; did you mean "back"?'),
    ('[house]\nvenue = "hall"', None, "house.band: there is none to be heard"),
    ("", "back", 'house: the sketch has none, and the seat "back" is in it'),
]  # fmt: skip


@pytest.mark.parametrize(("text", "seat", "line"), WRONG)
def test_what_cannot_be_heard_is_told_in_one_line(quay: Path, text: str, seat: str | None, line: str) -> None:
    sketch = parse_sketch('chain = ["gain"]\n' + text, folder=quay)
    with pytest.raises(SketchError) as found:
        chainsim.render(sketch, np.ones(8000), 16_000.0, seat=seat, with_band=seat is None)
    assert len(found.value.faults) == 1
    assert found.value.faults[0].startswith(line)
