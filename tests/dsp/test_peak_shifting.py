"""The shifter of several notes: in tune, as loud, attacks where they were, and the same whatever the spans.

Checks PS-1, 2, 5, 6 and 8 of the list; expected values are closed forms: a tone of known partials, moved, is the tone
of its partials times the ratio.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from chainsim.dsp.peak_frames import cut_into_frames
from chainsim.dsp.peak_shifting import PeakShifter
from chainsim.dsp.region_moving import cosines_and_sines
from chainsim.errors import SettingError

FS = 48_000.0
LOW_HZ = 110.0
SETTLED = 12_000
"""Samples after which a tone that began at once has settled: a quarter of a second."""


def ratio_of(semitones: float) -> float:
    return float(2.0 ** (semitones / 12.0))


def shifted(
    x: np.ndarray,
    *ratios: float,
    formant: float = 0.0,
    span: int = 1 << 14,
    begin: int = 0,
    rate_hz: float = FS,
    shifter: PeakShifter | None = None,
    aligned: bool = True,
) -> np.ndarray:
    """Voices of x, shape (voices, frames), without their latency unless it is to be seen."""
    shifter = shifter or PeakShifter(LOW_HZ, rate_hz, len(ratios))
    late = shifter.latency_samples if aligned else 0
    fed = np.concatenate([x, np.zeros(late)])
    y = np.empty((len(ratios), fed.size))
    for a in range(0, fed.size, span):
        part = np.ascontiguousarray(fed[a : a + span])
        out = np.full((len(ratios), part.size), np.nan)
        rows = np.ascontiguousarray(np.repeat(np.array(ratios)[:, np.newaxis], part.size, 1))
        shifter.process(begin + a, part, rows, np.full(part.size, formant), out)
        y[:, a : a + span] = out
    return y[:, late:]


def tone(
    f0_hz: float, partials: int = 1, seconds: float = 1.0, moved: float = 1.0, top_hz: float = 20_000.0
) -> np.ndarray:
    """Partials 1/k of a saw, only those that lie below `top_hz`; all moved by a ratio."""
    t = np.arange(round(seconds * FS)) / FS
    numbers = [k for k in range(1, partials + 1) if k * f0_hz < top_hz and k * f0_hz * moved < 0.5 * FS]
    return 0.2 * sum((np.sin(2.0 * np.pi * k * f0_hz * moved * t) / k for k in numbers), np.zeros(t.size))


def partial_at(y: np.ndarray, near_hz: float) -> tuple[float, np.ndarray]:
    """Frequency of the partial near a frequency, and the course of its amplitude; 50 ms of a Hann window each."""
    window = np.hanning(2401)
    z = y * np.exp(-2.0j * np.pi * near_hz * np.arange(y.size) / FS)
    course = 2.0 * signal.fftconvolve(z, window / window.sum(), "valid")
    slope = np.polyfit(np.arange(course.size) / FS, np.unwrap(np.angle(course)), 1)[0]
    return near_hz + slope / (2.0 * np.pi), np.abs(course)


def db(power_ratio: float) -> float:
    return float(10.0 * np.log10(power_ratio))


def crest_db(y: np.ndarray) -> float:
    return db(np.max(y**2) / np.mean(y**2))


@pytest.mark.parametrize("formant", [0.0, 1.0])
@pytest.mark.parametrize("partials", [1, 200])
@pytest.mark.parametrize("f0_hz", [110.0, 196.0, 440.0, 880.0])
def test_ratio_and_level(f0_hz: float, partials: int, formant: float) -> None:
    # PS-1 asks for 2 cents and 1 dB.
    semitones = (-12.0, -7.0, -1.0, 4.0, 12.0)
    x = tone(f0_hz, partials)
    voices = shifted(x, *map(ratio_of, semitones), formant=formant)
    for steps, y in zip(semitones, voices, strict=True):
        right_hz = f0_hz * ratio_of(steps)
        found_hz, _ = partial_at(y[SETTLED:-SETTLED], right_hz)
        assert abs(1200.0 * np.log2(found_hz / right_hz)) < 0.2
        right = tone(f0_hz, partials, moved=ratio_of(steps))
        level_db = db(np.mean(y[SETTLED:-SETTLED] ** 2) / np.mean(right[SETTLED:-SETTLED] ** 2))
        assert abs(level_db) < 0.1


@pytest.mark.parametrize("f0_hz", [146.8, 220.0, 330.0])
def test_two_tones_a_fifth_apart_both_move_and_stay_steady(f0_hz: float) -> None:
    pair_hz = (f0_hz, 1.5 * f0_hz)
    x = tone(pair_hz[0], 20) + tone(pair_hz[1], 20)
    for steps in (-5.0, 4.0, 7.0):
        y = shifted(x, ratio_of(steps))[0, SETTLED:-SETTLED]
        right = tone(pair_hz[0], 20, moved=ratio_of(steps)) + tone(pair_hz[1], 20, moved=ratio_of(steps))
        for tone_hz in pair_hz:
            right_hz = tone_hz * ratio_of(steps)
            found_hz, course = partial_at(y, right_hz)
            _, wanted = partial_at(right[SETTLED:-SETTLED], right_hz)
            assert abs(1200.0 * np.log2(found_hz / right_hz)) < 0.2
            # 3 % is 0.26 dB; the window that measures lets some of the neighbours through.
            assert np.std(course / wanted) < 0.03
            # Partials of the lowest pair are 73 Hz apart, closer than those of any note the frames are made for: PS-1
            # asks for 1 dB.
            most_db = 1.0 if 0.5 * f0_hz < LOW_HZ else 0.3
            assert abs(20.0 * np.log10(np.mean(course) / np.mean(wanted))) < most_db


@pytest.mark.parametrize("steps", [-5.0, 4.0, 7.0])
def test_a_mistuned_pair_does_not_pump_where_formants_stay(steps: float) -> None:
    # The third partial of one and the second of the other beat once a second; no other partial does. An envelope as it
    # is from frame to frame moved them by some 6 dB up and down.
    x = tone(220.0, 20, 2.0) + tone(330.5, 20, 2.0)
    y = shifted(x, ratio_of(steps), formant=1.0)[0, SETTLED:-SETTLED]
    swings_db = []
    for hz in [220.0 * k for k in (1, 2, 4, 5)] + [330.5 * k for k in (1, 3, 5)]:
        levels_db = 20.0 * np.log10(partial_at(y, hz * ratio_of(steps))[1])
        swings_db.append(np.max(levels_db) - np.min(levels_db))
    assert np.median(swings_db) < 2.5


def test_what_is_not_of_the_tone_lies_far_below() -> None:
    # A sine's sidebands at the hop rate, from moving by a fraction of a bin: -55 dB with four taps, -73 dB with six.
    y = shifted(tone(311.1), ratio_of(7.0))[0, SETTLED:-SETTLED]
    power = np.abs(np.fft.rfft(y * signal.windows.blackmanharris(y.size))) ** 2
    hz = np.fft.rfftfreq(y.size, 1.0 / FS)
    own = np.abs(hz - 311.1 * ratio_of(7.0)) < 15.0
    assert db(np.sum(power[~own]) / np.sum(power[own])) < -68.0


@pytest.mark.parametrize("phase", [0.0, np.pi / 2.0])
@pytest.mark.parametrize("steps", [-12.0, -5.0, 3.0, 7.0, 12.0])
def test_shape_of_the_wave_stays(steps: float, phase: float) -> None:
    # PS-5: two harmonics, whose crest factor depends on their phases. Less than 1 dB is asked for.
    t = np.arange(96_000) / FS
    x = 0.2 * np.sin(2.0 * np.pi * 220.0 * t) + 0.2 * np.sin(2.0 * np.pi * 440.0 * t + phase)
    y = shifted(x, ratio_of(steps))[0, SETTLED:-SETTLED]
    assert abs(crest_db(y) - crest_db(x[SETTLED:-SETTLED])) < 0.1
    other = 0.2 * np.sin(2.0 * np.pi * 220.0 * t) + 0.2 * np.sin(2.0 * np.pi * 440.0 * t + phase + 1.2)
    assert abs(crest_db(other) - crest_db(x)) > 0.4


@pytest.mark.parametrize("formant", [0.0, 1.0])
def test_unison_is_the_sound_itself(formant: float) -> None:
    x = 0.1 * np.random.default_rng(1).standard_normal(30_000)
    y = shifted(x, 1.0, formant=formant)[0]
    assert db(np.max((y - x) ** 2) / np.mean(x**2)) < -240.0


@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 96_000.0])
@pytest.mark.parametrize("lowest_hz", [60.0, 110.0, 233.1])
def test_latency_is_what_is_said(lowest_hz: float, rate_hz: float) -> None:
    # PS-8, LA-1: by the peak of the cross-correlation of noise.
    shifter = PeakShifter(lowest_hz, rate_hz, 1)
    x = np.random.default_rng(2).standard_normal(40_000)
    y = shifted(x, 1.0, shifter=shifter, aligned=False)[0]
    lag = int(np.argmax(signal.correlate(y, x, "full", "fft"))) - (x.size - 1)
    assert lag == shifter.latency_samples
    # The issue asks for two periods of the lowest note and 5 ms.
    assert lag <= 2.0 * rate_hz / lowest_hz + 0.005 * rate_hz


def test_frame_holds_four_periods_up_to_50_ms() -> None:
    assert cut_into_frames(110.0, 48_000.0).n == 2048
    assert cut_into_frames(40.0, 48_000.0).n == 2048
    assert cut_into_frames(233.0, 48_000.0).n == 1024
    assert cut_into_frames(110.0, 96_000.0).n == 4096
    with pytest.raises(SettingError, match="allowed up to 655360 Hz"):
        PeakShifter(40.0, 1_000_000.0, 1)


@pytest.mark.parametrize("rate_hz", [16_000.0, 44_100.0, 96_000.0])
@pytest.mark.parametrize("lowest_hz", [27.5, 69.3, 138.6, 247.0, 4186.0])
def test_what_is_heard_of_frames_adds_up_to_one(lowest_hz: float, rate_hz: float) -> None:
    frames = cut_into_frames(lowest_hz, rate_hz)
    heard = np.prod(frames.windows, axis=0) * frames.n / 2.0
    total = np.zeros(4 * frames.hop)
    for t in range(0, 4 * frames.hop, frames.hop):
        for i in range(-frames.hop, frames.hop):
            total[(t + i) % total.size] += heard[i % frames.n]
    assert np.max(np.abs(total - 1.0)) < 1e-12
    # Nothing of a frame is raised by more than 12 dB, so no artefact is.
    assert np.max(frames.windows[1]) * frames.n / 2.0 < 4.0


def test_cosines_and_sines() -> None:
    theta, rotor = np.linspace(-np.pi, np.pi, 1001), np.empty((2, 1001))
    cosines_and_sines(theta, theta.size, rotor)
    assert np.max(np.abs(rotor - [np.cos(theta), np.sin(theta)])) < 3e-9


@pytest.mark.parametrize("steps", [-12.0, -5.0, 7.0, 12.0])
def test_a_click_stays_in_its_window(steps: float) -> None:
    # PS-6: energy outside one window to either side below -20 dB: what is heard of a frame is one window. Nothing at
    # all comes early.
    x = np.zeros(24_000)
    x[12_000] = 1.0
    # An ideal click's spectrum is flat: its peaks would be rounding errors.
    x[12_001:12_040] = 0.02 * np.random.default_rng(6).standard_normal(39)
    y = shifted(x, ratio_of(steps))[0]
    total = np.sum(y**2)
    assert abs(db(total)) < 4.0
    window = 2 * cut_into_frames(LOW_HZ, FS).hop
    far = np.sum(y[: 12_000 - window] ** 2) + np.sum(y[12_000 + window :] ** 2)
    assert db(far / total) < -30.0
    assert np.sum(y[: 12_000 - 96] ** 2) / total < 1e-12


@pytest.mark.parametrize("rise_ms", [1.0, 3.0, 10.0])
@pytest.mark.parametrize("steps", [-12.0, -5.0, 7.0, 12.0])
def test_an_attack_comes_when_it_came(steps: float, rise_ms: float) -> None:
    begin = 24_000
    shape = np.clip((np.arange(48_000) - begin) / (rise_ms * FS / 1000.0), 0.0, 1.0)
    shape = 0.5 - 0.5 * np.cos(np.pi * shape)
    y = shifted(shape * tone(220.0, 30), ratio_of(steps))[0]
    steady = np.mean(y[34_000:42_000] ** 2)
    # The issue asks for 40 dB below the note.
    assert db(np.mean(y[begin - 2048 : begin - 96] ** 2) / steady + 1e-30) < -100.0
    block_ms = 5.0
    block = round(block_ms * FS / 1000.0)
    power = signal.fftconvolve(y**2, np.ones(block) / block, "same")
    half = int(np.argmax(power > steady / 4.0))
    wanted = signal.fftconvolve(shape**2, np.ones(block) / block, "same")
    assert abs(half - int(np.argmax(wanted > 0.25))) < block_ms * FS / 1000.0
    lasting = signal.fftconvolve(y**2, np.ones(960) / 960, "same")[begin + 1_200 : 42_000]
    assert db(np.min(lasting) / steady) > -1.0


def test_a_second_attack_over_a_held_note() -> None:
    # Where it comes between the frames decides; the 40 dB are for a note that begins alone.
    n, early_db = np.arange(48_000), []
    held = 0.5 * tone(220.0, 20)
    alone = shifted(held, ratio_of(-5.0))[0]
    for begin in range(24_000, 25_000, 83):
        unlike = shifted(held + (n >= begin) * tone(330.0, 20), ratio_of(-5.0))[0] - alone
        early_db.append(db(np.mean(unlike[begin - 2048 : begin - 48] ** 2) / np.mean(unlike[34_000:42_000] ** 2)))
    assert np.median(early_db) < -20.0
    assert max(early_db) < -10.0


def resonances(f0_hz: float, scale: float) -> np.ndarray:
    """PS-2: pulses through resonances of Q 10 at 500, 1500 and 2500 Hz, times `scale`."""
    t = np.arange(72_000) / FS
    pulses = sum((np.cos(2.0 * np.pi * k * f0_hz * t) for k in range(1, int(20_000 / f0_hz))), np.zeros(t.size))
    y = np.zeros(t.size)
    for place_hz in (500.0, 1500.0, 2500.0):
        y += signal.lfilter(*signal.iirpeak(place_hz * scale, 10.0, fs=FS), pulses)
    return 0.001 * y


def harmonic_levels_db(y: np.ndarray, f0_hz: float, count: int) -> np.ndarray:
    levels = [20.0 * np.log10(np.mean(partial_at(y, k * f0_hz)[1])) for k in range(1, count + 1)]
    return np.array(levels) - max(levels)


def test_formants_move_or_stay() -> None:
    # PS-2: shift +7. Moving: peaks at 749, 2247, 3746 Hz. Staying: 500, 1500, 2500 Hz, give or take half the spacing of
    # the harmonics, 165 Hz; the harmonics at 330 and 659 Hz lie to either side of the lowest.
    x, new_hz = resonances(220.0, 1.0), 220.0 * ratio_of(7.0)
    moving = harmonic_levels_db(shifted(x, ratio_of(7.0))[0, SETTLED:-SETTLED], new_hz, 14)
    staying = harmonic_levels_db(shifted(x, ratio_of(7.0), formant=1.0)[0, SETTLED:-SETTLED], new_hz, 14)
    places_hz = new_hz * np.arange(1, 15)

    def near(levels: np.ndarray, hz: float) -> float:
        inside = np.abs(places_hz - hz) < 500.0
        return abs(float(places_hz[inside][np.argmax(levels[inside])]) - hz)

    for hz in (749.2, 2247.5, 3745.8):
        assert near(moving, hz) < 165.0
    for hz in (1500.0, 2500.0):
        assert near(staying, hz) < 165.0
    ideal = harmonic_levels_db(resonances(new_hz, 1.0)[SETTLED:-SETTLED], new_hz, 14)
    # An envelope known at every 220 Hz only: 5 dB instead of 10.
    assert np.sqrt(np.mean((staying - ideal) ** 2)) < 6.5
    assert np.sqrt(np.mean((moving - ideal) ** 2)) > 9.0


def test_formant_halfway_lies_between() -> None:
    x, new_hz = resonances(220.0, 1.0), 220.0 * ratio_of(7.0)
    levels = [
        harmonic_levels_db(shifted(x, ratio_of(7.0), formant=f)[0, SETTLED:-SETTLED], new_hz, 14)
        for f in (0.0, 0.5, 1.0)
    ]
    differences = [np.sqrt(np.mean((a - b) ** 2)) for a, b in ((levels[0], levels[1]), (levels[1], levels[2]))]
    assert max(differences) < 0.8 * np.sqrt(np.mean((levels[0] - levels[2]) ** 2))


def lively() -> np.ndarray:
    """Notes, attacks, noise and silence."""
    x = np.concatenate([np.zeros(3_000), tone(220.0, 20, 0.15) + tone(277.2, 20, 0.15), tone(330.0, 20, 0.1)])
    x[5_000:] += 0.02 * np.random.default_rng(3).standard_normal(x.size - 5_000)
    return np.concatenate([x, np.zeros(5_000)])


@pytest.mark.parametrize("begin", [0, 1_000_003])
@pytest.mark.parametrize("span", [1, 7, 509, 512, 4_096])
def test_same_bits_whatever_the_spans(span: int, begin: int) -> None:
    x = lively()
    whole = shifted(x, 1.5, 0.7, formant=0.6, span=x.size + 5_000, begin=begin)
    assert np.isfinite(whole).all()
    assert shifted(x, 1.5, 0.7, formant=0.6, span=span, begin=begin).tobytes() == whole.tobytes()


def test_reset_forgets_everything() -> None:
    x = lively()
    shifter = PeakShifter(LOW_HZ, FS, 2)
    first = shifted(x, 1.5, 0.7, formant=1.0, shifter=shifter)
    shifter.reset()
    assert shifted(x, 1.5, 0.7, formant=1.0, shifter=shifter).tobytes() == first.tobytes()


def test_a_voice_is_the_same_beside_others() -> None:
    x = lively()
    pair = shifted(x, 1.5, 0.7, formant=0.5)
    assert shifted(x, 0.7, formant=0.5)[0].tobytes() == pair[1].tobytes()


def test_nothing_is_heard_before_it_came() -> None:
    x = lively()
    other = x.copy()
    other[9_000:] *= -0.3
    y, z = (shifted(s, 1.5, aligned=False)[0] for s in (x, other))
    assert y[:9_000].tobytes() == z[:9_000].tobytes()


def test_silence_follows_sound_within_the_tail() -> None:
    shifter = PeakShifter(LOW_HZ, FS, 1)
    x = np.concatenate([tone(220.0, 20, 0.3), np.zeros(6_000)])
    y = shifted(x, 0.5, formant=1.0, shifter=shifter)[0]
    end, tail = x.size - 6_000, round(shifter.tail_s * FS)
    assert np.all(y[end + tail :] == 0.0)
    # A block's tail is said to -90 dB, and not more than half as long again as it is.
    above = np.flatnonzero(np.abs(y) > np.max(np.abs(y)) * 10.0 ** (-90.0 / 20.0))[-1] - end
    assert tail / 1.5 < above < tail


def test_a_glide_is_followed() -> None:
    # An octave a second: the voice's phase is the ratio times the horn's, so its pitch is too.
    t = np.arange(48_000) / FS
    course_hz = 220.0 * 2.0**t
    phase = 2.0 * np.pi * np.cumsum(course_hz) / FS
    y = shifted(0.2 * np.sin(phase), 1.5)[0]
    analytic = signal.hilbert(y)[SETTLED:-SETTLED]
    found_hz = np.diff(np.unwrap(np.angle(analytic))) * FS / (2.0 * np.pi)
    cents = 1200.0 * np.log2(found_hz / (1.5 * course_hz[SETTLED : -SETTLED - 1]))
    smooth = np.convolve(cents, np.ones(2_048) / 2_048, "valid")
    assert np.max(np.abs(smooth)) < 2.0


@pytest.mark.parametrize("formant", [0.0, 1.0])
@pytest.mark.parametrize("ratio", [0.25, 0.9, 4.0])
def test_finite_for_anything(ratio: float, formant: float) -> None:
    rng = np.random.default_rng(4)
    x = np.concatenate(
        [1e6 * rng.standard_normal(4_000), np.zeros(5_000), np.ones(5_000), 1e-29 * rng.standard_normal(4_000)]
    )
    x[10_000], x[10_001] = -1e6, 1e300
    y = shifted(x, ratio, formant=formant)
    assert np.isfinite(y).all()
    assert np.max(np.abs(y)) < 1e8


def test_ratios_may_jump_at_any_sample() -> None:
    x = tone(220.0, 20)
    rows = np.where(np.random.default_rng(5).random((1, x.size)) < 0.5, 0.25, 4.0)
    y = np.empty((1, x.size))
    PeakShifter(LOW_HZ, FS, 1).process(0, x, rows, np.full(x.size, 0.5), y)
    assert np.isfinite(y).all()
    assert np.max(np.abs(y)) < 4.0
