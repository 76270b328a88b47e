"""Real interrupts of the real command: one line, code 130, nothing left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise on Windows")

LONG_S = 300.0
"""More than it takes until a render is ready for a signal, unless it hangs."""

COMMAND = [sys.executable, "-m", "chainsim", "render", "s.toml", "take.wav", "-o", "out.wav"]


def heed_interrupts() -> None:
    """Tests that a shell began in the background ignore interrupts, and so would what they start."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def interrupted(
    folder: Path, ready: Callable[[], bool], kind: signal.Signals, **environment: str
) -> tuple[int, list[str]]:
    """Start a render, send a signal once it is ready for it, and return code and lines on stderr."""
    environment = {**os.environ, **environment}
    with subprocess.Popen(
        COMMAND,
        cwd=folder,
        env=environment,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=heed_interrupts,
    ) as process:
        end = time.monotonic() + LONG_S
        while not ready() and time.monotonic() < end:
            time.sleep(0.02)
        process.send_signal(kind)
        error = process.communicate()[1]
    return process.returncode, error.strip().splitlines()


def test_while_the_first_run_compiles(tmp_path: Path) -> None:
    """Which takes some twenty seconds, so that however late the signal comes, something is left to compile."""
    cache = tmp_path / "cache"
    (tmp_path / "s.toml").write_text('chain = ["delay", "reverb", "pitch_shifter", "following_synth", "phaser"]')
    soundfile.write(tmp_path / "take.wav", np.zeros(48_000), 48_000)
    code, lines = interrupted(tmp_path, lambda: any(cache.rglob("*.nbi")), signal.SIGINT, CHAINSIM_CACHE=str(cache))
    assert code == 130
    assert lines[-1] == "chainsim: interrupted"
    assert len(lines) <= 2  # and before it that kernels are being compiled
    assert sorted(p.name for p in tmp_path.iterdir() if p.name != "cache") == ["s.toml", "take.wav"]


@pytest.mark.parametrize(("kind", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_while_it_renders(tmp_path: Path, kind: signal.Signals, code: int) -> None:
    """Which takes more than a minute, so that however late the signal comes, something is left to render."""
    names = [f"hall_{i}" for i in range(200)]
    blocks = "".join(f'[blocks.{name}]\ntype = "reverb"\n' for name in names)
    (tmp_path / "s.toml").write_text(f"chain = {names}\n{blocks}")
    soundfile.write(tmp_path / "take.wav", np.zeros(240 * 48_000), 48_000, "PCM_16")
    found, lines = interrupted(tmp_path, lambda: any(tmp_path.glob(".*.part")), kind)
    assert found == code
    assert not any("Traceback" in line for line in lines)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["s.toml", "take.wav"]
