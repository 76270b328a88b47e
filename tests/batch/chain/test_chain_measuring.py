"""Chains of known settings, measured: what comes back is what was written, or what follows from it in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import freqz

from chainsim.batch.chain.chain_gates import gate_test
from chainsim.batch.chain.chain_measuring import measure_chain
from chainsim.batch.chain.chain_under_test import ChainUnderTest
from chainsim.errors import SettingError, SketchError
from chainsim.measure.chain_figures import ChainFigures
from chainsim.measure.tail import Tail
from chainsim.sketch.loading import parse_sketch

RATE_HZ = 48_000.0


def measured(block: str, settings: str = "") -> ChainFigures:
    """Figures of a chain of one block."""
    return figures(f'chain = ["it"]\n[blocks.it]\ntype = "{block}"\n{settings}')


def figures(text: str) -> ChainFigures:
    (found,) = measure_chain(parse_sketch(text)).patches
    return found


def tail_of(found: ChainFigures) -> Tail:
    assert found.tail is not None
    return found.tail


def test_a_gain() -> None:
    found = measured("gain", "gain_db = -7.5\nlatency_ms = 7.3")
    assert found.response.gain_db == pytest.approx(-7.5, abs=1e-6)
    assert [step.gain_db for step in found.steps] == pytest.approx([-7.5] * 15, abs=1e-6)
    assert max(step.thd_n_percent for step in found.steps) < 1e-4
    samples = round(7.3e-3 * RATE_HZ)
    assert found.latency.reported_ms[0] == pytest.approx(1000 * samples / RATE_HZ)
    assert found.latency.noise_ms == pytest.approx(1000 * samples / RATE_HZ, abs=1e-3)
    assert found.latency.click_ms == pytest.approx(1000 * samples / RATE_HZ)
    assert (found.noise.rms_dbfs, found.noise.dc_dbfs) == (-math.inf, -math.inf)
    assert found.gates == ()
    assert not found.moves
    assert math.isnan(tail_of(found).decay_s)
    assert found.largest.gain_db == pytest.approx(-7.5, abs=1e-6)
    assert found.remarks == ()


def test_an_equalizer_has_the_cookbook_s_response() -> None:
    # Audio EQ Cookbook, peakingEQ: 1.2 kHz, +9 dB, Q 2.
    w0, amplitude = 2.0 * math.pi * 1_200.0 / RATE_HZ, 10.0 ** (9.0 / 40.0)
    alpha = math.sin(w0) / (2.0 * 2.0)
    b = [1.0 + alpha * amplitude, -2.0 * math.cos(w0), 1.0 - alpha * amplitude]
    a = [1.0 + alpha / amplitude, -2.0 * math.cos(w0), 1.0 - alpha / amplitude]
    found = measured("equalizer", 'bands = [{ shape = "bell", freq_hz = 1200, gain_db = 9, q = 2 }]')
    wanted_db = 20.0 * np.log10(np.abs(freqz(b, a, found.response.freq_hz, fs=RATE_HZ)[1]))
    assert np.max(np.abs(found.response.fine_db - wanted_db)) < 0.01
    assert found.largest.gain_db == pytest.approx(9.0, abs=0.01)
    assert found.largest.freq_hz == pytest.approx(1_200.0, abs=2.0)


def test_a_delay() -> None:
    settings = "time_ms = 180\nfeedback_percent = 60\nwet_db = -3\nlow_cut_hz = 10\nhigh_cut_hz = 18000"
    found = measured("delay", settings)
    echoes = tail_of(found).echoes
    assert echoes is not None
    assert echoes.spacing_ms == pytest.approx(180.0, abs=0.1)
    assert echoes.fall_db == pytest.approx(-20.0 * math.log10(0.6), abs=0.01)
    assert echoes.levels_db[0] == pytest.approx(-3.0, abs=0.01)
    assert tail_of(found).decay_s == pytest.approx(-3.0 * 0.18 / math.log10(0.6), rel=0.01)
    assert found.latency.noise_ms == pytest.approx(0.0, abs=1e-3)
    # In phase all echoes add up: 1 + wet / (1 - g), at multiples of 1 / 0.18 s.
    most_db = 20.0 * math.log10(1.0 + 10.0 ** (-3.0 / 20.0) / 0.4)
    assert found.largest.gain_db == pytest.approx(most_db, abs=0.1)


def test_only_echoes_are_late_and_it_says_so() -> None:
    found = measured("delay", 'time_ms = 180\nfeedback_percent = 0\ndry_db = "off"')
    assert found.latency.noise_ms == pytest.approx(180.0, abs=0.05)
    assert any("180.01 ms later than blocks report" in remark for remark in found.remarks)


@pytest.mark.parametrize("decay_s", [0.6, 2.4])
def test_a_reverb_decays_as_written(decay_s: float) -> None:
    found = measured("reverb", f"decay_s = {decay_s}\nlow_ratio = 1\nhigh_ratio = 1\nwet_db = -9")
    assert [tail_of(found).t20_s, tail_of(found).t30_s] == pytest.approx([decay_s] * 2, rel=0.05)
    assert tail_of(found).echoes is None
    assert found.moves


def test_the_middle_octaves_tell_what_a_reverb_is_set_to() -> None:
    """Its highs die at less than half that time, and pull the figure of all frequencies down."""
    tail = tail_of(measured("reverb", "decay_s = 1.5\nwet_db = -6"))
    assert tail.decay_s == tail.mid_s == pytest.approx(1.5, rel=0.05)
    assert tail.t30_s < 0.9 * tail.mid_s


def test_a_gate() -> None:
    found = measured(
        "noise_gate", "threshold_db = -41\nhysteresis_db = 8\nhold_ms = 120\nrelease_ms = 200\nfloor_db = -35"
    )
    (gate,) = found.gates
    assert gate.name == "it"
    assert gate.opens_dbfs == pytest.approx(-41.0, abs=0.2)
    assert gate.hysteresis_db == pytest.approx(8.0, abs=0.1)
    assert gate.closed_gain_db == pytest.approx(-35.0, abs=0.01)
    assert (gate.openings, gate.closings) == (1, 1)


SHUTTERS = """
chain = ["first", "boost", "second", "wash", "echo"]
blocks.first = { type = "noise_gate", threshold_db = -48, hysteresis_db = 6 }
blocks.boost = { type = "gain", gain_db = 10 }
blocks.second = { type = "noise_gate", threshold_db = -20, hysteresis_db = 3, hold_ms = 400, floor_db = "off" }
blocks.wash = { type = "phaser" }
blocks.echo = { type = "delay" }
"""


def test_every_gate_is_told_whatever_stands_behind_it() -> None:
    sketch = parse_sketch(SHUTTERS)
    first, second = gate_test(ChainUnderTest(sketch, RATE_HZ), 440.0, RATE_HZ)
    assert (first.name, second.name) == ("first", "second")
    assert [first.opens_dbfs, first.closes_dbfs] == pytest.approx([-48.0, -54.0], abs=0.2)
    # 10 dB louder, so 10 dB earlier.
    assert [second.opens_dbfs, second.closes_dbfs] == pytest.approx([-30.0, -33.0], abs=0.2)
    assert second.closed_gain_db == -math.inf


def test_an_echo_is_no_distortion() -> None:
    found = figures("chain = ['gate', 'delay']\nblocks.gate = { type = 'noise_gate', threshold_db = -48 }")
    told = [step.thd_n_percent for step in found.steps if not math.isnan(step.thd_n_percent)]
    assert len(told) >= 10
    assert max(told) < 0.001
    gains = [step.gain_db for step in found.steps]
    assert gains[5:12] == pytest.approx([gains[5]] * 7, abs=0.01)
    assert gains[:5] == pytest.approx([gains[5] - 60.0] * 5, abs=0.01)


def test_a_sine_does_not_lie_in_a_notch() -> None:
    # Beside 1.136 ms of delay lies a notch at 1 / (2 x 1.136 ms) = 440 Hz.
    text = 'chain = [{ lanes = ["dry", "late"], align = false }]\nblocks.late = { type = "gain", latency_ms = 1.136 }'
    found = figures(text)
    assert abs(math.log2(found.sine_hz / 440.0)) > 0.2
    # 2 |cos(pi f t)| at the sine that was chosen.
    assert found.step(-20.0).gain_db == pytest.approx(
        20.0 * math.log10(2.0 * abs(math.cos(math.pi * found.sine_hz * 55.0 / RATE_HZ))), abs=0.01
    )
    assert found.step(-20.0).gain_db > 0.0
    assert any("the sine is one of" in remark for remark in found.remarks)


def test_a_gate_that_lets_noise_through_does_not_move() -> None:
    text = 'chain = ["hiss", "it"]\nblocks.hiss = { type = "noise", level_db = -60 }\n'
    found = figures(text + 'blocks.it = { type = "noise_gate", threshold_db = -40 }')
    assert not found.moves
    assert found.step(-20.0).thd_n_percent > 0.3
    assert math.isnan(found.step(-20.0).thd_percent)


def test_a_compressor_has_its_static_curve() -> None:
    # Giannoulis et al. 2012, eq. 4, at T -20, R 4, W 10.
    settings = "threshold_db = -20\nratio = 4\nknee_db = 10\nattack_ms = 2\nrelease_ms = 50"
    found = measured("compressor", settings)
    for in_dbfs, out_dbfs in (
        (-30.0, -30.0),
        (-25.0, -25.0),
        (-20.0, -20.9375),
        (-15.0, -18.75),
        (-10.0, -17.5),
        (0.0, -15.0),
    ):
        assert found.step(in_dbfs).out_dbfs == pytest.approx(out_dbfs, abs=0.1)
    assert found.gates == ()


def test_what_howls_first_is_heard_in_quiet() -> None:
    """At -30 dBFS rms the compressor has turned down; from quiet its make-up is all there."""
    largest = measured("compressor", "threshold_db = -40\nratio = 10\nmake_up_db = 24").largest
    assert largest.gain_db == pytest.approx(24.0, abs=0.1)
    assert largest.level_dbfs == -60.0


def test_a_hard_clip_distorts_as_its_fourier_series_says() -> None:
    # clip(A sin), A = 2: THD 23.294 %. The oversampled curve rounds the corners by less than 1 % of that.
    settings = 'shape = "hard"\nlow_cut_hz = 10\ntone_hz = 18000\ndrive_db = 6.0206'
    found = measured("drive", settings)
    assert found.step(0.0).thd_percent == pytest.approx(23.294, rel=0.01)
    assert found.step(-20.0).thd_percent < 0.01
    assert found.latency.noise_ms == pytest.approx(found.latency.reported_ms[0], abs=0.03)


VOICES = 'key = "C major"\nchain = [{ lanes = ["dry", { chain = ["it"], level_db = -3 }] }]\n[blocks.it]\n'


@pytest.mark.parametrize(
    "block",
    ['type = "pitch_shifter"\nvoices = [{ interval = "P5 above" }]', 'type = "following_synth"'],
    ids=["shifter", "synth"],
)
def test_voices_that_follow_the_pitch_are_told_apart(block: str) -> None:
    found = figures(VOICES + block)
    assert found.follows_pitch
    assert all(math.isnan(step.thd_percent) for step in found.steps)
    assert any("follow the pitch" in remark for remark in found.remarks)
    assert found.latency.noise_ms == pytest.approx(0.0, abs=0.01)
    reported = found.latency.reported_ms
    if reported[1] > 5.0:  # breath goes the shifter's way, unshifted
        assert found.latency.longest_ms == pytest.approx(reported[1], abs=0.3)


def test_lanes_of_different_latency_arrive_one_by_one() -> None:
    text = 'chain = [{ lanes = ["near", "far"] }]\n[blocks.near]\ntype = "gain"\nlatency_ms = 2\n'
    found = figures(text + '[blocks.far]\ntype = "gain"\nlatency_ms = 9')
    assert found.latency.reported_ms == pytest.approx((2.0, 9.0))
    assert found.latency.noise_ms == pytest.approx(2.0, abs=1e-3)
    assert found.latency.longest_ms == pytest.approx(9.0, abs=1e-3)


PEDAL = """
chain = ["it"]
[blocks.it]
type = "gain"
gain_db = -6
[controllers.slow]
type = "lfo"
rate_hz = 0.02
drives = [{ setting = "it.gain_db", low = -20, high = 5 }]
"""


def test_controllers_are_tried_at_their_ends() -> None:
    found = figures(PEDAL)
    assert found.largest.gain_db == pytest.approx(5.0, abs=1e-6)
    assert found.largest.controllers == "at 1"
    assert found.moves


def test_every_patch_is_measured_alone() -> None:
    text = 'chain = ["it"]\n[blocks.it]\ntype = "gain"\n[patches.soft.blocks.it]\ngain_db = -12\n'
    report = measure_chain(parse_sketch(text + "[patches.off]\nengage = []"))
    assert [p.name for p in report.patches] == ["as written", "soft", "off"]
    assert [p.step(-20.0).gain_db for p in report.patches] == pytest.approx([0.0, -12.0, 0.0], abs=1e-6)
    same = measure_chain(parse_sketch(text + "[patches.again]")).patches
    assert same[2].name == "again"
    assert same[2].response is same[0].response
    (soft,) = measure_chain(parse_sketch(text), "soft").patches
    assert soft.name == "soft"
    with pytest.raises(SettingError, match='no patch "sift"'):
        measure_chain(parse_sketch(text), "sift")


def test_silence_breaks_nothing() -> None:
    found = figures('chain = [{ lanes = [{ chain = [], level_db = "off" }] }]')
    assert found.latency.noise_ms is None
    assert found.tail is None
    assert found.largest.gain_db < -200.0
    assert len(found.remarks) == 2


def test_what_cannot_be_built_names_its_patch() -> None:
    text = 'chain = ["it"]\n[blocks.it]\ntype = "convolver"\nfile = "none.wav"\n[patches.a]\n'
    with pytest.raises(SketchError, match=r"^patches\.a: blocks\.it: "):
        measure_chain(parse_sketch(text), "a")


def test_a_chain_is_as_new_for_every_signal() -> None:
    sketch = parse_sketch('chain = ["delay", "reverb", "noise_gate"]')
    chain = ChainUnderTest(sketch, RATE_HZ)
    x = np.random.default_rng(2).standard_normal(3_000)
    first = chain.send(x, 20_000)
    chain.send(-x, 5_000)
    assert chain.send(x, 20_000).tobytes() == first.tobytes()
