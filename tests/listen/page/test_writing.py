"""Pages as text: what a browser is told, without a browser."""

from __future__ import annotations

import base64
import hashlib
import html.parser
import json
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import chainsim.listen.page
from chainsim.errors import AudioError
from chainsim.listen.page.bundle import modules, script
from chainsim.listen.page.watcher import Watching, tell_open_page, tell_watcher
from chainsim.listen.page.writing import listening_page, write_listening_folder
from tests.browser.synthetic import synthetic_page

SCRIPTS = Path(chainsim.listen.page.__file__).parent / "script"
EVIL = "</script><script>alert(1)</script><!-- \" ' & \u2028"


class Elements(html.parser.HTMLParser):
    """Every element with its attributes and its text, as a reader of HTML that is not ours sees them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None], list[str]]] = []
        self.inside = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs), []))
        self.inside = True

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.found[-1][2].append(data)

    def handle_endtag(self, tag: str) -> None:
        self.inside = False

    def of(self, tag: str) -> Iterator[tuple[dict[str, str | None], str]]:
        return ((attributes, "".join(texts)) for t, attributes, texts in self.found if t == tag)


def evil_page() -> str:
    plain = synthetic_page(seconds=0.1, title=EVIL)
    sounds = tuple(replace(sound, name=EVIL) for sound in plain.sounds)
    cards = tuple(replace(c, heading=EVIL, differs=EVIL, settings=EVIL, warnings=(EVIL,)) for c in plain.cards)
    return listening_page(
        replace(plain, take_name=EVIL, sounds=sounds, cards=cards, notes=(EVIL,), foot={"notes": [EVIL]})
    )


def test_names_are_text_wherever_they_stand() -> None:
    elements = Elements(evil_page())
    kinds = [(a.get("type"), "data-sound-audio" in a) for a, _ in elements.of("script")]
    assert kinds == [("application/json", False), (None, False), *4 * [("text/plain", True)]]
    data = json.loads(next(text for a, text in elements.of("script") if a.get("id") == "page-data"))
    assert data["title"] == data["take"] == data["sounds"][0]["name"] == EVIL
    assert data["foot"] == {"notes": [EVIL]}
    assert next(text for _, text in elements.of("title")) == EVIL
    assert next(text for _, text in elements.of("pre")) == EVIL


def test_the_policy_allows_this_script_and_this_style_alone() -> None:
    elements = Elements(listening_page(synthetic_page(seconds=0.1)))
    policy = next(a["content"] for a, _ in elements.of("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    directives = dict(d.split(" ", 1) for d in policy.split("; "))
    own = next(text for a, text in elements.of("script") if not a)
    style = next(text for _, text in elements.of("style"))
    assert directives == {
        "default-src": "'none'",
        "script-src": source(own),
        "style-src": source(style),
        "img-src": "data:",
        "media-src": "blob: data:",
        "base-uri": "'none'",
        "form-action": "'none'",
    }


def source(text: str) -> str:
    """As CSP Level 3, section 2.3.1, spells a hash."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def test_nothing_that_the_policy_forbids() -> None:
    for _, attributes, _ in Elements(evil_page()).found:
        assert not [name for name in attributes if name == "style" or name.startswith("on")]
        assert all(not (attributes.get(name) or "").startswith("http") for name in ("src", "href"))


def test_sounds_are_inside() -> None:
    page = synthetic_page(seconds=0.1)
    found = {
        a["data-sound-audio"]: t for a, t in Elements(listening_page(page)).of("script") if "data-sound-audio" in a
    }
    assert {key: base64.b64decode(text) for key, text in found.items()} == {s.key: s.audio for s in page.sounds}


def test_every_module_is_in_the_script_behind_what_it_imports() -> None:
    names = [name for name, _ in modules()]
    assert sorted(names) == sorted(path.name for path in SCRIPTS.glob("*.js"))
    for name, text in modules():
        for imported in re.findall(r'from "\./(.+)"', text):
            assert names.index(imported) < names.index(name), f"{name} imports {imported}"


def test_what_is_not_equally_loud_is_marked() -> None:
    page = synthetic_page(seconds=0.1)
    sounds = tuple(replace(sound, equally_loud=sound.key != "version-2") for sound in page.sounds)
    text = listening_page(replace(page, sounds=sounds))
    before, marked = text.split('data-version="version-2"')
    assert "not equally loud" not in before
    assert marked.split("</button>")[0].count("not equally loud") == 1
    data = json.loads(next(t for a, t in Elements(text).of("script") if a.get("id") == "page-data"))
    assert [sound["equallyLoud"] for sound in data["sounds"]] == [True, True, False, True]


def test_the_script_is_plain() -> None:
    text = script()
    assert "innerHTML" not in text.replace("no innerHTML", "")
    assert not re.search(r"^(import|export) ", text, re.MULTILINE)
    assert not re.search(r"</script|<!--", text, re.IGNORECASE)


