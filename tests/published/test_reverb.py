"""The reverb against closed forms of feedback delay networks, echo density, and decay times measured after ISO 3382."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.ndimage import median_filter
from scipy.signal import lfilter, sosfreqz

from chainsim.block import Io, Moving
from chainsim.dsp.absorption import HIGH_HZ, LOW_HZ, SECTIONS, corner, design_absorption
from chainsim.dsp.diffusion import diffuse_span, disperse_span
from chainsim.dsp.fdn import (
    LINES,
    PAIRS,
    SPAN,
    Tank,
    absorb_lines,
    end_span,
    flip_to_rows,
    mix_lines,
    read_lines,
    turn_pairs,
    write_lines,
)
from chainsim.dsp.fdn_spaces import SPACES, line_lengths
from chainsim.measure.decay import measure_band_decays
from tests.blocks.harness import prepared
from tests.published.echo_density import echo_density, mixing_time_s

FS = 48_000.0
WET = {"dry_db": "off", "wet_db": 0.0, "pre_delay_ms": 0.0, "low_cut_hz": 10.0}
SHORT = np.array([37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83, 89, 97, 101, 103], dtype=np.int64)
TURN_HZ = np.array([1.1, -2.3, 3.1, -4.7, 5.3, -6.1, 7.9, -0.7])


def losses(lengths: np.ndarray, t60_s: float) -> np.ndarray:
    """Nepers a pass: ln 10^(-3 m / (fs T60))."""
    return -3.0 * math.log(10.0) * lengths / (FS * t60_s)


def absorption(lengths: np.ndarray, t60_s: float, low_ratio: float, high_ratio: float, gain: float = 1.0) -> np.ndarray:
    coefficients = np.zeros((4 * SECTIONS + 1, len(lengths)))
    low_w, high_w = corner(LOW_HZ, FS), corner(HIGH_HZ, FS)
    design_absorption(losses(lengths, t60_s), low_ratio, high_ratio, low_w, high_w, gain, coefficients)
    return coefficients


def gain_at(coefficients: np.ndarray, line: int, freqs_hz: np.ndarray) -> np.ndarray:
    """|H| of one line's absorption filter, by scipy."""
    rows = [
        [1.0, *coefficients[4 * s : 4 * s + 2, line], 1.0, *coefficients[4 * s + 2 : 4 * s + 4, line]] for s in range(3)
    ]
    return coefficients[12, line] * np.abs(sosfreqz(np.array(rows), freqs_hz, fs=FS)[1])


def mixing_matrix(tank: Tank, offset: int = 0) -> np.ndarray:
    """A(n) of the network `offset` samples after the start of a span, column by column."""
    columns = np.empty((LINES, LINES))
    for k in range(LINES):
        q = np.zeros((LINES + 2) * SPAN)
        q[SPAN * k] = 0.25
        turn_pairs(tank.turns, tank.waves, offset, 1, q)
        mix_lines(1, q)
        columns[:, k] = q[: LINES * SPAN : SPAN]
    return columns


def circulate(tank: Tank, fed: np.ndarray) -> np.ndarray:
    """Run the network for whole spans, fed (frames, 16); returns left and right, shape (2, frames)."""
    v, q = np.zeros((SPAN, LINES)), np.zeros((LINES + 2) * SPAN)
    out = np.empty((2, len(fed)))
    for n in range(0, len(fed), SPAN):
        read_lines(tank.rings, tank.starts, tank.heads, tank.lengths, SPAN, v)
        absorb_lines(tank.filters, SPAN, v)
        flip_to_rows(v, SPAN, q)
        turn_pairs(tank.turns, tank.waves, 0, SPAN, q)
        q[: LINES * SPAN] += 0.25 * fed[n : n + SPAN].T.ravel()
        mix_lines(SPAN, q)
        write_lines(tank.rings, tank.starts, tank.heads, tank.lengths, SPAN, q)
        end_span(tank.turns, tank.waves, tank.filters)
        out[:, n : n + SPAN] = q[LINES * SPAN :].reshape(2, SPAN)
    return out


