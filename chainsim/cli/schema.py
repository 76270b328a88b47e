"""`chainsim schema`: the JSON Schema of a sketch, for editors."""

from __future__ import annotations

import click

from chainsim.cli.common import echo_json


@click.command(name="schema", short_help="Print the JSON Schema of a sketch, for editors.")
def command() -> None:
    """Print the JSON Schema of a sketch; editors that read it complete and check sketches as you type.

    \b
    Example:
      chainsim schema > sketch.schema.json
    and, as the first line of a sketch:  #:schema ./sketch.schema.json
    """
    from chainsim.sketch.schema import sketch_schema

    echo_json(sketch_schema())
