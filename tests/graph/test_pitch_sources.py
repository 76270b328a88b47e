"""What follows the pitch in a graph: one tracker for equal users, the sources a block may have, patches, loops."""

from __future__ import annotations

from pathlib import Path

import mido
import numpy as np
import pytest

from chainsim.dsp.pitch_rows import F0_HZ, ROWS, VOICED
from chainsim.errors import GraphError, SketchError
from chainsim.graph.build import Graph, GraphBuilder
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.sketch.loading import load_sketch, parse_sketch
from chainsim.stage.midi_part import MidiPart
from chainsim.stage.pitch_track import PitchTrack
from chainsim.stage.tracked_midi import TrackedMidi
from tests.graph import trivial_blocks  # noqa: F401  (registers the blocks)

RATE_HZ = 16_000.0

TWO_VOICES = """
instrument = "tenor sax"
chain = [{ lanes = ["dry", ["shade"], ["under"]] }]
[blocks.shade]
type = "following_synth"
[blocks.under]
type = "following_synth"
voices = [{ interval = "P8 below" }]
"""


def tones(*notes_hz: float, each_s: float = 0.4) -> np.ndarray:
    """Notes of eight harmonics with short rests between them, shape (1, frames)."""
    n = np.arange(round(each_s * RATE_HZ))
    shape = np.minimum(1.0, np.minimum(n, n[::-1]) / (0.01 * RATE_HZ))
    rest = np.zeros(round(0.1 * RATE_HZ))
    parts = [rest]
    for f in notes_hz:
        parts += [0.2 * shape * sum(np.sin(2.0 * np.pi * k * f * n / RATE_HZ) / k for k in range(1, 9)), rest]
    return np.concatenate(parts)[np.newaxis]


def of_class(graph: Graph, cls: type) -> list:
    return [n for n in graph.nodes if n.block_class is cls]


def pitch_at(y: np.ndarray, at_s: float) -> float:
    """Strongest frequency around a moment, by a zero-padded FFT of 0.1 s."""
    piece = y[round((at_s - 0.05) * RATE_HZ) : round((at_s + 0.05) * RATE_HZ)]
    level = np.abs(np.fft.rfft(piece * np.hanning(piece.size), 1 << 18))
    return float(np.argmax(level) * RATE_HZ / (1 << 18))


def test_equal_users_share_one_tracker() -> None:
    graph = build_graph(parse_sketch(TWO_VOICES), RATE_HZ)
    assert len(of_class(graph, PitchTrack)) == 1


def test_users_that_hear_something_else_have_their_own() -> None:
    text = TWO_VOICES.replace('["under"]', '["squeeze", "under"]') + "[blocks.squeeze]\ntype = 'noise_gate'\n"
    graph = build_graph(parse_sketch(text), RATE_HZ)
    assert len(of_class(graph, PitchTrack)) == 2
    same = text.replace('voices = [{ interval = "P8 below" }]', 'listens_to = "input"')
    assert len(of_class(build_graph(parse_sketch(same), RATE_HZ), PitchTrack)) == 1


def test_sketches_of_a_union_share_it_and_sound_as_alone() -> None:
    one, two = parse_sketch(TWO_VOICES), parse_sketch(TWO_VOICES.replace("P8 below", "P5 above"))
    builder = GraphBuilder(RATE_HZ)
    builder.add(one, label="one")
    builder.add(two, label="two")
    union = builder.build()
    assert len(of_class(union, PitchTrack)) == 1
    x = tones(220.0, 330.0)
    both = render_graph(union, x)
    for label, sketch in (("one", one), ("two", two)):
        alone = render_graph(build_graph(sketch, RATE_HZ), x)["out"]
        assert both[f"{label}:out"][:, : alone.shape[1]].tobytes() == alone.tobytes()


