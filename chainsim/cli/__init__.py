"""The command line: a thin skin over the package. Every command is one file, loaded when it is called."""

from __future__ import annotations

import importlib
import os
import signal
import sys
from collections.abc import Sequence

import click

COMMANDS = (
    "render", "check", "compare", "draw", "lesson", "orders", "batch", "sheet", "carry", "track", "measure", "blocks",
    "schema", "demo",
)  # fmt: skip


class _Commands(click.Group):
    """Finds a command's file by its name."""

    def list_commands(self, context: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"chainsim.cli.{name}").command
        return command

    def resolve_command(
        self, context: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        from chainsim.errors import nearest

        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            raise click.UsageError(f'no command "{args[0]}"{nearest(args[0], COMMANDS) or "; see chainsim --help"}')
        return super().resolve_command(context, args)


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Sound can hurt: start low, and keep a limiter before headphones. Feedback and resonance can jump in level.",
)
@click.version_option(package_name="chainsim", message="%(prog)s %(version)s")
def cli() -> None:
    """A workshop for wind players who perform through electronics.

    \b
    chainsim demo                              hear it at once, on takes of its own
    chainsim render sketch.toml take.wav -o out.wav
    chainsim check sketch.toml --take take.wav what the chain does, and what the take is fit for
    chainsim compare *.toml --take take.wav -o page.html
                                               a page on which you hear them side by side
    chainsim draw sketch.toml -o flow.svg      the signal flow, as a textbook draws it
    chainsim lesson                            what goes before what, and why: to hear, to see, to answer
    chainsim orders sketch.toml take.wav -o DIR which order of the blocks? The few that differ
    chainsim batch *.toml --takes DIR -o DIR   every sketch, patch and value over every take
    chainsim sheet set.toml -o sheet.html      one page to tape to the board; more for cables, house, failures
    chainsim carry set.toml --gear gear.toml   which of your boxes to take along
    chainsim track take.wav --midi take.mid    the pitch that was played, its notes, its tuning
    chainsim measure take.wav out.wav          loudness, peaks, noise; --chain, --pair, --harmony measure more
    chainsim blocks noise_gate                 all settings of a block, with units and ranges
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; errors are one line each on stderr.

    Exit codes: 0 done, 1 some of many items failed, 2 bad command line, sketch or input, 130 interrupted.
    """
    from chainsim.errors import ChainsimError

    try:
        code = cli.main(
            args=None if arguments is None else list(arguments), prog_name="chainsim", standalone_mode=False
        )
    except click.ClickException as error:
        _fail([error.format_message()], 2)
    except ChainsimError as error:
        _fail(str(error).splitlines(), 2)
    except (KeyboardInterrupt, click.Abort):
        _fail(["interrupted"], 130)
    except BrokenPipeError:
        sys.exit(141)
    except OSError as error:
        _fail([f"{error.strerror or error}"], 2)
    sys.exit(code if isinstance(code, int) else 0)


def console() -> None:
    """Run the command line and leave at once: to take the compiler down in order costs half a second."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that what is half written is removed
    code: int | str | None = 0
    try:
        main()
    except SystemExit as stopped:
        code = stopped.code
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        code = 141
    except OSError as error:
        code = 2
        click.echo(f"chainsim: the output cannot be written: {error.strerror}", err=True)
    os._exit(code if isinstance(code, int) else 1 if code else 0)


def _fail(lines: list[str], code: int) -> None:
    for line in lines:
        click.echo(f"chainsim: {line}", err=True)
    sys.exit(code)