def response(seconds: float, **settings: object) -> np.ndarray:
    """Impulse response of the wet sound, both sides, its settings standing still."""
    block = prepared("reverb", **{**WET, **settings})
    frames = round(seconds * FS)
    x, y = np.zeros((1, frames)), np.empty((2, frames))
    x[0, 0] = 1.0
    specs = block.settings.specs().items()
    rows = {k: np.full(frames, s.row_value(getattr(block.settings, k))) for k, s in specs if s.movable}
    block.process(Io(0, frames, {"in": x}, {}, Moving(rows), y, np.empty((0, frames))))
    return y


def test_gain_of_each_line() -> None:
    """By definition: g = 10^(-3 m / (fs T60)), its table for T60 2 s."""
    found = absorption(np.array([1009, 1687, 2003, 3001]), 2.0, 1.0, 1.0)
    assert found[12] == pytest.approx([0.929970, 0.885689, 0.865777, 0.805784], abs=1e-6)
    for line in range(4):
        assert gain_at(found, line, np.array([20.0, 1e3, 2e4])) == pytest.approx(found[12, line], rel=1e-12)


@pytest.mark.parametrize("t60_s", [0.3, 2.0, 8.0])
@pytest.mark.parametrize(("low_ratio", "high_ratio"), [(0.4, 0.4), (2.0, 2.0), (0.4, 2.0), (2.0, 0.4)])
def test_absorption_is_what_the_decay_times_ask_for(t60_s: float, low_ratio: float, high_ratio: float) -> None:
    """T60(f) = -60 m / (fs dB(f)): 5 % from 500 Hz to 2 kHz, 12 % at 125 Hz and 8 kHz, in the paths of all spaces."""
    freqs_hz = np.array([125.0, 500.0, 1000.0, 2000.0, 8000.0])
    wanted = t60_s * np.array([low_ratio, 1.0, 1.0, 1.0, high_ratio])
    for space in SPACES.values():
        lengths = line_lengths(space, 1.0, FS)
        found = absorption(lengths, t60_s, low_ratio, high_ratio)
        for line, m in enumerate(lengths):
            t60 = -60.0 * m / FS / (20.0 * np.log10(gain_at(found, line, freqs_hz)))
            assert np.all(np.abs(t60 / wanted - 1.0) < [0.12, 0.05, 0.05, 0.05, 0.12]), (m, t60)


def test_every_pole_decays_alike() -> None:
    """By definition: the state matrix has one pole radius, 10^(-3 / (fs T60)), for 16 lines; 1 (1e-12) without loss."""
    lengths = np.array([3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 2, 4, 6, 8, 9, 10])
    matrix, ends = mixing_matrix(Tank(SHORT, np.zeros(PAIRS), FS)), np.cumsum(lengths)
    for t60_s, tolerance in ((math.inf, 1e-12), (0.05, 1e-10)):
        gains = absorption(lengths, t60_s, 1.0, 1.0)[12] if t60_s < math.inf else np.ones(LINES)
        state = np.zeros((ends[-1], ends[-1]))
        for start, end in zip(ends - lengths, ends, strict=True):
            state[range(start + 1, end), range(start, end - 1)] = 1.0
        state[np.ix_(ends - lengths, ends - 1)] = matrix * gains
        radii = np.abs(np.linalg.eigvals(state))
        assert radii == pytest.approx(10.0 ** (-3.0 / (FS * t60_s)), abs=tolerance)


@pytest.mark.parametrize("offset", [0, 13, 31])
def test_mixing_is_orthogonal_however_it_has_turned(offset: int) -> None:
    """By definition: ||A A^T - I|| < 1e-12, determinant +-1."""
    matrix = mixing_matrix(Tank(SHORT, TURN_HZ, FS), offset)
    assert np.linalg.norm(matrix @ matrix.T - np.eye(LINES)) < 1e-12
    assert abs(np.linalg.det(matrix)) == pytest.approx(1.0, abs=1e-12)


def test_a_turning_network_without_loss_keeps_its_energy() -> None:
    """Schlecht and Habets 2015: orthogonal at every moment is lossless, moving or not."""
    tank = Tank(SHORT, TURN_HZ, FS)
    tank.coefficients[12] = 0.25
    fed = np.zeros((64, LINES))
    fed[0] = np.random.default_rng(3).standard_normal(LINES)
    circulate(tank, fed)
    for _ in range(3):
        circulate(tank, np.zeros((320 * SPAN, LINES)))
        assert np.sum(tank.rings**2) == pytest.approx(np.sum(fed**2), rel=1e-11)


