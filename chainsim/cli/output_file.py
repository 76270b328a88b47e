"""The file a command is told to write: what its ending says, and that it is none of those that are read."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click


def check_output_file(output: Path, endings: Sequence[str], read: Sequence[Path] = ()) -> None:
    """Refuse a file to write before any work is done.

    Parameters
    ----------
    output : Path
    endings : sequence of str
        What can be written, such as ".html"; upper case in `output` is as good.
    read : sequence of Path
        What the command reads, and may not write over.

    Raises
    ------
    click.UsageError
        If `output` ends otherwise, or is one of those that are read.
    """
    from chainsim.errors import nearest

    ending = output.suffix.lower()
    if ending not in endings:
        allowed = f"allowed {' | '.join(endings)}{nearest(ending, endings)}"
        by_printing = ending == ".pdf" and ".html" in endings
        pdf = "; for a PDF write .html and print it from a browser" if by_printing else ""
        raise click.UsageError(f'{output}: cannot write "{ending}" files, {allowed}{pdf}')
    for path in read:
        if output.exists() and path.exists() and output.samefile(path):
            raise click.UsageError(f"{output}: is the file {path.name} itself; choose another name to write to")
