"""The set: sixteen patches about as loud as the plain horn, changes without a click, and a foot that can make them."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim import load_sketch, render
from chainsim.graph.rendering import Rendering, build_graph
from chainsim.horn.examples import write_set_take
from chainsim.measure.loudness import measure_loudness
from chainsim.measure.peaks import measure_peaks
from chainsim.resources import preset_paths
from chainsim.sketch.model import Sketch
from chainsim.sketch.timeline import timeline
from chainsim.stage.board import Position
from chainsim.stage.pitch_track import PitchTrack
from chainsim.stage.walk import walk
from chainsim.units import Array

SET = load_sketch(preset_paths()["harbour_day"])
TAKE = Path(__file__).parents[2] / "audio_examples" / "sets" / "harbour_day_tenor_sax.flac"
RATE_HZ = 44_100.0
ALL_TYPES = (
    "gain", "pan", "equalizer", "noise_gate", "envelope_filter", "delay", "reverb", "blender", "pitch_shifter",
    "following_synth", "wandering_bass",
)  # fmt: skip
VOICES = ("pitch_shifter", "following_synth", "wandering_bass")
PATCHES = [patch for bank in SET.banks for patch in bank.patches]
BEGINS = {bank.name: next(c.at_s for c in SET.cues if c.name == bank.patches[0]) for bank in SET.banks}


@pytest.fixture(scope="module")
def take() -> Array:
    audio: Array
    audio, rate_hz = soundfile.read(TAKE)
    assert rate_hz == RATE_HZ
    return audio


@pytest.fixture(scope="module")
def held() -> Rendering:
    """The cues over one note that is held through all of them: no rest hides a change."""
    t = np.arange(round(45.5 * RATE_HZ)) / RATE_HZ
    note = sum(0.08 / k * np.sin(2.0 * np.pi * 220.0 * k * t) for k in range(1, 9)) * np.minimum(t / 0.3, 1.0)
    return render(SET, note, RATE_HZ, probes=["drone", "stroll"])


def sounding(sketch: Sketch, audio: Array) -> Array:
    """What comes out while the take lasts."""
    heard: Array = render(sketch, audio, RATE_HZ).audio[: len(audio)]
    return heard


def lufs(audio: Array) -> float:
    """Integrated loudness."""
    return measure_loudness(audio, RATE_HZ).integrated_lufs


def own_part(patch: str, take: Array) -> Array:
    """Eight seconds of the take that are played in the patch's bank."""
    bank = next(i for i, b in enumerate(SET.banks) if patch in b.patches)
    begin = round(list(BEGINS.values())[bank] * RATE_HZ)
    return take[begin : begin + round(8.0 * RATE_HZ)]


def without_voices(sketch: Sketch) -> Sketch:
    """The sketch with its voices at no level, and all else as it is."""
    base = sketch.base
    voices = {name: entry for name, entry in base.blocks.items() if entry.type_name in VOICES}
    silent = {n: replace(v, settings=v.settings.model_copy(update={"level_db": -math.inf})) for n, v in voices.items()}
    drives = {at: drive for at, drive in base.drives.items() if at[0] not in voices or at[1] != "level_db"}
    return replace(sketch, base=replace(base, blocks={**base.blocks, **silent}, drives=drives))


def test_it_is_a_whole_set() -> None:
    assert SET.warnings == ()
    assert [len(bank.patches) for bank in SET.banks] == [4, 4, 4, 4]
    assert set(ALL_TYPES) <= {entry.type_name for entry in SET.base.blocks.values()}
    assert {c.type_name for c in SET.controllers.values()} == {"breakpoints", "envelope", "lfo"}
    assert [SET.patches[name].midi_program for name in PATCHES] == list(range(16))
    assert set(PATCHES) == {cue.name for cue in SET.cues if cue.kind == "patch"}
    file, abreast = (SET.patches[name].state for name in ("torches_in_file", "torches_abreast"))
    assert {"sweep", "slap", "hall"} <= file.engaged & abreast.engaged
    assert file.chain != abreast.chain
    tracks = [node for node in build_graph(SET, RATE_HZ).nodes if node.block_class is PitchTrack]
    assert len(tracks) == 1  # for all of its eight voices
    for bank in SET.banks:
        assert SET.patches[bank.patches[0]].state.engaged == {"tone", "hush", "trim", "room", "house"}


