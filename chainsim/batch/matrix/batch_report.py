"""What a batch gave: one row a sound, and what the run did."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from chainsim.batch.results.keys import identity
from chainsim.batch.sounds.sound_figures import SoundFigures

MOST_SHOWN = 50
"""As many sounds a notebook shows."""


@dataclass(frozen=True)
class BatchRow:
    """One sound of a batch.

    Attributes
    ----------
    sketch : str
        The file, or the title of a sketch that came from none.
    patch, room : str or None
    settings : dict
        What was varied, and its value here.
    take : Path
    sketch_sha256 : str
        Of its text and the files that it names.
    sketch_digest : str
        Of what is heard of it.
    take_sha256, key : str or None
        None if the take cannot be read.
    file : Path or None
        Where it can be heard: the file that is there, also one that was named after another take or sketch.
    figures : SoundFigures or None
    error : str or None
        Why there are no figures.
    made : bool
        Whether this run rendered it.
    """

    sketch: str
    patch: str | None
    room: str | None
    settings: Mapping[str, Any]
    take: Path
    sketch_sha256: str
    sketch_digest: str
    take_sha256: str | None = None
    key: str | None = None
    file: Path | None = None
    figures: SoundFigures | None = None
    error: str | None = None
    made: bool = False

    def to_dict(self, folder: Path) -> dict[str, Any]:
        """Plain values by column, always the same; the file as it is found from `folder`."""
        figures = {} if self.figures is None else self.figures.to_dict()
        return {
            "sketch": self.sketch,
            "patch": self.patch,
            "room": self.room,
            **self.settings,
            "take": str(self.take),
            **{f.name: figures.get(f.name) for f in fields(SoundFigures) if f.name != "warnings"},
            "warnings": figures.get("warnings", []),
            "file": None if self.file is None else self.file.relative_to(folder).as_posix(),
            "error": None if self.error is None else "; ".join(self.error.splitlines()),
            "sketch_sha256": self.sketch_sha256,
            "take_sha256": self.take_sha256,
            "version": identity(),
            "sound_key": self.key,
        }


@dataclass(frozen=True)
class Batch:
    """What a batch gave.

    Attributes
    ----------
    folder : Path
        Absolute; it holds "results.csv", "results.json", the sounds and the store.
    rows : tuple of BatchRow
        By sketch, values, patch and take, in this order.
    block_runs, single_block_runs : int
        How many blocks ran, and how many would have if each sound had been rendered alone.
    warnings : tuple of str
    """

    folder: Path
    rows: tuple[BatchRow, ...]
    block_runs: int = 0
    single_block_runs: int = 0
    warnings: tuple[str, ...] = ()

    @property
    def rendered(self) -> int:
        """Sounds that this run made; the same sound under several names counts once."""
        return len({row.key for row in self.rows if row.made})

    @property
    def reused(self) -> int:
        """Sounds that were there."""
        return len({row.key for row in self.rows if row.figures is not None and not row.made})

    @property
    def failed(self) -> int:
        """Sounds that could not be made."""
        return len({row.key or i for i, row in enumerate(self.rows) if row.error is not None})

    @property
    def errors(self) -> tuple[str, ...]:
        """Why they could not, each line once."""
        return tuple(dict.fromkeys(line for row in self.rows for line in (row.error or "").splitlines()))

    def to_dict(self) -> dict[str, Any]:
        """Plain values: what this run did, and the table."""
        return {
            "folder": str(self.folder),
            "rendered": self.rendered,
            "reused": self.reused,
            "failed": self.failed,
            "errors": list(self.errors),
            "block_runs": self.block_runs,
            "single_block_runs": self.single_block_runs,
            "rows": [row.to_dict(self.folder) for row in self.rows],
        }

    def _repr_html_(self) -> str:
        """The sounds with their main figures, each with a player where its file is there, for notebooks."""
        from chainsim.listen.notebook import figure_text, player_of_file, table_html

        shown = self.rows[:MOST_SHOWN]
        files = sum(row.file is not None for row in shown)
        varied = list(dict.fromkeys(name for row in self.rows for name in row.settings))
        told = [name for name in ("patch", "room") if any(getattr(row, name) is not None for row in self.rows)]
        rows = []
        for row in shown:
            what = [row.sketch, *(getattr(row, name) or "as written" for name in told)]
            what += [*(str(row.settings.get(name, "")) for name in varied), row.take.name]
            label = ", ".join(what)
            figures = row.figures
            if figures is None:
                rows.append([*what, "-", "-", "-", row.error or "no sound"])
                continue
            levels = (figures.integrated_lufs, figures.true_peak_dbtp, figures.latency_ms)
            player = "no file" if row.file is None else player_of_file(row.file, label, among=files)
            rows.append([*what, *map(figure_text, levels), player])
        more = len(self.rows) - len(shown)
        left = [f"and {more} more sounds, in results.csv"] if more else []
        caption = f"{len(self.rows)} sounds: {self.rendered} rendered, {self.reused} reused, {self.failed} failed"
        head = ["sketch", *told, *varied, "take", "LUFS", "true peak dBTP", "latency ms", "sound"]
        return table_html(caption, head, rows, (*left, *self.warnings))
