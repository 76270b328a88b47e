"""placeholder."""
import click
@click.command(name="demo")
def command() -> None:
    """Check."""
