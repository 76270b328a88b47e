"""The equalizer on its own: what it refuses, what it leaves alone, how long it rings."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from chainsim.dsp import biquad
from chainsim.errors import SettingError
from tests.blocks.harness import prepared, run

FS = 48_000
BANDS: list[dict[str, Any]] = [
    {"shape": "high_pass", "freq_hz": 70.0},
    {"shape": "bell", "freq_hz": 400.0, "gain_db": -3.0, "q": 1.0},
    {"shape": "high_shelf", "freq_hz": 3_000.0, "gain_db": 2.5},
]


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("bands", [BANDS[:1], BANDS], ids=["odd: one", "odd: three"])
def test_cuts_and_reset_leave_the_bits_alone(bands: list[dict[str, Any]], channels: int) -> None:
    x = np.random.default_rng(2).standard_normal((channels, 6_000))
    x[:, 2_000:4_000] = 0.0
    moving = {"gain_db": np.linspace(-12.0, 12.0, 6_000)}
    block = prepared("equalizer", channels=channels, bands=bands, moving=moving)
    whole = run(block, x, moving=moving)
    for size in (1, 7, 64, 509):
        block.reset()
        assert run(block, x, moving=moving, cuts=range(size, 6_000, size)).tobytes() == whole.tobytes()


@pytest.mark.parametrize("bands", [[], [{"freq_hz": 300.0, "gain_db": 0.0}]], ids=["none", "flat bell"])
def test_what_does_nothing_passes_bit_by_bit(bands: list[dict[str, Any]]) -> None:
    x = np.random.default_rng(3).standard_normal((2, 3_000))
    assert run(prepared("equalizer", channels=2, bands=bands), x).tobytes() == x.tobytes()


def test_channels_do_not_mix() -> None:
    x = np.random.default_rng(4).standard_normal((2, 3_000))
    y = run(prepared("equalizer", channels=2, bands=BANDS), x)
    for c in range(2):
        alone = run(prepared("equalizer", bands=BANDS), np.ascontiguousarray(x[c : c + 1]))
        assert y[c].tobytes() == alone[0].tobytes()


@pytest.mark.parametrize(
    ("bands", "message"),
    [
        ([{"shape": "bell", "freq_hz": 5.0}], r"bands\.0\.freq_hz\n.*= 5 Hz, allowed 10 \.\.\. 40000 Hz"),
        ([{"shape": "bell", "gain_db": 30.0}], r"bands\.0\.gain_db\n.*= 30 dB, allowed -24 \.\.\. 24 dB"),
        ([BANDS[0], {"shape": "bel"}], r"bands\.1\.shape\n.*'low_shelf'"),
        ([{"shape": "low_pass", "freq_hz": 900.0, "gain_db": 3.0}], "gain_db = 3 dB, but a low_pass has none"),
        ([{"freq": 900.0}], r"bands\.0\.freq\n.*not permitted"),
        (3 * BANDS, "= 9 bands, allowed up to 8"),
    ],
)
def test_wrong_bands_are_refused(bands: list[dict[str, Any]], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        prepared("equalizer", bands=bands)


def test_frequencies_too_high_for_the_rate_are_refused_all_together() -> None:
    bands = [{"freq_hz": 3_600.0}, {"freq_hz": 3_599.0}, {"shape": "high_shelf", "freq_hz": 5_000.0}]
    with pytest.raises(SettingError) as caught:
        prepared("equalizer", sample_rate_hz=8_000.0, bands=bands)
    assert str(caught.value) == (
        "bands[0].freq_hz = 3600 Hz, allowed below 3600 Hz at this sample rate; "
        "bands[2].freq_hz = 5000 Hz, allowed below 3600 Hz at this sample rate"
    )


@pytest.mark.parametrize(("freq_hz", "q"), [(0.0, 1.0), (24_000.0, 1.0), (1_000.0, 0.0), (float("nan"), 1.0)])
def test_designs_refuse_what_has_no_filter(freq_hz: float, q: float) -> None:
    with pytest.raises(SettingError):
        biquad.low_pass(freq_hz, q, FS)


@pytest.mark.parametrize(
    "bands",
    [
        BANDS,
        BANDS[:1],
        [{"shape": "bell", "freq_hz": 120.0, "gain_db": 24.0, "q": 6.0}],
        [{"shape": "bell", "freq_hz": 300.0, "gain_db": -18.0, "q": 4.0}],
        [{"shape": "low_shelf", "freq_hz": 150.0, "gain_db": -20.0}],
        [{"shape": "notch", "freq_hz": 300.0, "q": 20.0}],
        8 * [{"shape": "low_pass", "freq_hz": 300.0}],
        8 * [{"shape": "high_pass", "freq_hz": 100.0, "q": 0.5}],
    ],
)
def test_tail_is_within_what_is_reported(bands: list[dict[str, Any]]) -> None:
    block = prepared("equalizer", bands=bands)
    end, rest = FS, round(1.2 * block.tail_s * FS) + 480
    rng = np.random.default_rng(8)
    sounds = [rng.standard_normal(end), np.eye(1, end, end - 1)[0]]
    sounds += [np.sin(2.0 * np.pi * f / FS * np.arange(end)) for f in (40.0, 98.0, 120.0, 151.0, 300.0, 2_500.0)]
    measured_s = 0.0
    for sound in sounds:
        block.reset()
        y = np.abs(run(block, np.concatenate([sound, np.zeros(rest)])[None])[0])
        over = np.flatnonzero(y > y.max() * 10.0 ** (-90.0 / 20.0))
        measured_s = max(measured_s, (over[-1] + 1 - end) / FS)
    assert measured_s <= block.tail_s <= 1.5 * measured_s


def test_rings_down_to_nothing() -> None:
    x = np.zeros((1, 2 * FS))
    x[0, :100] = 1.0
    assert not run(prepared("equalizer", bands=BANDS), x)[0, -100:].any()
