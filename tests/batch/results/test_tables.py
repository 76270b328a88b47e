"""Tables that spreadsheets and programs read as they were meant."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path

import pytest

from chainsim.batch.results.tables import csv_text, write_tables
from chainsim.errors import AudioError

ROWS = [
    {"take": 'solo "one", two.wav', "lufs": -23.456789012345678, "count": 3, "error": None, "on": True, "warnings": []},
    {"take": "Küste ♪", "lufs": -math.inf, "count": None, "error": "a; b", "on": False, "warnings": ["one", "two"]},
]


def read(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


def test_what_was_written_is_read_again() -> None:
    head, first, second = read(csv_text(ROWS))
    assert head == list(ROWS[0])
    assert first == ['solo "one", two.wav', "-23.4568", "3", "", "true", ""]
    assert float(first[1]) == pytest.approx(ROWS[0]["lufs"], rel=1e-5)  # six digits: figures are no more exact
    assert second == ["Küste ♪", "", "", "a; b", "false", "one; two"]


def test_it_is_the_csv_of_rfc_4180() -> None:
    # RFC 4180, 2: lines end in CRLF, the last one too; fields with quotes or commas stand in quotes, quotes doubled
    text = csv_text([{"a": 'x "y", z', "b": "plain"}])
    assert text == 'a,b\r\n"x ""y"", z",plain\r\n'
    assert csv_text([]) == ""


@pytest.mark.parametrize("first", "=+-@\uff1d\uff0b\uff0d\uff20")
def test_no_name_becomes_a_formula(first: str) -> None:
    # OWASP, CSV Injection: cells that begin with these are taken for formulas; an apostrophe before them helps
    name = f'{first}HYPERLINK("http://x";"y")'
    head, row = read(csv_text([{name: name, "n": -1.5}]))
    assert head == [f"'{name}", "n"]
    assert row == [f"'{name}", "-1.5"]  # a number stays one


@pytest.mark.parametrize(
    "name", ["\t=1+1", "\r=1+1", "\n=1+1", "two\r\nlines", "\x1b[2Jgone", "nul\0", "\u202egnp.exe"]
)
def test_a_row_is_one_line_that_can_be_shown(name: str) -> None:
    text = csv_text([{"name": name}])
    assert len(text.splitlines()) == 2
    assert all(line.isprintable() for line in text.split("\r\n"))


def test_both_are_written_and_the_json_has_names_as_they_are(tmp_path: Path) -> None:
    # the file's name is no UTF-8, which Python keeps as a surrogate (PEP 383)
    rows = [{"name": "=1+1\n", "lufs": math.nan, "file": "caf\udce9.wav"}]
    write_tables(tmp_path, "orders", rows, {"version": "1"})
    found = json.loads((tmp_path / "orders.json").read_text(encoding="utf-8"))
    assert found == {"version": "1", "rows": [{"name": "=1+1\n", "lufs": None, "file": "caf\udce9.wav"}]}
    assert (tmp_path / "orders.csv").read_bytes() == b"name,lufs,file\r\n'=1+1\\n,,caf\\udce9.wav\r\n"


def test_what_says_the_same_is_left_alone_and_what_fails_leaves_the_old(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_tables(tmp_path, "results", ROWS, {})
    before = {p: (p.read_bytes(), p.stat().st_ino) for p in tmp_path.iterdir()}
    write_tables(tmp_path, "results", ROWS, {})
    assert {p: (p.read_bytes(), p.stat().st_ino) for p in tmp_path.iterdir()} == before

    def full(*arguments: object, **more: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(AudioError, match="No space left"):
        write_tables(tmp_path, "results", ROWS[:1], {})
    assert {p: (p.read_bytes(), p.stat().st_ino) for p in tmp_path.iterdir()} == before