def test_the_take_is_made_anew(tmp_path: Path, take: Array) -> None:
    again, rate_hz = soundfile.read(write_set_take(tmp_path))
    assert rate_hz == RATE_HZ
    # one step of 16 bit, since another machine may round a sine otherwise
    assert np.abs(again - take).max() <= 2.0**-15
    assert 40.0 < len(take) / RATE_HZ < 60.0
    assert TAKE.stat().st_size < 1_500_000


@pytest.mark.parametrize("patch", PATCHES)
def test_every_patch_is_as_loud_as_the_plain_horn(patch: str, take: Array) -> None:
    part = own_part(patch, take)
    sketch = SET.alone(patch)
    heard = sounding(sketch, part)
    assert np.isfinite(heard).all()
    # EBU R 128 (2023): at most -1 dBTP; here the take leaves 12 dB, and no patch needs more than 4 of them
    assert measure_peaks(heard, RATE_HZ).true_peak_dbtp < -8.0
    # a mono take feeds both channels, which BS.1770 sums: 3.01 dB; 1 LU to either side is the trim of a careful player
    assert lufs(heard) - lufs(part) == pytest.approx(10.0 * math.log10(2.0), abs=1.0)
    types = {sketch.base.blocks[name].type_name for name in sketch.base.engaged}
    if types & set(VOICES):
        horn = sounding(without_voices(sketch), part)
        # all behind the sum of lanes is linear, so the difference is what the voices bring
        assert -15.0 < lufs(heard - horn) - lufs(horn) < -3.0


def test_the_cues_play_through(take: Array) -> None:
    whole = render(SET, take, RATE_HZ)
    assert whole.warnings == []
    assert np.isfinite(whole.audio).all()
    assert measure_peaks(whole.audio, RATE_HZ).true_peak_dbtp < -8.0
    assert lufs(whole.audio[: len(take)]) - lufs(take) == pytest.approx(10.0 * math.log10(2.0), abs=1.0)
    assert np.abs(whole.audio[-64:]).max() < 1e-5


def test_no_cue_clicks(held: Rendering) -> None:
    """At most the steps of the patches before and after, each as it sounds beside the change, and 1e-3."""
    steps = np.abs(np.diff(held.audio, axis=0)).max(axis=1)
    changes = [at_s for at_s, _ in timeline(SET)][1:]
    assert len(changes) == 30
    for at_s in changes:
        # 10 ms of ramps and 20 ms until shifted voices are there
        edges = [round((at_s + away_s) * RATE_HZ) for away_s in (-0.2, -0.002, 0.032, 0.2)]
        before, change, after = (steps[a:b].max() for a, b in itertools.pairwise(edges))
        assert change <= max(before, after) + 1e-3, at_s


def test_the_mute_is_silence(held: Rendering) -> None:
    off_s, on_s = (cue.at_s for cue in SET.cues if cue.kind == "mute")
    muted = held.audio[round((off_s + 0.011) * RATE_HZ) : round(on_s * RATE_HZ)]
    assert len(muted) > 2.0 * RATE_HZ
    assert not np.any(muted)
    assert np.abs(held.audio[round((on_s + 0.011) * RATE_HZ) :]).max() > 0.1


