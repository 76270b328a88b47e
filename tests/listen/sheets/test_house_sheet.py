"""The house sheet: what is said with and without figures; lowest notes by hand.

Ranges: a tenor sax sounds Ab2 at the lowest, an alto Db3 (any handbook of orchestration); A4 = 440 Hz.
"""

from __future__ import annotations

import math

import pytest

from chainsim.listen.sheets.document import Document
from chainsim.listen.sheets.document_page import document_page
from chainsim.listen.sheets.document_text import document_text
from chainsim.listen.sheets.house_sheet.as_document import house_document
from chainsim.listen.sheets.house_sheet.figures import FeedLevels, HouseFigures, LargestGain, PatchFigures, WayIn
from chainsim.listen.sheets.house_sheet.sheet import HouseSheet, house_sheet
from chainsim.sketch.loading import parse_sketch

SET = """
title = "Two lamps"
tempo_bpm = 120
instrument = "tenor sax"
chain = ["squeeze", "echo", "hall"]
[blocks.squeeze]
type = "compressor"
threshold_db = -30
ratio = 4
[blocks.echo]
type = "delay"
note = "1/8"
feedback_percent = 30
[blocks.hall]
type = "reverb"
space = "hall"
decay_s = 2.2
[patches.plain]
engage = []
[patches.near]
engage = ["squeeze"]
[patches.far]
engage = ["squeeze", "hall"]
tempo_bpm = 60
"""


def sheet(text: str, figures: HouseFigures | None = None) -> HouseSheet:
    return house_sheet(parse_sketch(text), figures=figures)


def lines(document: Document) -> dict[str, str]:
    """What stands beside each word of the first two tables."""
    tables = [part.table for part in document.parts[:2]]
    return {row[0]: row[1] for table in tables if table is not None for row in table.rows}


def figures(*patches: tuple[str, float, float, float, float], levels: FeedLevels | None = None) -> HouseFigures:
    howls = LargestGain("far", 6.2, 812.0)
    return HouseFigures("solo.wav", 12.0, tuple(PatchFigures(*p) for p in patches), levels, howls)


FOUND = figures(
    ("plain", -20.0, -3.0, 104.0, 0.0), ("near", -18.5, -6.0, 104.0, 0.0), ("far", -16.0, -4.5, 98.0, 1.2)
)  # fmt: skip


def test_without_a_take_it_says_what_is_missing() -> None:
    told = lines(house_document(sheet(SET)))
    assert told["level"].startswith("unknown: the sketch has no [levels]")
    assert told["in mono"] == "unknown: print this sheet with a take"
    assert told["loudest, quietest"] == "unknown: print this sheet with a take"
    assert told["who mutes"].startswith("the engineer: the player has no mute")
    assert told["low end"] == "low cut under 104 Hz; lowest notes: horn Ab2 (104 Hz)"


def test_loudest_quietest_and_those_far_from_the_middle() -> None:
    document = house_document(sheet(SET, FOUND))
    told = lines(document)
    assert told["loudest"] == "far: -16.0 LUFS, peak -4.5 dBTP"
    assert told["quietest"] == "plain: -20.0 LUFS, peak -3.0 dBTP"
    assert told["highest peak"] == "-3.0 dBTP (plain): set the gain with this one"
    # Two pairs lie within 3 LU, the louder is -16.0 and -18.5; the third lies 2.75 LU under their mean of -17.25.
    assert told["between them"] == "4.0 LU: ride the fader; against the others plain -2.8 LU"
    assert told["measured with"] == "solo.wav, 12 s; LUFS of both lines together, as a stereo file is measured"
    assert told["low end"] == (
        "low cut under 98 Hz; with this take energy from 98 Hz on (far); lowest notes: horn Ab2 (104 Hz)"
    )
    assert told["howls first"].startswith("near 812 Hz, +6 dB over the dry horn (far)")
    assert told["in mono"] == "safe: the sum loses 1.2 dB at the most (far); half of left plus right"
    loud = figures(("plain", -20.0, -3.0, 104.0, 0.0), ("near", -18.5, -6.0, 104.0, 0.0), ("far", -15.0, -4, 98, 5.0))
    told = lines(house_document(sheet(SET, loud)))
    # Within 3 LU of each other only plain and near, mean -19.25.
    assert told["between them"] == "5.0 LU: ride the fader; against the others far +4.2 LU"
    assert "not safe: the sum loses 5.0 dB" in told["in mono"]
    assert "cancel in far" in told["in mono"]


