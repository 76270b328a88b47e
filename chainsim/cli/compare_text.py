"""What `chainsim compare` prints: where the page and the reel are, or all that is on them as JSON."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from chainsim.cli.common import counted

if TYPE_CHECKING:
    from chainsim.batch.listening.reel import RunningOrder
    from chainsim.listen.page.model import ListeningPage

LARGE_MB = 40
"""Of a file that is mailed or opened on a phone; common practice, no source."""


def told_of_page(page: ListeningPage, output: Path) -> str:
    """What it is, in one line."""
    versions = counted(len(page.cards), "version")
    return (
        f"{_entry(output)}: {versions}, {length(_seconds(page))}, {_bytes(output) / 1e6:.1f} MB; open it in a browser"
    )


def told_of_copies(page: ListeningPage) -> list[str]:
    """Which versions stand for others that are the same sound."""
    return [
        f'"{card.heading}" is also {", ".join(map(_quoted, card.also))}: the same sound'
        for card in page.cards
        if card.also
    ]


def how_smaller(output: Path, *, excerpt: bool, lossy: bool) -> list[str]:
    """How a page in one file becomes smaller, if it is large."""
    ways = [way for way, used in (("--excerpt FROM,TO", excerpt), ("--lossy", lossy)) if not used]
    if not output.is_file() or not ways or _bytes(output) <= LARGE_MB * 1e6:
        return []
    return [f"{output}: {_bytes(output) / 1e6:.0f} MB are much for one file; {' or '.join(ways)} makes it smaller"]


def told_of_reel(order: RunningOrder, reel: Path) -> str:
    """The running order, and where it is."""
    return f"{order.text}\n{reel}: {length(order.seconds)}; its running order is in {reel.with_suffix('.txt')}"


def plain(page: ListeningPage, output: Path | None, order: RunningOrder | None, reel: Path | None) -> dict[str, Any]:
    """Versions with their figures, files and whatever the reader is told, in plain values."""
    levels = {sound.key: sound.as_it_comes_db for sound in page.sounds}
    return {
        "title": page.title,
        "take": page.take_name,
        "sample_rate_hz": page.sample_rate_hz,
        "starts_s": page.starts_s,
        "seconds": _seconds(page),
        "versions": [
            {
                "name": card.heading,
                "also": list(card.also),
                "differs": card.differs,
                "figures": {figure.label: figure.text for figure in card.figures},
                "as_it_comes_db": levels[card.sound],
                "settings": card.settings,
                "warnings": list(card.warnings),
            }
            for card in page.cards
        ],
        "sounds": len(page.sounds),
        "board": page.foot is not None,
        "notes": list(page.notes),
        "page": None if output is None else {"file": _entry(output), "bytes": _bytes(output)},
        "reel": None if order is None or reel is None else _plain_reel(order, reel),
    }


def length(seconds: float) -> str:
    """A length as one says it."""
    whole = round(seconds)
    return f"{seconds:.1f} s" if seconds < 90.0 else f"{whole // 60} min {whole % 60} s"


def _quoted(name: str) -> str:
    return f'"{name}"'


def _plain_reel(order: RunningOrder, reel: Path) -> dict[str, Any]:
    return {
        "file": reel,
        "running_order": reel.with_suffix(".txt"),
        "seconds": order.seconds,
        "versions": [
            {"number": e.number, "name": e.name, "beeps_s": e.beeps_s, "starts_s": e.starts_s} for e in order.entries
        ],
    }


def _seconds(page: ListeningPage) -> float:
    return max(sound.frames for sound in page.sounds) / page.sample_rate_hz


def _entry(output: Path) -> Path:
    return output if output.is_file() else output / "index.html"


def _bytes(output: Path) -> int:
    """Of the page and its sounds; other files of a folder are not part of it."""
    files = [output] if output.is_file() else [_entry(output), *output.glob("sounds/*.js"), *output.glob("page.js")]
    return sum(path.stat().st_size for path in files)