def test_a_folder_has_its_sounds_beside_it(tmp_path: Path) -> None:
    folder = tmp_path / "page"
    page = synthetic_page(seconds=0.1)
    write_listening_folder(page, folder)
    assert sorted(p.name for p in folder.iterdir()) == ["index.html", "sounds"]
    elements = Elements((folder / "index.html").read_text(encoding="utf-8"))
    data = json.loads(next(text for a, text in elements.of("script") if a.get("id") == "page-data"))
    for told, sound in zip(data["sounds"], page.sounds, strict=True):
        received = re.fullmatch(r'chainsimReceive\("(\w+)","(.+)"\);\n', (folder / told["file"]).read_text())
        assert received is not None
        assert received[1] == told["digest"] == hashlib.sha256(sound.audio).hexdigest()[:16]
        assert base64.b64decode(received[2]) == sound.audio
    assert {p.name for p in (folder / "sounds").iterdir()} == {Path(told["file"]).name for told in data["sounds"]}


def test_a_folder_written_again_keeps_what_is_not_the_page(tmp_path: Path) -> None:
    write_listening_folder(synthetic_page((1.0, 0.5), seconds=0.1), tmp_path, watched=True)
    (tmp_path / "sounds" / "mine.js").write_text("")
    (tmp_path / "notes.txt").write_text("")
    before = told_now(tmp_path)["stamp"]
    old = set((tmp_path / "sounds").iterdir())
    write_listening_folder(synthetic_page((1.0, 0.4), seconds=0.1), tmp_path, watched=True)
    assert told_now(tmp_path)["stamp"] != before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["index.html", "notes.txt", "now.js", "page.js", "sounds"]
    assert (tmp_path / "sounds" / "mine.js").exists()
    # Take and first version are the same as before: of four sound files one went and one came.
    assert [p.name.split(".")[0] for p in old - set((tmp_path / "sounds").iterdir())] == ["version-2"]
    write_listening_folder(synthetic_page((1.0, 0.5), seconds=0.1), tmp_path, watched=True)
    assert told_now(tmp_path)["stamp"] == before


def test_what_the_watcher_is_told_stays_text(tmp_path: Path) -> None:
    tell_watcher(tmp_path, EVIL)
    assert told_now(tmp_path)["says"] == EVIL
    assert "<" not in (tmp_path / "now.js").read_text(encoding="utf-8")


def test_a_word_keeps_the_newest_page(tmp_path: Path) -> None:
    """Until the next page, which says nothing."""
    tell_open_page(tmp_path, {"stamp": "newest"})
    tell_watcher(tmp_path, "a word")
    tell_watcher(tmp_path, "another")
    told = told_now(tmp_path)
    assert (told["stamp"], told["says"]) == ("newest", "another")
    tell_open_page(tmp_path, {"stamp": "newer"})
    assert set(told_now(tmp_path)) == {"stamp", "time"}


def test_a_wire_is_spoken_of_where_one_sounds() -> None:
    page = synthetic_page(seconds=0.1)
    for drawing, spoken_of in (('<svg><g data-sound="wire-1"></g></svg>', True), ("<svg></svg>", False)):
        drawn = replace(page, cards=(replace(page.cards[0], drawing=drawing), *page.cards[1:]))
        assert ("Press a coloured wire" in listening_page(drawn)) is spoken_of


def test_while_someone_watches_the_time_is_renewed_and_then_ended(tmp_path: Path) -> None:
    """And what else the page is told stays as it is."""
    tell_watcher(tmp_path, EVIL)
    first = told_now(tmp_path)
    assert abs(first["time"] / 1000.0 - time.time()) < 60.0
    with Watching(tmp_path, every_s=0.01):
        while (renewed := told_now(tmp_path)["time"]) < first["time"] + 20:
            time.sleep(0.005)
        tell_watcher(tmp_path, "a newer word")
        while told_now(tmp_path)["time"] < renewed + 20:
            time.sleep(0.005)
        assert told_now(tmp_path)["says"] == "a newer word"
    assert told_now(tmp_path) == {"says": "a newer word", "time": 0}


def test_a_page_that_is_not_there_yet_can_be_watched(tmp_path: Path) -> None:
    with Watching(tmp_path / "page", every_s=0.01):
        pass
    assert not list(tmp_path.iterdir())


def told_now(folder: Path) -> dict[str, Any]:
    told = re.fullmatch(r"chainsimNow\((.*)\);\n", (folder / "now.js").read_text(encoding="utf-8"))
    assert told is not None
    found: dict[str, Any] = json.loads(told[1])
    return found


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "page").write_text("")
    with pytest.raises(AudioError, match="page"):
        write_listening_folder(synthetic_page(seconds=0.1), tmp_path / "page")