@pytest.mark.parametrize("voice", ["drone", "stroll"])
def test_drone_and_bass_end_when_they_are_left(voice: str, held: Rendering) -> None:
    sounds = np.abs(held.probes[voice]).max(axis=1)
    spans = [(a, b) for (a, state), (b, _) in itertools.pairwise(timeline(SET)) if voice in state.engaged]
    inside = np.zeros(sounds.size, np.bool_)
    for begin_s, end_s in spans:
        # 10 ms of ramp
        span = slice(round(begin_s * RATE_HZ), round((end_s + 0.01) * RATE_HZ) + 1)
        assert sounds[span].max() > 0.01
        inside[span] = True
    assert spans
    assert not np.any(sounds[~inside])


def test_the_bars_are_those_of_the_take() -> None:
    """Four bars at 88, five and 2.5 beats at 126, 1.5 beats and three bars at 66, all in 4/4 from 0.6 s on."""
    noon_s = 0.6 + 16 * 60 / 88
    dusk_s = noon_s + 22.5 * 60 / 126 + 1.5 * 60 / 66
    finale_s = dusk_s + 12 * 60 / 66
    begins = {cue.bar: cue.at_s for cue in SET.cues}
    assert begins["5"] == pytest.approx(noon_s)
    assert begins["11"] == pytest.approx(dusk_s)
    # here a foot has tapped the tempo
    assert begins["14"] == pytest.approx(finale_s, abs=0.02)
    assert begins["20"] == pytest.approx(begins["14"] + 24 * 60 / 138)


def test_one_foot_can_make_it() -> None:
    cues, last_s = SET.cues, soundfile.info(TAKE).duration
    assert 20 <= len(cues) <= 40
    steps = walk(SET.board, cues, SET.foot, last_s).steps
    assert [step.line for step in steps if step.verdict != "possible" or step.passes] == []


def test_every_switch_reaches_what_it_says() -> None:
    under = SET.board
    position = under.start()
    for bank in SET.banks:
        for switch, patch in zip("ABCCC", [*bank.patches, bank.patches[2]], strict=True):
            position = under.press(position, switch)
            assert position.patch == patch
            assert under.lamps(position)[switch] or patch == bank.patches[3]
            assert_one_gesture_away(position)
        position = under.press(position, "D")
    assert position.bank == 0
    assert under.hold(position, "D").bank == 3
    assert under.pressed(position, "E").kind == "tap"


def assert_one_gesture_away(position: Position) -> None:
    """Dry, mute and echo are held from here, each changes nothing else, and once more it is as before."""
    under = SET.board
    aims = {
        "A": replace(position, dry=True),
        "B": replace(position, muted=True),
        "C": replace(position, switched=frozenset({("echo", True)})),
    }
    for switch, aim in aims.items():
        assert under.hold(position, switch) == aim
        assert under.hold(aim, switch) == position


def high_share_db(sound: Array) -> float:
    """Power over 8 kHz against that of all."""
    power = np.abs(np.fft.rfft(sound)) ** 2
    high = np.fft.rfftfreq(sound.size, 1.0 / RATE_HZ) > 8_000.0
    return 10.0 * math.log10(float(np.sum(power[high]) / np.sum(power)))


def test_the_rooms_differ(take: Array) -> None:
    part = own_part("torches_in_file", take)[: round(3.0 * RATE_HZ)]
    home, hall, quay = (
        render(sketch.alone("torches_in_file"), part, RATE_HZ).audio
        for sketch in (SET, SET.in_room("customs_hall"), SET.in_room("quay"))
    )
    assert hall.shape[1] == 1
    folded = home.mean(axis=1, keepdims=True)
    # a shelf of -3 dB over 4 kHz, which is most of its way there an octave above
    assert high_share_db(hall[: len(part), 0]) - high_share_db(folded[: len(part), 0]) < -2.5
    after = slice(len(part) + round(0.5 * RATE_HZ), len(part) + round(1.5 * RATE_HZ))
    assert np.sum(hall[after] ** 2) < 0.1 * np.sum(folded[after] ** 2)
    np.testing.assert_allclose(quay, 10.0 ** (-5.0 / 20.0) * home, rtol=1e-9, atol=1e-15)
