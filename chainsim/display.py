"""What notebooks show of the package's objects: asked for here, made in `listen/notebook.py`, which may see more."""

from __future__ import annotations

import importlib


def notebook_html(shown: object) -> str:
    """HTML of a sketch or a rendering."""
    html: str = importlib.import_module("chainsim.listen.notebook").notebook_html(shown)
    return html