@pytest.mark.parametrize(("loudest_lufs", "position"), [(-17.0, "one"), (-16.9, "many")])
def test_one_position_of_the_fader_does_for_3_lu_from_loudest_to_quietest(loudest_lufs: float, position: str) -> None:
    # From the middle, -18.4, no patch is 3 LU away in either case.
    lufs = {"plain": -20.0, "near": -18.4, "far": loudest_lufs}
    found = sheet(SET, figures(*((name, value, -3.0, 104.0, 0.0) for name, value in lufs.items())))
    assert found.spread_lu == pytest.approx(loudest_lufs + 20.0)
    # -13.14 and -16.96 are printed as -13.1 and -17.0: 3.9, not 3.8.
    printed = figures(("plain", -13.14, -3.0, 104.0, 0.0), ("near", -16.96, -3.0, 104.0, 0.0))
    assert sheet(SET, printed).spread_lu == 3.9
    assert bool(found.to_ride) == (position == "many")
    assert ("one fader position does" in lines(house_document(found))["between them"]) == (position == "one")


def test_a_patch_with_a_wider_chain_of_its_own_makes_the_feed_stereo() -> None:
    text = 'chain = ["trim"]\n[blocks.trim]\ntype = "gain"\n[blocks.hall]\ntype = "reverb"\n[patches.bare]\n'
    assert sheet(text).channels == 1
    assert sheet(text + '[patches.wide]\nchain = ["hall"]').channels == 2
    assert sheet('feed = "mono"\n' + text + '[patches.wide]\nchain = ["hall"]').channels == 1


def test_the_low_cut_leaves_notes_that_the_take_does_not_hold() -> None:
    high = figures(("plain", -20.0, -3.0, 308.0, 0.0))
    assert lines(house_document(sheet(SET, high)))["low end"].startswith("low cut under 104 Hz; with this take energy")
    low = SET.replace('["squeeze", "echo"', '["low", "squeeze", "echo"').replace('["squeeze", "hall"]', '["low"]') + (
        '[blocks.low]\ntype = "following_synth"\nvoices = [{ pitch = "C0" }]\n'  # 16.35 Hz
    )
    # No loudspeaker gives what is under 30 Hz: it forbids no low cut there.
    told = lines(house_document(sheet(low, high)))["low end"]
    assert told.startswith("low cut under 30 Hz; with this take energy from 308 Hz")
    assert told.endswith("lowest notes: horn Ab2 (104 Hz); low C0 (16 Hz: heard by its overtones)")


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        # The alto's lowest usual note is Db3, 139 Hz; a carrier of 180 Hz makes 1 Hz of F#3 (185 Hz) a little flat.
        ("", "no low cut, bell may sound under every note"),
        ("freq_hz = 100", "low cut under 39 Hz"),
        ("freq_hz = 5", "low cut under 134 Hz"),
        ("freq_hz = 120", "low cut under 30 Hz"),  # 19 Hz: no loudspeaker gives what is under 30
        ('wet_db = "off"', "low cut under 139 Hz"),
        ('follows = "pitch"\nratio = 0.5', "low cut under 69 Hz"),
        ('follows = "pitch"\nratio = 2.25', "low cut under 35 Hz"),  # |2 - 2.25| of it
        ('follows = "pitch"\nratio = 3.0', "low cut under 139 Hz"),  # what is left of the third partial is no tone
        (
            'follows = "pitch"\nratio = 0.5\n[controllers.hand]\ntype = "lfo"\n'
            'drives = [{ setting = "bell.ratio", low = 0.4, high = 0.6 }]',
            "no low cut, bell may sound under every note",
        ),
    ],
)
@pytest.mark.parametrize("switching", ["", 'switching = "free_standing"\nengaged = false\n'])
def test_difference_tones_lie_under_the_horn(settings: str, says: str, switching: str) -> None:
    """|f - c|, also of a box that a switch of its own brings in."""
    board = '[[switches]]\nname = "A"\npress = "block bell"\n' if switching else ""
    bell = f'[blocks.bell]\ntype = "ring_modulator"\n{switching}{settings}\n'
    high = figures(("plain", -20.0, -3.0, 308.0, 0.0))
    told = lines(house_document(sheet(f'instrument = "alto sax"\nchain = ["bell"]\n{bell}{board}', high)))["low end"]
    assert told.startswith(f"{says}; with this take energy")