@pytest.mark.parametrize("source", ["track", "tracked_midi"])
def test_same_bytes_for_any_cuts_and_threads(source: str) -> None:
    sketch = parse_sketch(TWO_VOICES.replace("[blocks.under]", f'source = "{source}"\n[blocks.under]'))
    x = tones(220.0, 247.0)
    whole = render_graph(build_graph(sketch, RATE_HZ), x)["out"]
    assert np.max(np.abs(whole)) > 0.1
    for chunk, threads in ((509, 1), (1_000, 2), (97, 3)):
        cut = render_graph(build_graph(sketch, RATE_HZ), x, chunk=chunk, threads=threads)["out"]
        assert cut.tobytes() == whole.tobytes(), (chunk, threads)


def test_the_voice_is_at_its_interval() -> None:
    sketch = parse_sketch(TWO_VOICES.replace('["dry", ["shade"], ["under"]]', '[["under"]]'))
    y = render_graph(build_graph(sketch, RATE_HZ), tones(220.0, 330.0))["out"][0]
    assert pitch_at(y, 0.4) == pytest.approx(110.0, rel=0.002)
    assert pitch_at(y, 0.9) == pytest.approx(165.0, rel=0.002)


def test_a_midi_file_leads_the_voice_whatever_is_played(tmp_path: Path) -> None:
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.Message("note_on", note=69, velocity=100, time=240))
    track.append(mido.Message("note_off", note=69, velocity=0, time=480))
    file.save(tmp_path / "line.mid")
    (tmp_path / "t.toml").write_text('chain = ["lead"]\n[blocks.lead]\ntype = "following_synth"\nsource = "line.mid"\n')
    sketch = load_sketch(tmp_path / "t.toml")
    graph = build_graph(sketch, RATE_HZ)
    assert len(of_class(graph, MidiPart)) == 1
    assert of_class(graph, PitchTrack) == []
    y = render_graph(graph, tones(220.0, 330.0))["out"][0]
    assert np.max(np.abs(y[: round(0.249 * RATE_HZ)])) == 0.0  # 240 ticks at 120 a minute
    assert pitch_at(y, 0.5) == pytest.approx(440.0, rel=0.001)


def test_a_missing_midi_file_is_a_fault_of_the_sketch(tmp_path: Path) -> None:
    (tmp_path / "t.toml").write_text('chain = ["lead"]\n[blocks.lead]\ntype = "following_synth"\nsource = "no.mid"\n')
    with pytest.raises(SketchError, match=r"no\.mid"):
        build_graph(load_sketch(tmp_path / "t.toml"), RATE_HZ)


def test_a_converter_sits_beside_the_audio_path_and_shares_the_track() -> None:
    text = TWO_VOICES.replace("[blocks.under]", 'source = "tracked_midi"\nconverter_latency_ms = 20.0\n[blocks.under]')
    graph = build_graph(parse_sketch(text), RATE_HZ)
    converters = of_class(graph, TrackedMidi)
    assert len(converters) == 1
    assert converters[0].controls["pitch"] is of_class(graph, PitchTrack)[0]
    assert converters[0].block.age_samples == 320.0
    assert graph.latency == (0.0, 0.0)  # the horn itself is not late


def test_only_copies_of_one_sound_form_a_comb() -> None:
    def combs(chain: str) -> list[str]:
        late = '[blocks.lead]\ntype = "following_synth"\n[blocks.late]\ntype = "gain"\nlatency_ms = 10\n'
        graph = build_graph(parse_sketch(f"chain = [{{ lanes = {chain} }}]\n{late}"), RATE_HZ)
        return [w for w in graph.warnings if "comb" in w]

    assert combs('["dry", ["lead", "late"]]') == []  # beside the horn a voice of its own
    assert len(combs('["dry", ["late"]]')) == 1
    assert len(combs('["dry", ["lead", { lanes = ["dry", ["late"]] }]]')) == 1  # the voice beside itself
    assert len(combs('["dry", ["lead"], ["late"]]')) == 1


