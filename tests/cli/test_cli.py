"""The command line as a whole."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from chainsim.cli import COMMANDS, main

CONTROLLERS = ("breakpoints", "control_change", "envelope", "lfo")


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stopped:
        main(arguments)
    return int(stopped.value.code or 0)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_teaches_by_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(command, "--help") == 0
    assert f"chainsim {command}" in capsys.readouterr().out.split("Usage:")[1].split("\n", 1)[1]


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("rendr",), 'no command "rendr"; did you mean "render"?'),
        (("render", "--nope"), "--nope"),
        (("blocks", "gian"), 'no block type "gian"; did you mean "gain"?'),
        (("render", "no.toml", "no.wav", "-o", "o.wav"), "no.toml: cannot be read"),
    ],
)
def test_errors_are_one_line_on_stderr(
    arguments: tuple[str, ...], line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*arguments) == 2
    captured = capsys.readouterr()
    assert line in captured.err
    assert captured.err.startswith("chainsim: ")
    assert len(captured.err.strip().splitlines()) == 1
    assert captured.out == ""


def test_blocks_tells_every_setting(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("blocks") == 0
    listed = capsys.readouterr().out
    for name in (
        "gain",
        "pan",
        "equalizer",
        "noise_gate",
        "envelope_filter",
        "delay",
        "reverb",
        "blender",
        *CONTROLLERS,
    ):
        assert name in listed
        assert run("blocks", name, "--json") == 0
        told = json.loads(capsys.readouterr().out)
        assert told["source"] or told["kind"] == "controller"
        assert all(s["what"] for s in told["settings"])
        assert run("blocks", name) == 0
        text = capsys.readouterr().out
        assert all(s["name"] in text for s in told["settings"])


@pytest.mark.parametrize(
    ("words", "typed", "offered"),
    [
        ("chainsim blocks", "env", {"envelope", "envelope_filter"}),
        ("chainsim render SKETCH --patch", "sw", {"swept"}),
        ("chainsim check SKETCH --room", "", {"chapel", "yard"}),
        ("chainsim sheet SKETCH --room", "y", {"yard"}),
        ("chainsim compare nothing.toml SKETCH --patch plain --patch", "s", {"swept"}),
        ("chainsim check nothing.toml --room", "", set()),
    ],
)
def test_the_shell_completes_names(words: str, typed: str, offered: set[str], tmp_path: Path) -> None:
    sketch = tmp_path / "set.toml"
    sketch.write_text("chain = []\n[patches.swept]\n[patches.plain]\n[rooms.chapel]\n[rooms.yard]\n")
    line = [*words.replace("SKETCH", str(sketch)).split(), typed]
    asked = {"_CHAINSIM_COMPLETE": "bash_complete", "COMP_WORDS": " ".join(line), "COMP_CWORD": str(len(line) - 1)}
    told = subprocess.run(
        [sys.executable, "-m", "chainsim"],
        env={**os.environ, **asked},
        capture_output=True,
        text=True,
        check=True,
    )
    assert {answer.split(",")[-1] for answer in told.stdout.split()} == offered


def test_schema_is_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("schema") == 0
    assert json.loads(capsys.readouterr().out)["title"] == "chainsim sketch"


def test_help_and_import_load_nothing_heavy() -> None:
    code = (
        "import sys, contextlib, io\nfrom chainsim.cli import main\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n    main(['--help'])\n"
        "print([m for m in ('numba', 'scipy', 'numpy', 'pydantic', 'matplotlib', 'soundfile') if m in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
