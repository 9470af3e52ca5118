"""The command line: it reads options, calls the library, prints, and sets the exit code. Nothing is computed here.

Exit codes: 0 all measured; 1 at least one recording could not be measured; 2 bad input or options;
3 a defect of clicktimer; 130 stopped by the user; 141 the reader of our output went away.
Commands are imported only when they run, so that ``clicktimer --help`` is quick.
"""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import IO, Any

import click

from clicktimer.cli.failures import BROKEN_PIPE, STOPPED, explain, explain_defect
from clicktimer.cli.nearest import NearestGroup
from clicktimer.errors import ClicktimerError

COMMANDS: dict[str, tuple[str, str, str]] = {
    "measure": ("clicktimer.cli.measure", "measure_command", "Time the pump's runs in a recording and judge them."),
    "hear": ("clicktimer.cli.hear", "hear_command", "Say whether a place is good enough to hear the switch."),
    "check": ("clicktimer.cli.check", "check_command", "Say what works on this computer, and what is missing."),
    "listen": ("clicktimer.cli.listen", "listen_command", "Listen live: a guided test, or a day unattended."),
    "page": ("clicktimer.cli.page", "page_command", "Show a listening in the browser, as it goes on or ended."),
    "day": ("clicktimer.cli.day", "day_command", "Say what a day of listening tells of tank, house and leaks."),
    "report": ("clicktimer.cli.report", "report_command", "Write a document for the client: HTML or PDF."),
    "compare": ("clicktimer.cli.compare", "compare_command", "Put two measurements or days side by side."),
    "tank": ("clicktimer.cli.tank", "tank_command", "Size the pressure tank, without a recording."),
    "well": ("clicktimer.cli.well", "well_command", "Say what the well gives, and whether it is enough."),
    "site": ("clicktimer.cli.site", "site_command", "Write down what is known of a house, once, in a site file."),
    "give": ("clicktimer.cli.give", "give_command", "Cut out the clicks to hand over, so that clicktimer gets better."),
    "demo": ("clicktimer.cli.demo", "demo_command", "Make a recording of an invented household and measure it."),
}
"""Name of each command: its module, the command in it, and the line that ``--help`` shows."""


class ReaderGoneError(Exception):
    """Whoever read our output has closed it. Not BrokenPipeError, which click would turn into exit code 1."""


class LazyCommands(NearestGroup):
    """A group whose commands are imported when they are asked for."""

    def make_context(self, *args: Any, **kwargs: Any) -> click.Context:
        """Read the arguments; ``--help`` prints here."""
        try:
            return super().make_context(*args, **kwargs)
        except BrokenPipeError:
            raise ReaderGoneError from None

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise ReaderGoneError from None

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order of COMMANDS."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command, or None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module, name, _ = COMMANDS[cmd_name]
        command = getattr(import_module(module), name)
        if not isinstance(command, click.Command):
            raise TypeError(f"{module}.{name} is not a command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, _, line) in COMMANDS.items()])


def _show_version(ctx: click.Context, _param: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        from clicktimer import __version__

        click.echo(f"clicktimer {__version__}")
        ctx.exit()


@click.group(
    cls=LazyCommands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80, "terminal_width": 80},
    epilog="Exit code: 0 all measured, 1 at least one could not be, 2 bad input, 3 a defect of ours, 130 stopped.",
)
@click.option("--verbose", is_flag=True, help="Say on stderr what is being done.")
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Print the version and stop.",
)
def cli(verbose: bool) -> None:
    """Time a well pump by the clicks of its pressure switch.

    clicktimer listens to a recording made beside the pressure switch of a private
    well, finds the click that starts the pump and the click that stops it, times each
    run, says whether it is long enough for the pump, and what tank would suit.

    New here? Type: clicktimer demo
    """
    if verbose:
        logging.basicConfig(stream=sys.stderr, level=logging.DEBUG, format="%(name)s: %(message)s")
        for noisy in ("numba", "matplotlib", "libav"):
            logging.getLogger(noisy).setLevel(logging.WARNING)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code. The one place where errors become messages."""
    try:
        code = cli.main(
            args=None if arguments is None else list(arguments), prog_name="clicktimer", standalone_mode=False
        )
        sys.stdout.flush()
        return code if isinstance(code, int) else 0
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("clicktimer: stopped", err=True)
        return STOPPED
    except (ReaderGoneError, BrokenPipeError):
        _close_quietly(sys.stdout)
        return BROKEN_PIPE
    except ClicktimerError as error:
        return explain(error)
    except Exception as error:  # the last line of defence: one line for the user, the rest in a log file
        return explain_defect(error)


def _close_quietly(stream: IO[str]) -> None:
    """Point a broken stream at nothing, or Python complains about it once more when it ends."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    except (OSError, ValueError):
        return


def main() -> None:
    """Start the program; never returns."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a sign gets a stand-in for it rather than a crash.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    sys.exit(run())