def test_the_network_is_equation_1() -> None:
    """Against the recursion written out sample by sample with scipy's filters and matrices of its own."""
    frames = 320
    tank = Tank(SHORT, TURN_HZ, FS)
    tank.coefficients[:] = absorption(SHORT, 0.02, 0.5, 0.4, 0.25)
    fed = np.random.default_rng(4).standard_normal((frames, LINES)) * (np.arange(frames) < 40)[:, None]
    left_right = circulate(tank, fed)

    square = np.array([[1, 1, 1, 1], [1, -1, 1, -1], [1, 1, -1, -1], [1, -1, -1, 1]])
    hadamard = np.kron(square, square) / 4.0
    start = 2.0 * np.pi * 0.618034 * np.arange(PAIRS)
    lines = np.zeros((frames + SHORT.max(), LINES))
    coefficients, z = absorption(SHORT, 0.02, 0.5, 0.4), np.zeros((LINES, SECTIONS, 2))
    for n in range(frames):
        v = np.array([lines[n - m, k] if n >= m else 0.0 for k, m in enumerate(SHORT)])
        for k in range(LINES):
            for s in range(SECTIONS):
                b, a = coefficients[4 * s : 4 * s + 2, k], coefficients[4 * s + 2 : 4 * s + 4, k]
                (v[k],), z[k, s] = lfilter([1.0, *b], [1.0, *a], [v[k]], zi=z[k, s])
        v *= coefficients[12]
        angle = start + 2.0 * np.pi * TURN_HZ * n / FS
        turned = np.concatenate(
            [np.cos(angle) * v[:8] - np.sin(angle) * v[8:], np.sin(angle) * v[:8] + np.cos(angle) * v[8:]]
        )
        lines[n] = hadamard @ (turned + fed[n])
        rows = np.kron(square, np.eye(4)) @ (turned + fed[n]) / 4.0
        assert left_right[0, n] == pytest.approx(rows[[0, 5, 10, 15]].sum(), abs=1e-12)
        assert left_right[1, n] == pytest.approx(rows[[4, 1, 14, 11]].sum(), abs=1e-12)


def test_modes_are_dense_enough() -> None:
    """Schroeder 1962: all paths together at least 0.15 T60, here for 3 s (hall, plate) and 2 s."""
    for name, space in SPACES.items():
        assert line_lengths(space, 1.0, FS).sum() / FS > 0.15 * (3.0 if name in ("hall", "plate") else 2.0)


def test_diffuser_is_the_allpass() -> None:
    """By definition: g 0.7, M 113: taps -0.7, 0.51, 0.357 at 0, M, 2M; sum of h^2 = 1."""
    h = np.zeros(64 * SPAN)
    h[0] = 1.0
    head, ring = np.zeros(1, np.int64), np.zeros((1, 113))
    for n in range(0, h.size, SPAN):
        diffuse_span(0.7, np.array([113]), head, ring, SPAN, h[n : n + SPAN])
    assert h[[0, 113, 226]] == pytest.approx([-0.7, 0.51, 0.357], abs=1e-12)
    assert np.sum(h**2) == pytest.approx(1.0, abs=1e-5)  # what 18 passes leave over: 0.7^36
    assert np.count_nonzero(h) == 19


@pytest.mark.parametrize("stretch", [1, 7, 29])
def test_springs_are_a_chain_of_allpasses(stretch: int) -> None:
    """Valimaki, Parker and Abel 2010: ((a + z^-K) / (1 + a z^-K))^S, here by scipy, K (S - 1) samples later."""
    a, springs = 0.75, 32
    x = np.random.default_rng(2).standard_normal(60 * SPAN)
    wanted = np.concatenate([np.zeros((springs - 1) * stretch), x])[: x.size]
    for _ in range(springs):
        wanted = lfilter([a, *np.zeros(stretch - 1), 1.0], [1.0, *np.zeros(stretch - 1), a], wanted)
    y = x.copy()
    head, ring = np.zeros(1, np.int64), np.zeros((stretch, springs))
    waiting, out = np.zeros(stretch * springs + 1), np.zeros(stretch * springs)
    for n in range(0, y.size, SPAN):
        disperse_span(a, head, ring, waiting, out, SPAN, y[n : n + SPAN])
    assert np.max(np.abs(y - wanted)) < 1e-10


