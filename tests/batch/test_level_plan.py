"""The level plan: levels of a sine by hand, noise by power sums, gates at rest, what is warned of."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim.batch.input_level import input_level
from chainsim.batch.level_plan import LevelPlan, plan_levels
from chainsim.block import Assets
from chainsim.errors import SketchError
from chainsim.sketch.levels import LevelSettings
from chainsim.sketch.loading import parse_sketch

FS = 48_000
SINE_DBFS = -6.0


def planned(text: str, take_noise_dbfs: float = -math.inf) -> LevelPlan:
    t = np.arange(2 * FS) / FS
    take = 10.0 ** (SINE_DBFS / 20.0) * np.sin(2.0 * np.pi * 440.0 * t)
    plan = plan_levels(parse_sketch(text), take[:, None].astype(np.float32), FS, take_noise_dbfs)
    assert plan is not None
    return plan


def test_levels_of_a_sine() -> None:
    """-6 dBFS are -2 dBu where full scale is +4, whatever the point, and 12 dB more behind 12 dB of gain."""
    levels = "[levels]\ninput_dbu = 4\noutput_dbu = -10"
    plan = planned(f'chain = ["up"]\n{levels}\n[blocks.up]\ntype = "gain"\ngain_db = 12\nclip_dbu = 8')
    start, up, out = plan.states[0].points
    assert (start.nominal_dbu, start.peak_dbu) == pytest.approx((-2.0, -2.0), abs=0.01)
    assert (up.nominal_dbu, up.peak_dbu, up.headroom_db) == pytest.approx((10.0, 10.0, -2.0), abs=0.01)
    assert out.peak_dbu == pytest.approx(-4.0, abs=0.01)
    (warning,) = plan.states[0].warnings
    assert warning.startswith("up would clip: its peaks of +10.0 dBu are 2.0 dB over the +8 dBu")


NOISY = """
chain = ["down", "hiss", "up"]
[levels]
input_dbu = 0
[blocks.down]
type = "gain"
gain_db = -20
[blocks.hiss]
type = "gain"
noise_dbu = -80
[blocks.up]
type = "gain"
gain_db = 20
"""


def test_noise_adds_up_along_the_chain() -> None:
    """-70 dBFS rms of the take is a sine's -67 dBu; 20 dB lower it meets -80 dBu: -79.68 in all, and 20 dB up again."""
    points = {p.name: p for p in planned(NOISY, -70.0).states[0].points}
    together = 10.0 * math.log10(10.0**-8.0 + 10.0 ** ((-70.0 + 3.0103 - 20.0) / 10.0))
    for name, dbu in (("input", -66.99), ("down", -86.99), ("hiss", together), ("up", together + 20.0)):
        assert points[name].noise_playing_dbu == pytest.approx(dbu, abs=0.1)
        assert points[name].noise_resting_dbu == pytest.approx(dbu, abs=0.1)


def test_gain_that_is_lost_before_noise_is_told() -> None:
    (warning,) = planned(NOISY, -100.0).states[0].warnings
    assert warning.startswith("gain is lost before hiss: -26 dBu go in, 20 dB less than at input")
    first = NOISY.replace('["down", "hiss", "up"]', '["up", "hiss", "down"]').replace(
        "noise_dbu = -80", "noise_dbu = -60"
    )
    (warning,) = planned(first, -100.0).states[0].warnings
    assert warning.startswith("hiss: its own noise costs 17 dB of signal-to-noise; send it more level")
    assert planned(NOISY.replace("noise_dbu = -80", "noise_dbu = -110"), -90.0).states[0].warnings == ()


def test_a_gate_at_rest_and_at_work() -> None:
    """Open under the sine it passes the noise; at rest it lowers it by its floor."""
    text = 'chain = ["noise_gate"]\n[levels]\ninput_dbu = 0\n[blocks.noise_gate]\nthreshold_db = -40\nfloor_db = -30'
    point = planned(text, -80.0).states[0].points[-1]
    assert point.noise_playing_dbu == pytest.approx(-76.99, abs=0.1)
    assert point.noise_resting_dbu == pytest.approx(-106.99, abs=0.1)