def test_the_tracker_hears_the_range_of_the_horn_or_what_is_written() -> None:
    def looked(text: str) -> tuple[float, float]:
        settings = of_class(build_graph(parse_sketch(text), 48_000.0), PitchTrack)[0].settings
        return settings.low_hz, settings.high_hz

    low, high = looked(TWO_VOICES)
    assert low == pytest.approx(103.83 / 2 ** (1 / 12), rel=1e-3)  # Ab2, reference table of CHECKS PI; a semitone more
    assert high > 622.25  # Eb5, and altissimo beyond
    assert looked("lowest_hz = 90.0\nhighest_hz = 700.0\n" + TWO_VOICES) == (90.0, 700.0)
    assert looked(TWO_VOICES.replace('instrument = "tenor sax"', "")) == (40.0, 2000.0)
    with pytest.raises(SketchError, match="allowed the lower end first"):
        parse_sketch("lowest_hz = 900.0\nhighest_hz = 700.0\n" + TWO_VOICES)


SET = """
instrument = "tenor sax"
chain = [{ lanes = ["dry", ["shade"]] }]
[blocks.shade]
type = "following_synth"
listens_to = "input"
[patches.plain]
engage = []
[patches.shaded]
engage = ["shade"]
[[cues]]
at_s = 0.2
patch = "plain"
[[cues]]
at_s = 0.9
patch = "shaded"
"""


def test_the_tracker_listens_on_while_its_block_is_away() -> None:
    sketch = parse_sketch(SET)
    graph = build_graph(sketch, RATE_HZ)
    (tracker,) = of_class(graph, PitchTrack)
    assert [start for start, _ in tracker.awake] == [0]
    x = tones(220.0, 330.0, each_s=0.6)
    y = render_graph(graph, x)["out"]
    away = slice(round(0.25 * RATE_HZ), round(0.64 * RATE_HZ))
    assert y[0, away].tobytes() == x[0, away].tobytes()
    voice = y[0, : x.shape[1]] - x[0]
    assert pitch_at(voice, 1.05) == pytest.approx(330.0, rel=0.002)  # the moment it is back it knows the note
    for chunk in (331, 4_000):
        assert render_graph(build_graph(sketch, RATE_HZ), x, chunk=chunk)["out"].tobytes() == y.tobytes()


VOICES_BY_PATCH = """
instrument = "tenor sax"
chain = ["tone", { lanes = ["dry", ["shade"], ["under"], ["squeeze", "third"]] }]
[blocks.tone]
type = "gain"
[blocks.shade]
type = "following_synth"
[blocks.under]
type = "following_synth"
voices = [{ interval = "P8 below" }]
[blocks.squeeze]
type = "noise_gate"
when_off = "silent"
[blocks.third]
type = "following_synth"
[patches.one]
engage = ["tone", "shade"]
[patches.two]
engage = ["tone", "under"]
[patches.three]
engage = ["tone", "squeeze", "third"]
[patches.none]
engage = ["tone"]
"""


@pytest.mark.parametrize(
    ("then", "trackers"),
    [
        (["one", "two", "none", "one"], 1),  # both hear the gain
        (["one", "two", "three"], 2),  # the third hears what the gate lets through
        (["one", "two", "bare"], 2),  # the gain gone, one hears now the gain and now the take, the other the gain alone
    ],
)
def test_voices_of_a_set_share_a_tracker_if_they_always_hear_the_same(then: list[str], trackers: int) -> None:
    text = VOICES_BY_PATCH + '[patches.bare]\nengage = ["shade"]\n'
    text += "".join(f'[[cues]]\nat_s = {0.1 * k}\npatch = "{name}"\n' for k, name in enumerate(then))
    assert len(of_class(build_graph(parse_sketch(text), RATE_HZ), PitchTrack)) == trackers


