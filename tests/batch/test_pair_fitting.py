"""Blocks fitted to boxes that are blocks of ours with known settings, 20 dB over noise: the settings come back."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from chainsim.batch.pair.fitting import PairFit, check_can_fit, fit_block
from chainsim.batch.pair.measuring import measure_sounds
from chainsim.batch.pair.recordings import Pair
from chainsim.batch.pair.starts import RECIPES
from chainsim.block import block_type_names
from chainsim.errors import SettingError
from chainsim.sketch.loading import parse_sketch
from tests.measure.pair_sounds import RATE_HZ, boxed, horn, noisy

SHORT = round(2.5 * RATE_HZ)


def fitted(type_name: str, **settings: Any) -> PairFit:
    dry = horn()[:SHORT]
    pair = Pair(dry, noisy(boxed(dry, type=type_name, **settings), dry.size), RATE_HZ)
    return fit_block(pair, measure_sounds(pair), type_name)


@pytest.mark.parametrize(
    ("type_name", "settings", "within"),
    [
        ("gain", {"gain_db": -4.3, "latency_ms": 7.3125}, {"gain_db": 0.02, "latency_ms": 0.01}),
        ("tremolo", {"rate_hz": 4.7, "depth": 0.5, "phase": 0.1}, {"rate_hz": 0.01, "depth": 0.01, "phase": 0.01}),
        (
            "delay",
            {"time_ms": 212.4, "feedback_percent": 45.0, "dry_db": -2.0, "wet_db": -8.0},
            {"time_ms": 0.02, "feedback_percent": 2.0, "dry_db": 0.1, "wet_db": 0.3},
        ),
        ("compressor", {"threshold_db": -26.0, "ratio": 4.0, "make_up_db": 4.0}, {"threshold_db": 1.0, "ratio": 0.3}),
    ],
)
def test_known_settings_come_back(type_name: str, settings: dict[str, float], within: dict[str, float]) -> None:
    fit = fitted(type_name, **settings)
    for name, tolerance in within.items():
        assert fit.settings[name] == pytest.approx(settings[name], abs=tolerance), name
    # all that is left is the noise: 20 dB
    assert fit.residual_db == pytest.approx(-20.0, abs=0.1)
    assert "noise, -" in fit.notes[-1]
    box = parse_sketch(fit.sketch).base.blocks["box"]
    assert box.type_name == type_name


def test_an_equalizer_sounds_as_the_box_does() -> None:
    bell = "[{ freq_hz = 900.0, gain_db = 7.0, q = 1.2 }]"
    dry = horn()[:SHORT]
    wet = noisy(boxed(dry, type="equalizer", bands=bell), dry.size)
    pair = Pair(dry, wet, RATE_HZ)
    fit = fit_block(pair, measure_sounds(pair), "equalizer")
    assert fit.residual_db == pytest.approx(-20.0, abs=0.2)
    loudest = max(theirs for _, theirs, _ in fit.bands_db)
    for hz, theirs, ours in fit.bands_db:
        if theirs > loudest - 12.0:
            assert ours == pytest.approx(theirs, abs=0.2), hz


def test_a_sketch_that_is_written_says_what_of() -> None:
    written = tomllib.loads(fitted("gain", gain_db=2.0).sketch)
    assert written["title"] == "gain that comes nearest to what made wet of dry"
    assert written["chain"] == ["box"]


def test_types_that_cannot_be_fitted_are_refused_with_those_that_can() -> None:
    assert set(RECIPES) <= set(block_type_names())
    with pytest.raises(SettingError, match="allowed compressor, delay, equalizer") as refused:
        check_can_fit("reverbs")
    assert 'did you mean "reverb"' in str(refused.value)