def test_noise_is_not_what_it_does_to_a_voice_that_follows() -> None:
    """A synth an octave below turns in phase with every hiss; its whole level would count as noise."""
    text = 'chain = [{ lanes = ["dry", ["following_synth"]] }]\n[levels]\ninput_dbu = 0\n'
    plan = planned(text + "[blocks.following_synth]\nnoise_dbu = -90", -80.0)
    point = plan.states[0].points[-1]
    assert math.isnan(point.noise_playing_dbu)
    assert point.noise_resting_dbu == pytest.approx(10.0 * math.log10(10.0**-7.699 + 10.0**-9.0), abs=0.3)
    assert plan.states[0].warnings == ()
    assert plan.ways[0].noise_dbu < -70.0


def test_every_patch_and_the_loudest_of_them() -> None:
    plan = planned(NOISY + "[patches.a.blocks.up]\ngain_db = 10\n[patches.b.blocks.up]\ngain_db = 24\n")
    assert [s.points[-1].peak_dbu for s in plan.states] == pytest.approx([-6.0, -16.0, -2.0], abs=0.01)
    assert plan.loudest == "b"
    assert plan.ways[0].peak_dbu == pytest.approx(-2.0 - 0.84, abs=0.01)


def test_a_device_noisier_than_full_scale() -> None:
    with pytest.raises(SketchError, match=r"blocks\.hiss\.noise_dbu = -1 dBu is more than full scale holds: -30 dBu"):
        planned(NOISY.replace("-80", "-1").replace("input_dbu = 0", "input_dbu = -30"))


def test_an_active_box_without_its_supply_stands_first() -> None:
    ways = planned(NOISY.replace("input_dbu = 0", "input_dbu = 0\nphantom = false")).ways
    assert [way.arrives for way in ways] == [False, True, True, True]


def test_what_is_assumed_is_told(tmp_path: Path) -> None:
    calibrated(tmp_path, 1e-3)
    found = input_level(LevelSettings(calibration_file="note.wav", loudest_db_spl=100.0), Assets(tmp_path))
    assert found.estimate is not None
    assert "for microphone_mv_per_pa and preamp_gain_db are assumed: say yours" in found.estimate


def calibrated(folder: Path, noise: float, **more: float) -> tuple[float, tuple[str, ...]]:
    """Half a second of noise, then a sine of half full scale; 94 dB SPL at 1 V for 1 Pa unless it says otherwise."""
    rng = np.random.default_rng(5)
    t = np.arange(FS) / FS
    x = np.concatenate([noise * rng.standard_normal(FS // 2), 0.5 * np.sin(2.0 * np.pi * 300.0 * t)])
    soundfile.write(folder / "note.wav", x, FS, subtype="FLOAT")
    settings = LevelSettings(
        calibration_file="note.wav", **{"microphone_mv_per_pa": 2.0, "loudest_db_spl": 94.0, **more}
    )
    found = input_level(settings, Assets(folder))
    return found.full_scale_dbu, found.warnings


def test_an_estimated_input_level(tmp_path: Path) -> None:
    """2 mV, 20 log10(0.002 / 0.7746) = -51.76 dBu, lie at -6.02 dBFS; a preamplifier's 30 dB come on top."""
    assert calibrated(tmp_path, 1e-3)[0] == pytest.approx(-51.76 + 6.02, abs=0.02)
    assert calibrated(tmp_path, 1e-3, preamp_gain_db=30.0)[0] == pytest.approx(-15.74, abs=0.02)
    assert calibrated(tmp_path, 1e-3, loudest_db_spl=114.0) == (pytest.approx(-25.74, abs=0.02), ())


def test_an_estimate_against_physics_is_told(tmp_path: Path) -> None:
    """-100 dBFS under -46 dBu is -143 dBu: quieter than 150 ohm can be (-131 dBu in 20 kHz)."""
    _, (warning,) = calibrated(tmp_path, 1e-5)
    assert "less than a resistance of 150 ohm makes by its warmth (-131 dBu)" in warning


HISS = 1e-3 * np.random.default_rng(6).standard_normal(FS)


@pytest.mark.parametrize(
    ("x", "fault"),
    [
        (np.zeros(FS), "silent"),
        (np.ones(100), "shorter than 125 ms"),
        (HISS, "no note stands out of silence"),
        (np.sin(0.05 * np.arange(FS)), "no note stands out of silence"),
    ],
)
def test_no_note_in_it(tmp_path: Path, x: np.ndarray, fault: str) -> None:
    soundfile.write(tmp_path / "note.wav", x, FS)
    with pytest.raises(SketchError, match=fault):
        input_level(LevelSettings(calibration_file="note.wav"), Assets(tmp_path))
