"""The command `gatewayd`; each subcommand is loaded only when it is called."""

import importlib
import os
import sys
from collections.abc import Sequence

import click

from gatewayd import __version__
from gatewayd.message.command import COMMANDS


class Lazy(click.Group):
    """Load `gatewayd.cli.NAME` for the subcommand NAME."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's contract
        """Return the names of all commands."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - click's contract
        """Load one command, None if there is no such."""
        if cmd_name not in COMMANDS:
            return None
        found: click.Command = importlib.import_module(f"gatewayd.cli.{cmd_name.replace('-', '_')}").command
        return found


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="gatewayd")
def cli() -> None:
    """Watch the freezers of a household and tell its people when one warms or falls silent.

    \b
    Begin with:   gatewayd demo             a house to look at, nothing else needed
                  gatewayd check            are my settings right?
                  gatewayd run              watch
    Exit codes:   0 done, 1 not done, 2 wrong settings or wrong use, 3 gatewayd is not running
    """


def main(args: Sequence[str] | None = None) -> None:
    """Run the command line."""
    try:
        cli.main(args=list(args) if args is not None else None, prog_name="gatewayd")
    except BrokenPipeError:
        # the reader of the pipe has seen enough (`| head`); keep the interpreter from complaining at its end
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    main()