def test_a_voice_that_a_switch_brings_in_keeps_its_notes() -> None:
    voice = 'type = "following_synth"\nvoices = [{ pitch = "C2" }]\nengaged = false\nswitching = "free_standing"\n'
    board = '[[switches]]\nname = "A"\npress = "block low"\n'
    high = figures(("plain", -20.0, -3.0, 308.0, 0.0))
    told = house_document(sheet(f'instrument = "alto sax"\nchain = ["low"]\n[blocks.low]\n{voice}{board}', high))
    assert lines(told)["low end"].startswith("low cut under 65 Hz; with this take energy")


def test_without_an_instrument_no_low_cut_is_promised() -> None:
    text = SET.replace('instrument = "tenor sax"\n', "")
    high = figures(("plain", -20.0, -3.0, 217.0, 0.0))
    unknown = "what the horn can reach is not known: set instrument"
    assert lines(house_document(sheet(text, high)))["low end"] == f"nothing under 217 Hz in this take; {unknown}"
    assert lines(house_document(sheet(text)))["low end"] == unknown
    assert lines(house_document(sheet("lowest_hz = 100\n" + text, high)))["low end"].startswith("low cut under 98 Hz")


def test_one_patch_alone_is_not_named() -> None:
    text = 'chain = ["hall"]\n[blocks.hall]\ntype = "reverb"'
    found = HouseFigures("solo.wav", 9.0, (PatchFigures("as written", -20.0, -3.0, 98.0, 0.1),), None, None)
    document = house_document(sheet(text, found))
    assert lines(document)["loudness"] == "-20.0 LUFS, peak -3.0 dBTP"
    assert "as written" not in document_text(document)


def test_silent_patches_are_told_as_such() -> None:
    silent = figures(("plain", -math.inf, -math.inf, math.nan, math.nan))
    told = lines(house_document(sheet(SET, silent)))
    assert told["loudest, quietest"] == "silent with this take"


LEVELS = """
[levels]
input_dbu = 4
phantom = %s
"""


def test_levels_and_phantom_supply_follow_the_sketch() -> None:
    ways = (WayIn("passive box 12:1, microphone input", -30.0, -20.0, 20.0, 34.0, needs_phantom=False),)
    levels = FeedLevels(-8.0, 2.0, -70.0, phantom=False, ways=ways)
    told = lines(house_document(sheet(SET + LEVELS % "false", figures(FOUND_ONE, levels=levels))))
    assert told["level"].startswith("-8 dBu while playing, peaks at +2 dBu, before the direct box: line level")
    assert told["noise at rest"] == "-70 dBu, 62 dB under the playing"
    assert told["phantom supply"].startswith("none on this line")
    assert lines(house_document(sheet(SET + LEVELS % "true")))["level"] == "unknown: print this sheet with a take"


FOUND_ONE = ("plain", -20.0, -3.0, 104.0, 0.0)


def test_effects_with_their_times_and_the_patches_that_have_them() -> None:
    found = {e.text: (e.blocks, e.patches) for e in sheet(SET).effects}
    assert found == {
        "compressor (from -30 dB, 4:1)": (("squeeze",), ("near", "far")),
        "reverb (hall, 2.2 s)": (("hall",), ("far",)),
    }
    on = SET.replace('engage = ["squeeze"]', 'engage = ["echo"]').replace('["squeeze", "hall"]', '["echo", "hall"]')
    # An eighth at 120 bpm is 250 ms, at 60 bpm 500 ms.
    assert "delay (1/8 = 250 ms at 120, 500 ms at 60, 30 % again)" in {e.text for e in sheet(on).effects}


def test_an_engineer_may_equalize_though_the_tone_is_shaped() -> None:
    text = 'chain = ["tone", "hall"]\n[blocks.tone]\ntype = "equalizer"\n[blocks.hall]\ntype = "reverb"\n'
    parts = {part.heading: part.table for part in house_document(sheet(text)).parts}
    none = parts["In it already: please add none of these"]
    own = parts["Tone and voices of its own: equalize for the room, not for these"]
    assert none is not None
    assert own is not None
    assert [row[1] for row in none.rows] == ["hall"]
    assert [row[1] for row in own.rows] == ["tone"]


