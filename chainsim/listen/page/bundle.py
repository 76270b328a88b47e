"""The page's script and style as one text each, and the policy that allows a page these two and nothing else.

The script is written as modules; a page opened from disk can load none, so each becomes a function that gives what the
module exports. Only what these modules use is understood: `import { a, b } from "./file.js";`, and `export` before the
declaration of a function, a class or a constant.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

IMPORT = re.compile(r'^import (\{[^}]*\}) from "\./([a-z_]+\.js)";$', re.MULTILINE)
EXPORT = re.compile(r"^export ((?:async )?function\*?|const|class) (\w+)", re.MULTILINE)
STYLES = (
    "tokens.css", "base.css", "components.css", "transport.css", "versions.css", "lanes.css", "below.css",
    "drawing.css", "trials.css", "foot.css", "lesson.css",
)  # fmt: skip

FOLDER_SOURCES = ("'self'", "file:")
"""Whence a page that has its sounds beside it may load scripts."""


@cache
def modules(entry: str = "main.js") -> tuple[tuple[str, str], ...]:
    """The modules a script needs, each behind those that it imports.

    Parameters
    ----------
    entry : str
        File name in `script/`.

    Returns
    -------
    tuple of (name, source)

    Raises
    ------
    ValueError
        If two modules import each other.
    """
    found: dict[str, str] = {}

    def add(name: str, above: tuple[str, ...]) -> None:
        if name in above:
            raise ValueError(f"{' -> '.join((*above, name))}: modules that import each other")
        if name not in found:
            source = _read("script", name)
            for _, imported in IMPORT.findall(source):
                add(imported, (*above, name))
            found[name] = source

    add(entry, ())
    return tuple(found.items())


@cache
def script() -> str:
    """All modules in one script, in an order in which each finds what it needs."""
    bodies = "".join(_as_function(name, source) for name, source in modules())
    return f'(() => {{\n"use strict";\nconst modules = {{}};\n{bodies}}})();\n'


@cache
def style() -> str:
    """All style sheets, the tokens first."""
    return "\n".join(_read("style", name) for name in STYLES)


@cache
def content_policy(*script_sources: str) -> str:
    """The page's content security policy: its own script and style, pictures and sounds it holds, no network.

    Parameters
    ----------
    *script_sources : str
        Whence other scripts may come: `FOLDER_SOURCES` for a page that has its sounds beside it.
    """
    return "; ".join(_directives(script_sources))


def _as_function(name: str, source: str) -> str:
    exported = ", ".join(match[1] for match in EXPORT.findall(source))
    body = EXPORT.sub(r"\1 \2", IMPORT.sub(r'const \1 = modules["\2"];', source))
    return f'modules["{name}"] = (() => {{\n{body}\nreturn {{ {exported} }};\n}})();\n'


def _directives(script_sources: tuple[str, ...]) -> Iterator[str]:
    yield "default-src 'none'"
    yield " ".join(("script-src", _hash(script()), *script_sources))
    yield f"style-src {_hash(style())}"
    yield "img-src data:"
    yield "media-src blob: data:"
    yield "base-uri 'none'"
    yield "form-action 'none'"


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _read(folder: str, name: str) -> str:
    return files(__package__).joinpath(folder, name).read_text(encoding="utf-8")