MIDDLE_HZ = (250.0, 500.0, 1000.0, 2000.0, 4000.0)


def mean_t30_s(decay_s: float, bands_hz: tuple[float, ...], longest_s: float, **settings: object) -> np.ndarray:
    """T30 by band, averaged over both sides of three sizes: that of one decay of noise scatters."""
    found = [
        [decay.t30_s for decay in measure_band_decays(side, FS, bands_hz).values()]
        for size in (0.94, 1.0, 1.06)
        for side in response(1.2 * longest_s + 0.3, decay_s=decay_s, size=size, **settings)
    ]
    return np.mean(found, axis=0)


@pytest.mark.parametrize("decay_s", [0.3, 0.5, 1.0, 2.0, 4.0, 8.0])
def test_decay_time_in_octaves_of_the_hall(decay_s: float) -> None:
    """ISO 3382-1 T30, the just noticeable difference of 5 %, from 250 Hz to 4 kHz."""
    t30_s = mean_t30_s(decay_s, MIDDLE_HZ, decay_s, high_ratio=1.0)
    assert np.all(np.abs(t30_s / decay_s - 1.0) < 0.05), t30_s


@pytest.mark.parametrize("space", ["room", "plate", "spring"])
@pytest.mark.parametrize("decay_s", [1.0, 3.0])
def test_decay_time_in_octaves_elsewhere(space: str, decay_s: float) -> None:
    t30_s = mean_t30_s(decay_s, MIDDLE_HZ, decay_s, space=space, high_ratio=1.0)
    assert np.all(np.abs(t30_s / decay_s - 1.0) < 0.05), t30_s


@pytest.mark.parametrize(("low_ratio", "high_ratio"), [(0.4, 0.4), (2.0, 2.0), (0.4, 2.0), (2.0, 0.4)])
def test_decay_time_with_ratios(low_ratio: float, high_ratio: float) -> None:
    """T30 as measured: 5 % from 500 Hz to 2 kHz, 12 % at 125 Hz and 8 kHz."""
    decay_s, bands_hz = 2.0, (125.0, 500.0, 1000.0, 2000.0, 8000.0)
    t30_s = mean_t30_s(decay_s, bands_hz, 2.0 * decay_s, low_ratio=low_ratio, high_ratio=high_ratio)
    wanted = decay_s * np.array([low_ratio, 1.0, 1.0, 1.0, high_ratio])
    assert np.all(np.abs(t30_s / wanted - 1.0) < [0.12, 0.05, 0.05, 0.05, 0.12]), t30_s


@pytest.mark.parametrize("space", ["hall", "room", "plate"])
def test_echoes_are_dense_within_100_ms(space: str) -> None:
    """Abel and Huang 2006: 1 is noise; 0.95 within 100 ms."""
    for side in response(1.0, space=space):
        assert mixing_time_s(*echo_density(side, FS), level=0.95) < 0.1


@pytest.mark.parametrize("space", ["hall", "room", "plate", "spring"])
def test_the_sides_are_unlike(space: str) -> None:
    late = response(1.0, space=space)[:, round(0.15 * FS) :]
    assert abs(np.corrcoef(late)[0, 1]) < 0.2


@pytest.mark.parametrize("space", ["hall", "room", "plate", "spring"])
def test_no_resonance_stands_out(space: str) -> None:
    """Late spectrum: no bin 15 dB over the median of its 301 neighbours.

    Bins of noise are exponentially distributed: the highest of 30000 stands 10 log10(ln 30000 / ln 2) = 11.7 dB over
    the median (derived).
    """
    for side in response(2.2, space=space, high_ratio=1.0, decay_s=1.0 if space == "room" else 1.8):
        late = side[round(0.15 * FS) :]
        power = np.abs(np.fft.rfft(late)) ** 2
        over = (power / median_filter(power, size=301))[round(100.0 * late.size / FS) : round(15e3 * late.size / FS)]
        assert 10.0 * np.log10(over.max()) < 15.0
