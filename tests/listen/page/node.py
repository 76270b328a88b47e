"""The page's modules, run by node: what they answer, without a browser."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import pytest

import chainsim.listen.page

SCRIPT = Path(chainsim.listen.page.__file__).parent / "script"
NODE = shutil.which("node")

needs_node = pytest.mark.skipif(NODE is None and "CI" not in os.environ, reason="needs node to run the page's modules")


def answer_of(program: str) -> Any:
    """What a program answers by `answer(...)`; it imports "./NAME.js" as the page's own modules do."""
    with tempfile.TemporaryDirectory() as room:
        beside = Path(room) / "script"
        shutil.copytree(SCRIPT, beside)
        # Without it node takes a .js file for the older kind of module.
        (beside / "package.json").write_text('{"type": "module"}', encoding="utf-8")
        asked = beside / "asked_by_a_test.js"
        asked.write_text(f"const answer = (v) => console.log(JSON.stringify(v));\n{program}", encoding="utf-8")
        done = subprocess.run([str(NODE), str(asked)], capture_output=True, text=True, timeout=60.0, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)
