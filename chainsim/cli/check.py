"""placeholder."""

import click


@click.command(name="check")
def command() -> None:
    """Check."""
