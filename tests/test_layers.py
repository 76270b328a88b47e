"""Imports point one way, as data does; and importing the package is cheap.

The table says what each part may import, in the order in which they build on each other: a part may import itself and
what its line names. Imports inside functions count as well: they save time, not dependence.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import chainsim

PACKAGE = Path(chainsim.__file__).parent

BASE = {"errors", "units"}
SOUND = BASE | {"kernel", "dsp"}
MAY_IMPORT = {
    "errors": set(),
    "units": set(),
    "plain": set(),
    "display": set(),
    "resources": {"errors"},
    "kernel": BASE,
    "music": BASE,
    "settings": BASE | {"music"},
    "dsp": BASE | {"kernel"},
    "audio": BASE | {"kernel", "plain"},
    "measure": SOUND,
    "horn": SOUND | {"music", "audio"},
    "lfo_rate": BASE | {"settings", "music"},
    "block": BASE | {"settings"},
    "blocks": SOUND | {"settings", "music", "lfo_rate", "block"},
    "notes": SOUND | {"music"},
    "stage": SOUND | {"settings", "music", "lfo_rate", "block", "notes"},
    "sketch": BASE | {"display", "settings", "music", "block", "stage"},
    "house": SOUND | {"settings", "block", "blocks", "sketch", "audio", "measure"},
    "graph": BASE | {"display", "kernel", "settings", "music", "block", "stage", "sketch", "audio", "house"},
    "listen": SOUND | {"plain", "settings", "music", "block", "notes", "stage", "sketch", "graph", "audio", "measure"},
}
MAY_IMPORT["batch"] = MAY_IMPORT["listen"] | {"plain", "blocks", "house", "listen", "resources"}
MAY_IMPORT["cli"] = set(MAY_IMPORT)
MAY_IMPORT["__main__"] = {"cli"}

REACHES_UP = {
    ("block.py", "chainsim.blocks"),
    ("block.py", "chainsim.blocks.*"),
    ("display.py", "chainsim.listen.notebook"),
}
"""The registry looks for block files by name, and what notebooks show of an object is made where drawings are."""


def imported(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Every module of the package that a file names in an import, or in a call of `import_module`, with the line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, a.name) for a in node.names if a.name.split(".")[0] == "chainsim")
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: a relative import"
            if node.module == "chainsim":
                yield from ((node.lineno, f"chainsim.{a.name}") for a in node.names)
            elif node.module and node.module.startswith("chainsim."):
                yield node.lineno, node.module
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module") and node.args:
            name = ast.unparse(node.args[0]).lstrip("f").strip("'\"")
            if name.startswith("chainsim."):
                yield node.lineno, name.split("{")[0] + ("*" if "{" in name else "")


def part_of(path: Path) -> str:
    """Which part of the package a file belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def sources() -> list[Path]:
    """Every source file but the package's front door, which only says where things are."""
    return [p for p in sorted(PACKAGE.rglob("*.py")) if p != PACKAGE / "__init__.py"]


def wrong_ways(path: Path, text: str) -> list[str]:
    """Imports of one file that the table does not allow."""
    place, part = path.relative_to(PACKAGE).as_posix(), part_of(path)
    found = []
    for line, module in imported(ast.parse(text)):
        target = module.split(".")[1]
        if target != part and target not in MAY_IMPORT[part] and (place, module) not in REACHES_UP:
            found.append(f"{place}:{line} imports {module}")
    return found


def test_imports_point_one_way() -> None:
    assert len(sources()) > 40
    assert {part_of(p) for p in sources()} <= set(MAY_IMPORT), "a new part: say in the table where it stands"
    assert [w for p in sources() for w in wrong_ways(p, p.read_text(encoding="utf-8"))] == []


def test_the_table_has_no_way_round() -> None:
    for part, allowed in MAY_IMPORT.items():
        for other in allowed - {part}:
            assert part not in MAY_IMPORT[other], f"{part} and {other} may import each other"
    assert not any("cli" in allowed for part, allowed in MAY_IMPORT.items() if part not in ("cli", "__main__"))


@pytest.mark.parametrize(
    ("place", "text", "wrong"),
    [
        ("dsp/envelope.py", "from chainsim.block import Block", 1),
        ("dsp/envelope.py", "def f():\n    import chainsim.graph.engine", 1),
        ("sketch/model.py", "from chainsim import graph", 1),
        ("graph/engine.py", "importlib.import_module(f'chainsim.cli.{name}')", 1),
        ("graph/engine.py", "from chainsim.sketch.model import Sketch", 0),
        ("block.py", "import chainsim.blocks", 0),
    ],
)
def test_a_wrong_way_is_seen(place: str, text: str, wrong: int) -> None:
    assert len(wrong_ways(PACKAGE / place, text)) == wrong


@pytest.mark.parametrize("path", sources(), ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_numba_is_reached_through_the_kernel_decorator_only(path: Path) -> None:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {a.name.split(".")[0] for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module.split(".")[0])
    assert "numba" not in names or path == PACKAGE / "kernel.py"


HEAVY = ("numba", "scipy", "matplotlib", "pydantic", "soundfile", "numpy")


@pytest.mark.parametrize("module", ["chainsim", "chainsim.cli", "chainsim.errors", "chainsim.kernel"])
def test_importing_is_cheap(module: str) -> None:
    code = f"import sys, {module}; print(*(m for m in {HEAVY!r} if m in sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []


def test_the_front_door_leads_to_what_it_promises() -> None:
    for name in chainsim.__all__:
        assert getattr(chainsim, name).__name__ == name
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    at_once = [n for n in tree.body if isinstance(n, ast.Import | ast.ImportFrom)]
    assert {ast.unparse(n).split()[1] for n in at_once} <= {"__future__", "importlib", "typing"}