def test_patches_by_name_and_when_they_come() -> None:
    def rows(text: str) -> list[tuple[str, ...]]:
        table = house_document(sheet(text)).parts[-1].table
        assert table is not None
        return [row[:2] for row in table.rows]

    cues = "".join(f'[[cues]]\n{at}\npatch = "{name}"\n' for at, name in (
        ("at_s = 2", "near"), ('at_bar = "3"', "plain"), ("at_s = 6", "plain"), ('at_bar = "5"', "near"),
    ))  # fmt: skip
    # 4/4 at 120 bpm: a bar lasts 2 s. That "plain" is called while it sounds is no entrance.
    assert rows(SET + cues) == [("plain", "bar 3"), ("near", "bar 2, bar 5"), ("far", "")]
    assert rows(SET) == [("plain", ""), ("near", ""), ("far", "")]
    assert house_document(sheet('chain = ["gain"]')).parts[-1].table.rows == ()  # type: ignore[union-attr]


def test_what_was_off_while_it_was_measured_is_told() -> None:
    own = '[[switches]]\nname = "A"\npress = "block echo"\n'
    told = lines(house_document(sheet(SET + own, FOUND)))
    assert told["highest peak"] == "-3.0 dBTP (plain): set the gain with this one, and leave room"
    assert told["measured without"].startswith("echo, by own switch")
    assert "measured without" not in lines(house_document(sheet(SET, FOUND)))


@pytest.mark.parametrize(
    ("block", "name", "freq_hz"),
    [
        ('type = "pitch_shifter"\nvoices = [{ interval = "P8 below" }, { interval = "P5 above" }]', "Ab1", 51.913),
        ('type = "frequency_divider"\ntwo_octaves_down_db = -12', "Ab0", 25.957),
        ('type = "following_synth"\nvoices = [{ pitch = "E1" }]', "E1", 41.203),
        # A sixth below Ab2 in Eb major is C2; middle Ab1 of a walk, four notes of Eb major down: G F Eb D.
        ('type = "pitch_shifter"\nvoices = [{ interval = "sixth below" }]', "C2", 65.406),
        ('type = "wandering_bass"\ninterval = "P8 below"\nrange_steps = 4', "D1", 36.708),
    ],
)
def test_the_lowest_note_of_a_block_that_goes_below_the_horn(block: str, name: str, freq_hz: float) -> None:
    text = f'instrument = "tenor sax"\nkey = "Eb major"\nchain = ["low"]\n[blocks.low]\n{block}'
    horn, low = sheet(text).lowest
    assert (horn.name, horn.freq_hz) == ("Ab2", pytest.approx(103.826, abs=1e-3))
    assert (low.by, low.name, low.freq_hz) == ("low", name, pytest.approx(freq_hz, abs=1e-3))


def test_latency_is_the_chain_s() -> None:
    text = 'chain = [{ lanes = ["dry", "far"] }]\n[blocks.far]\ntype = "gain"\nlatency_ms = 7.5'
    assert sheet(text).latency_ms == (0.0, 7.5)
    assert "0.0 to 7.5 ms after the microphone" in lines(house_document(sheet(text)))["latency"]
    assert lines(house_document(sheet('chain = ["gain"]')))["latency"] == "none in the chain"


def test_mutes_are_the_player_s_where_a_switch_has_one() -> None:
    text = SET + '[[switches]]\nname = "A"\npress = "mute"\nhold = "dry"\n'
    told = lines(house_document(sheet(text)))["who mutes"]
    assert told.startswith("the player (press A); plain horn: hold A;")


def test_it_fits_a_page_of_text_and_its_names_are_escaped() -> None:
    document = house_document(sheet(SET.replace("Two lamps", "<img src=x>"), FOUND))
    assert max(map(len, document_text(document).splitlines())) <= 80
    page = document_page(document)
    assert "<img" not in page
    # Each cell has the name of its column, for windows that are too narrow for columns.
    assert '<td role="cell" data-column="LUFS">-20.0</td>' in page
    assert '<th scope="row" role="rowheader" data-column="patch">plain</th>' in page
    assert '<th scope="row" role="rowheader">low end</th>' in page  # a column without a name
    assert "&lt;img src=x&gt;" in page
