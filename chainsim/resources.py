"""Where the presets and the example takes lie: beside the package's sources, or inside an installed package."""

from __future__ import annotations

from pathlib import Path

from chainsim.errors import ChainsimError


def preset_paths() -> dict[str, Path]:
    """The sketches that come with chainsim, by name."""
    return {p.stem: p for p in sorted(_folder("presets").glob("*.toml"))}


def take_paths() -> dict[str, Path]:
    """The invented dry takes that come with chainsim, by name."""
    return {p.stem: p for p in sorted(_folder("audio_examples").glob("*.flac"))}


def set_take_paths() -> dict[str, Path]:
    """The takes that were made for one set each, by the set's name and the horn's: `harbour_day_tenor_sax`."""
    return {p.stem: p for p in sorted((_folder("audio_examples") / "sets").glob("*.flac"))}


def _folder(name: str) -> Path:
    package = Path(__file__).parent
    for place in (package / name, package.parent / name):
        if place.is_dir():
            return place
    raise ChainsimError(f"{package}: the installed package lacks its {name}; install it again")
