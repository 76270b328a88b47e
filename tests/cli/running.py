"""Runs the command line inside the test's own process, and looks at what is left behind."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from chainsim.cli import main


@dataclass(frozen=True)
class Ran:
    """How a command ended."""

    code: int
    out: str
    err: str


def ran(capsys: pytest.CaptureFixture[str], *arguments: object) -> Ran:
    """Run `chainsim ARGUMENTS`."""
    capsys.readouterr()
    with pytest.raises(SystemExit) as ended:
        main([str(a) for a in arguments])
    captured = capsys.readouterr()
    assert isinstance(ended.value.code, int)
    return Ran(ended.value.code, captured.out, captured.err)


def complaint(run: Ran, code: int = 2) -> str:
    """The one line that tells what is wrong; fails if there is more, or a traceback."""
    assert run.code == code
    assert "Traceback" not in run.err
    lines = [line for line in run.err.splitlines() if line and not line.startswith(("compiling", "warning: "))]
    assert len(lines) == 1, lines
    assert lines[0].startswith("chainsim: ")
    return lines[0].removeprefix("chainsim: ")


def names(folder: Path) -> list[str]:
    """Every file in a folder, hidden ones too."""
    return sorted(p.name for p in folder.iterdir())


def sketch_file(folder: Path, text: str = 'chain = ["gain"]', name: str = "sketch.toml") -> Path:
    """Write a sketch."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def notes(
    rate_hz: int = 8_000, channels: int = 1, noise: float = 1e-4, seconds: float = 4.0
) -> npt.NDArray[np.float64]:
    """A note of half a second every second, over noise: shape (frames, channels)."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    gain = np.clip(np.minimum(np.modf(t)[0] - 0.25, 0.75 - np.modf(t)[0]) / 0.01, 0.0, 1.0)
    random = np.random.default_rng(6)
    x = 0.4 * gain * np.sin(2.0 * np.pi * 220.0 * t)
    return x[:, None] + noise * random.standard_normal((t.size, channels))


def take_file(folder: Path, samples: npt.NDArray[np.float64], rate_hz: int = 8_000, name: str = "take.wav") -> Path:
    """Write a take as 32-bit float WAV."""
    path = folder / name
    soundfile.write(path, samples, rate_hz, subtype="FLOAT")
    return path
