"""A page of versions: what is on it, from sketches and from folders, and what cannot be."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm
import pytest
import soundfile

from chainsim.batch.listening import page as page_module
from chainsim.batch.listening.comparing import compare_sounds, write_page
from chainsim.batch.listening.made import on_page
from chainsim.batch.listening.wires import WireSounds, wire_sounds
from chainsim.batch.matrix.batching import run_batch
from chainsim.batch.orders.comparing import compare_orders
from chainsim.errors import ChainsimError
from chainsim.graph.rendering import render
from chainsim.listen.page.model import ListeningPage
from chainsim.sketch.loading import load_sketch
from chainsim.units import Array
from tests.cli.running import notes, sketch_file, take_file

RATE_HZ = 8_000
SET = """
title = "Quay <b>"
chain = ["low", "late"]
[blocks.low]
type = "gain"
gain_db = -6
[blocks.late]
type = "gain"
latency_ms = 20
[patches.solo]
chain = ["late"]
[patches.softer]
blocks.low.gain_db = -12
[patches.twin]
chain = ["late"]
"""
PLAIN = 'title = "Pier"\nchain = ["gain"]\n[blocks.gain]\ntype = "gain"\ngain_db = 3\n'


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("compare")
    sketch_file(place, SET, "set.toml")
    sketch_file(place, PLAIN, "plain.toml")
    take_file(place, notes(RATE_HZ, seconds=2.0), RATE_HZ)
    return place


@pytest.fixture(scope="module")
def take(folder: Path) -> Array:
    x: Array = soundfile.read(folder / "take.wav", always_2d=True)[0]
    return x


@pytest.fixture(scope="module")
def both(folder: Path) -> ListeningPage:
    return compare_sounds([folder / "set.toml", folder / "plain.toml"], folder / "take.wav", wires=False)


def decoded(page: ListeningPage, key: str) -> Array:
    sound = next(sound for sound in page.sounds if sound.key == key)
    x: Array = soundfile.read(io.BytesIO(sound.audio), always_2d=True)[0]
    return x


def gain_between(x: Array, y: Array) -> float:
    """By least squares."""
    return float(np.sum(x * y) / np.sum(x * x))


def test_each_patch_and_each_sketch_is_a_version(both: ListeningPage) -> None:
    """Patches "solo" and "twin" are one sound."""
    assert [card.heading for card in both.cards] == ["Quay <b>, solo", "Quay <b>, softer", "Pier"]
    assert both.title == "Quay <b> and 1 more"
    assert [sound.key for sound in both.sounds] == ["take", "version-1", "version-2", "version-3"]
    assert {sound.scene for sound in both.sounds} == {"page"}
    assert any('"Quay <b>, twin" is the same sound as "Quay <b>, solo"' in note for note in both.notes)
    assert [card.also for card in both.cards] == [("Quay <b>, twin",), (), ()]
    assert both.foot is None


def test_a_version_is_what_render_gives(both: ListeningPage, folder: Path, take: Array) -> None:
    """Within 32-bit floats and 24 bit, after trim and latency."""
    rendering = render(load_sketch(folder / "set.toml").alone("softer"), take, RATE_HZ)
    late = round(rendering.latency_samples)
    assert late == 160
    expected = rendering.audio[late : late + len(take)]
    found = decoded(both, "version-2")[: len(take)]
    gain = gain_between(expected, found)
    assert np.max(np.abs(found - gain * expected)) < 2.0**-23
    assert gain_between(take, found) / gain == pytest.approx(10.0 ** (-12.0 / 20.0), rel=1e-6)


def test_figures_and_settings_stand_beside(both: ListeningPage, folder: Path, take: Array) -> None:
    first, softer, plain = both.cards
    figures = [{figure.label: figure.text for figure in card.figures} for card in both.cards]
    assert figures[0]["latency"] == "20.0 ms"
    loudness = [float(f["loudness as it comes"].split()[0]) for f in figures]
    assert loudness[0] - loudness[1] == pytest.approx(12.0, abs=0.11)
    others = load_sketch(folder / "set.toml").alone("softer"), load_sketch(folder / "plain.toml")
    lufs = [pyloudnorm.Meter(RATE_HZ).integrated_loudness(render(s, take, RATE_HZ).audio) for s in others]
    assert loudness[2] - loudness[1] == pytest.approx(lufs[1] - lufs[0], abs=0.11)
    assert first.differs == ""
    assert "beside the first" not in figures[0]
    assert figures[1]["beside the first"] == "0.0 steps"
    assert softer.differs == "adds gain; 12.0 LU softer as it comes; otherwise hardly told apart from it"
    assert "gain_db = -12" in softer.settings
    assert "patches" not in softer.settings
    assert plain.settings == PLAIN
    assert all(card.drawing is not None and 'data-sound="' not in card.drawing for card in both.cards)


def test_sketches_of_one_title_and_file_name_are_told_apart(folder: Path, tmp_path: Path) -> None:
    places = [tmp_path / name for name in ("mole", "slip", "")]
    for gain_db, place in enumerate(places):
        place.mkdir(exist_ok=True)
        sketch_file(place, PLAIN.replace("= 3", f"= {gain_db}"), "plain.toml" if place != tmp_path else "quay.toml")
    sketches = [place / name for place, name in zip(places, ("plain.toml", "plain.toml", "quay.toml"), strict=True)]
    page = compare_sounds(sketches, folder / "take.wav", versions_only=True)
    assert [card.heading for card in page.cards] == ["mole/plain", "slip/plain", "quay"]
    loaded = [load_sketch(sketch) for sketch in sketches[:2]]
    page = compare_sounds(loaded, folder / "take.wav", versions_only=True)
    assert [card.heading for card in page.cards] == ["Pier", "Pier (2)"]

    run_batch(sketches, [folder / "take.wav"], tmp_path / "batch", threads=1)
    assert [card.heading for card in compare_sounds(tmp_path / "batch", versions_only=True).cards] == [
        "mole/plain",
        "slip/plain",
        "quay",
    ]


def test_versions_are_narrowed_to_patches(folder: Path) -> None:
    page = compare_sounds([folder / "set.toml"], folder / "take.wav", patches=["softer", "solo"], wires=False)
    assert [card.heading for card in page.cards] == ["softer", "solo"]


def test_an_excerpt_is_that_part_of_the_whole(folder: Path, take: Array) -> None:
    page = compare_sounds(
        folder / "plain.toml", folder / "take.wav", excerpt_s=(0.5, 1.25), wires=False, loudness_lufs=-30.0
    )
    assert page.starts_s == 0.5
    for key in ("take", "version-1"):
        found = decoded(page, key)
        part = take[4_000:10_000]
        assert found.shape == part.shape
        inner = slice(100, -100)  # the fades are 10 ms
        gain = gain_between(part[inner], found[inner])
        assert np.max(np.abs(found[inner] - gain * part[inner])) < 2.0**-22
        assert abs(found[0, 0]) < 1e-3


def test_a_store_keeps_what_the_last_page_has(folder: Path, tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    sounds = []
    for gain_db in (1, 2):
        sketch = load_sketch(sketch_file(tmp_path, PLAIN.replace("= 3", f"= {gain_db}")))
        compare_sounds(
            sketch, folder / "take.wav", store=tmp_path, versions_only=True, progress=lambda *step: told.append(step)
        )
        sounds.append({path.stem for path in (tmp_path / "audio").iterdir()})
        (tmp_path / "audio" / "mine.wav").touch()
    assert [len(found) for found in sounds] == [1, 2]
    assert sounds[1] == {"mine", *sounds[1] - sounds[0]}
    assert {path.stem for path in (tmp_path / "store").iterdir()} == {"store", *sounds[1] - {"mine"}}
    assert {what for what, _, _ in told} == {"rendering", "sounds of the page"}
    assert told[-1] == ("sounds of the page", 2, 2)


def test_wires_can_be_heard(folder: Path, take: Array, monkeypatch: pytest.MonkeyPatch) -> None:
    """What comes of "low" is the take 6 dB softer; the input is the take, the last wire the version itself."""
    threads: list[int] = []

    def heard(*given: Any, **options: Any) -> WireSounds:
        threads.append(options["threads"])
        return wire_sounds(*given, **options)

    monkeypatch.setattr(page_module, "wire_sounds", heard)
    page = compare_sounds(load_sketch(folder / "set.toml").alone(), folder / "take.wav", threads=3)
    assert threads == [3]
    wires = {sound.name: sound for sound in page.sounds if sound.role == "wire"}
    assert "Quay <b>: low" in wires
    found = decoded(page, wires["Quay <b>: low"].key)[: len(take)]
    assert np.max(np.abs(found - gain_between(take, found) * take)) < 2.0**-22
    drawing = page.cards[0].drawing
    assert drawing is not None
    for key in ("take", "version-1", wires["Quay <b>: low"].key):
        assert f'data-sound="{key}"' in drawing
    assert all(sound.spectrogram is None for sound in wires.values())


def test_a_sketch_whose_response_is_another_by_now_is_not_shown_as_rendered(folder: Path, tmp_path: Path) -> None:
    sketch_file(tmp_path, 'chain = ["hall"]\n[blocks.hall]\ntype = "convolver"\nfile = "hall.wav"\n', "hall.toml")
    soundfile.write(tmp_path / "hall.wav", 0.5 ** np.arange(16.0), RATE_HZ)
    run_batch([tmp_path / "hall.toml"], [folder / "take.wav"], tmp_path / "results", threads=1)
    (same,) = compare_sounds(tmp_path / "results", versions_only=True).cards
    soundfile.write(tmp_path / "hall.wav", 0.25 ** np.arange(16.0), RATE_HZ)
    (changed,) = compare_sounds(tmp_path / "results", versions_only=True).cards
    told = "hall.toml: it, or a file that it names, is gone or has changed since"
    assert [any(told in warning for warning in card.warnings) for card in (same, changed)] == [False, True]


def test_a_batch_is_heard_as_it_was_made(folder: Path, take: Array, tmp_path: Path) -> None:
    results = tmp_path / "results"
    run_batch([folder / "plain.toml"], [folder / "take.wav"], results, vary={"gain.gain_db": [0, 6]}, threads=1)
    page = compare_sounds(results)
    assert [card.heading for card in page.cards] == ["gain.gain_db 0", "gain.gain_db 6"]
    assert page.title == "results"
    assert "gain_db = 6" in page.cards[1].settings
    assert [sound.as_it_comes_db for sound in page.sounds if sound.role == "version"] == pytest.approx(
        [-6, 0], abs=0.01
    )
    found = decoded(page, "version-1")[: len(take)]
    assert np.max(np.abs(found - gain_between(take, found) * take)) < 2.0**-22

    file = next(path for path in (results / "audio").iterdir() if "gain_db 6" in path.name)
    whole = file.read_bytes()
    file.write_bytes(whole[:-4] + b"\0\0\0\1")
    with pytest.raises(ChainsimError, match=r"has changed since it was made; run the same chainsim batch command"):
        compare_sounds(results)
    file.unlink()
    with pytest.raises(ChainsimError, match=r"gain_db 6.*is missing; run the same chainsim batch command"):
        compare_sounds(results)
    (results / "results.json").write_text(json.dumps({"format": 1, "rows": [{"take": str(folder / "take.wav")}]}))
    with pytest.raises(ChainsimError, match=r"results\.json: is damaged"):
        compare_sounds(results)


def test_orders_are_heard_without_their_trims(folder: Path, tmp_path: Path) -> None:
    """A clipper before and after a gain of 12 dB: two groups, told apart by one exchange."""
    text = (
        'title = "Slip"\nchain = ["up", "edge"]\n[blocks.up]\ntype = "gain"\ngain_db = 12\n'
        '[blocks.edge]\ntype = "drive"\n'
    )
    results = tmp_path / "orders"
    found = compare_orders(load_sketch(sketch_file(tmp_path, text)), [folder / "take.wav"], results, threads=1)
    page = compare_sounds(results)
    assert (
        [card.heading for card in page.cards]
        == [found.orders[group.representative].name for group in found.groups]
        == ["up > edge", "edge > up"]
    )
    lufs = [found.orders[group.representative].figures[0].integrated_lufs for group in found.groups]
    levels = [sound.as_it_comes_db for sound in page.sounds if sound.role == "version"]
    assert levels[1] - levels[0] == pytest.approx(lufs[1] - lufs[0], abs=0.1)
    assert page.cards[0].figures[0].text.startswith("1 order that sounds like this")
    assert all(card.settings and card.drawing for card in page.cards)

    (tmp_path / "other").mkdir()
    take_file(tmp_path / "other", 0.5 * notes(RATE_HZ, seconds=2.0), RATE_HZ)
    with pytest.raises(ChainsimError, match=r"is not the take that .*orders was made of; run chainsim orders again"):
        compare_sounds(results, tmp_path / "other" / "take.wav")
    sketch = results / "2 edge - up.toml"
    sketch.write_text(sketch.read_text().replace("12", "11"))
    again = r"; run the same chainsim orders command again to write it anew"
    with pytest.raises(ChainsimError, match=r"2 edge - up\.toml: has changed since its sound was made" + again):
        compare_sounds(results)
    sketch.unlink()
    with pytest.raises(ChainsimError, match=r"2 edge - up\.toml: is missing" + again):
        compare_sounds(results)


def test_too_much_sound_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_module, "MOST_MB", 0.02)
    with pytest.raises(ChainsimError, match=r"more than 0.02 MB of sound.*--excerpt FROM,TO.*--lossy"):
        compare_sounds(folder / "plain.toml", folder / "take.wav")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"take": None}, "sketches need a take"),
        ({"take": "gone.wav"}, "gone.wav"),
        ({"patches": ["sollo"]}, 'no patch "sollo"; did you mean "solo"'),
        ({"room": "attic"}, 'no room "attic"'),
        ({"excerpt_s": (1.0, 1.05)}, "the take has 0 ... 2.0 s"),
        ({"excerpt_s": (1.0, 1.3)}, r"the part from 1 s to 1.3 s lasts 0.30 s, a page needs 0.4 s of sound"),
        ({"take": "short.wav"}, r"short.wav: lasts 0.39 s, a page needs 0.4 s of sound"),
        ({"take": "silent.wav"}, r"silent.wav: is silent, or quieter than -70 LUFS"),
        ({"page": 2}, r"page 2, allowed 1 ... 1, for 3 versions"),
        ({"excerpt_s": (float("nan"), 1.0)}, "the take has"),
        ({"excerpt_s": (0.0, float("inf"))}, "the take has"),
        ({"loudness_lufs": 3.0}, "allowed -60 ... 0 LUFS"),
        ({"sources": ["set.toml", "."]}, "is a folder of results, which goes alone"),
        ({"sources": "."}, "holds no results.json of chainsim batch"),
        ({"sources": "nothing.toml"}, "nothing.toml"),
    ],
)
def test_what_is_no_page(folder: Path, monkeypatch: pytest.MonkeyPatch, options: dict[str, object], said: str) -> None:
    monkeypatch.chdir(folder)
    soundfile.write("short.wav", notes(RATE_HZ, seconds=0.399), RATE_HZ)
    # A sine of 0.0003 has -73.5 dBFS rms.
    soundfile.write("silent.wav", 3e-4 * np.sin(np.arange(RATE_HZ)), RATE_HZ, subtype="FLOAT")
    with pytest.raises(ChainsimError, match=said):
        compare_sounds(**{"sources": "set.toml", "take": "take.wav", "wires": False, **options})  # type: ignore[arg-type]


def test_a_hundred_versions_are_too_many_for_one_page(folder: Path) -> None:
    sketches = [load_sketch(folder / "plain.toml") for _ in range(100)]
    said = r"100 versions, allowed 1 ... 24 on one page: choose one of 5 pages \(--page 1 ... --page 5, each with"
    with pytest.raises(ChainsimError, match=said):
        compare_sounds(sketches, folder / "take.wav")


def test_every_version_is_on_one_page_and_the_first_on_each() -> None:
    for count in (1, 2, 24, 25, 47, 48, 100):
        found = list(range(count))
        pages = -(-(count - 1) // 23) or 1  # the first, and 23 others
        chosen = [on_page(found, number + 1, "fewer") for number in range(pages)]
        assert {page[0] for page, _ in chosen} == {0}
        assert [one for page, _ in chosen for one in page[1:]] == found[1:]
        assert max(len(page) for page, _ in chosen) <= 24
        assert bool(chosen[0][1]) == (pages > 1)
        with pytest.raises(ChainsimError, match=f"page {pages + 1}, allowed 1 ... {pages}"):
            on_page(found, pages + 1, "fewer")
    assert on_page(list(range(24)), None, "") == on_page(list(range(24)), 1, "")
    assert on_page(list(range(30)), 2, "")[1] == "Page 2 of 2: beside the first, versions 25 to 30 of 30."
    assert on_page(list(range(25)), 2, "")[1] == "Page 2 of 2: beside the first, version 25 of 25."
    with pytest.raises(ChainsimError, match="0 versions"):
        on_page([], None, "fewer")


def test_pages_of_a_batch(folder: Path, tmp_path: Path) -> None:
    levels = [-n - 1.5 for n in range(26)]
    run_batch([folder / "plain.toml"], [folder / "take.wav"], tmp_path / "out", vary={"gain.gain_db": levels})
    with pytest.raises(ChainsimError, match=r"26 versions.*--page 1 ... --page 2.*or choose patches \(--patch\)"):
        compare_sounds(tmp_path / "out")
    second = compare_sounds(tmp_path / "out", page=2, wires=False, versions_only=True)
    assert [card.heading for card in second.cards] == ["gain.gain_db -1.5", "gain.gain_db -25.5", "gain.gain_db -26.5"]
    assert "Page 2 of 2: beside the first, versions 25 to 26 of 26." in second.notes


def test_a_page_is_one_file_or_a_folder(both: ListeningPage, tmp_path: Path) -> None:
    write_page(both, tmp_path / "page.html")
    write_page(both, tmp_path / "page")
    text = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "Quay &lt;b&gt;" in text
    assert "Quay <b>" not in text
    assert (tmp_path / "page" / "index.html").is_file()
    write_page(both, tmp_path / "page")
    (tmp_path / "page" / "index.html").write_text("<h1>My site</h1>")
    with pytest.raises(
        ChainsimError, match=r"page: holds index\.html, which is no page.*name a new or an empty folder"
    ):
        write_page(both, tmp_path / "page")
    with pytest.raises(ChainsimError, match=r"holds page, which is no page"):
        write_page(both, tmp_path)
