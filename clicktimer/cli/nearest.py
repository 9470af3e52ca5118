"""A command that is not there is answered with the one that was probably meant (click does so for options alone)."""

from __future__ import annotations

import difflib
from pathlib import Path

import click

CLOSE_ENOUGH = 0.6
NOT_THERE = 'there is no command "{name}"'
A_RECORDING = 'there is no command "{name}"; to measure a file of that name: clicktimer measure {shown}'


class NearestGroup(click.Group):
    """A group that names the nearest command where a wrong one was typed, or ``measure`` where it is a file."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command. Raises UsageError, in one line, where there is none of that name."""
        name = args[0]
        if self.get_command(ctx, name) is None and not ctx.resilient_parsing and not name.startswith("-"):
            ctx.fail(_what_then(name, self.list_commands(ctx)))
        return super().resolve_command(ctx, args)


def _what_then(name: str, commands: list[str]) -> str:
    shown = "".join(c if c.isprintable() else " " for c in name)
    near = difflib.get_close_matches(name.casefold(), commands, n=2, cutoff=CLOSE_ENOUGH)
    if near:
        return f"{NOT_THERE.format(name=shown)}; did you mean {' or '.join(near)}?"
    if "measure" in commands and (Path(name).suffix or Path(name).exists()):
        from clicktimer.cli.output import quoted

        return A_RECORDING.format(name=shown, shown=quoted(shown))
    return f"{NOT_THERE.format(name=shown)}; there are: {', '.join(commands)}"