def test_a_shared_tracker_hears_on_where_no_voice_is_engaged() -> None:
    """Away from 0.2 s, back at 1 s in the second note, which began at 0.8 s: the voice knows it at once."""
    text = VOICES_BY_PATCH + "".join(
        f'[[cues]]\nat_s = {at_s}\npatch = "{name}"\n' for at_s, name in ((0, "one"), (0.2, "none"), (1.0, "two"))
    )
    x = tones(220.0, 330.0, each_s=0.6)
    y = render_graph(build_graph(parse_sketch(text), RATE_HZ), x)["out"]
    voice = y[0, : x.shape[1]] - x[0]
    assert not voice[round(0.25 * RATE_HZ) : round(0.99 * RATE_HZ)].any()
    assert pitch_at(voice, 1.06) == pytest.approx(165.0, rel=0.002)


def test_a_tracker_downstream_of_its_own_voice_is_refused() -> None:
    text = 'chain = ["lead", "loud"]\n[blocks.lead]\ntype = "following_synth"\nlistens_to = "loud"\n[blocks.loud]\n'
    with pytest.raises(GraphError, match="loop"):
        build_graph(parse_sketch(text + 'type = "gain"\n'), RATE_HZ)


def test_two_channels_are_heard_as_their_mean() -> None:
    track = PitchTrack(PitchTrack.settings_type())
    from chainsim.block import Context, Io, Moving

    x = tones(220.0)
    stereo = np.vstack([2.0 * x, 0.0 * x])
    rows = []
    for sound in (x, stereo):
        track.prepare(Context(RATE_HZ, {"in": sound.shape[0]}, len(ROWS)))
        track.reset()
        y = np.empty((len(ROWS), x.shape[1]))
        track.process(Io(0, x.shape[1], {"in": sound}, {}, Moving({}), y, np.empty((0, x.shape[1]))))
        rows.append(y)
    assert rows[0].tobytes() == rows[1].tobytes()
    middle = round(0.3 * RATE_HZ)
    assert rows[0][VOICED, middle] == 1.0
    assert rows[0][F0_HZ, middle] == pytest.approx(220.0, rel=1e-3)


def test_patches_that_turn_a_chain_round_a_voice_get_a_second_tracker() -> None:
    """In one patch the voice stands before the pan, in the other behind it: no loop, and the voice knows its pitch."""
    lanes = '{ lanes = ["dry", "shade"] }'
    text = f"""
instrument = "tenor sax"
chain = ["tone", {lanes}, "place"]
[blocks.tone]
type = "gain"
gain_db = -3
[blocks.shade]
type = "following_synth"
[blocks.place]
type = "pan"
[patches.one]
[patches.other]
chain = ["place", {lanes}, "tone"]
"""
    cues = '[[cues]]\nat_s = 0\npatch = "one"\n[[cues]]\nat_s = 0.5\npatch = "other"\n'
    x = tones(220.0, 330.0)
    graph = build_graph(parse_sketch(text + cues), RATE_HZ)
    assert len(of_class(graph, PitchTrack)) == 2
    y = render_graph(graph, x)["out"]
    assert pitch_at(y[0] - 0.708 * np.pad(x[0], (0, y.shape[1] - x.shape[1])), 0.8) == pytest.approx(330.0, rel=0.01)


def test_a_controller_that_one_patch_puts_behind_what_it_drives_in_another() -> None:
    text = """
chain = ["tone", "sweep"]
[blocks.tone]
type = "gain"
[blocks.sweep]
type = "envelope_filter"
[controllers.loud]
type = "envelope"
listens_to = "tone"
drives = [{ setting = "sweep.q", low = 1, high = 8 }]
[patches.one]
[patches.other]
chain = ["sweep", "tone"]
[patches.other.controllers.loud]
drives = []
"""
    cues = "".join(f'[[cues]]\nat_s = {t}\npatch = "{p}"\n' for t, p in ((0, "one"), (0.2, "other"), (0.4, "one")))
    y = render_graph(build_graph(parse_sketch(text + cues), RATE_HZ), tones(220.0))["out"]
    assert 0.1 < np.abs(y).max() < 4.0
