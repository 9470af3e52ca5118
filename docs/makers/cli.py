"""Makes docs/cli.md from the commands' own --help."""

from __future__ import annotations

import click

from clicktimer.cli import COMMANDS, cli

INTRODUCTION = """# The command line

Made from `--help` by `python docs/make.py cli`; do not edit by hand.

Where a recording goes in, what comes out of it is text for a person. `--json` and `--csv` write the same for a
program or a spreadsheet; `-` sends them to stdout, which then carries nothing else. Results go to stdout, progress and
complaints to stderr. `NO_COLOR` and pipes are respected. Files are written beside and moved into place: an older
result of the same name is replaced in one move, a recording never.

| Exit code | Meaning |
|---|---|
| 0 | every recording was measured: a run was timed, be it only an upper bound (`run` in the JSON is not null) |
| 1 | at least one could not be measured; the text says what to try, the JSON document is still written |
| 2 | bad input or options; the other recordings are still measured; for the bad one there is no document |
| 3 | a defect of clicktimer: one line, and the details in a log file that it names |
| 130 | stopped by the user; what was measured so far is written |
| 141 | whoever read the output closed it |

Of several recordings the gravest code counts: 3, then 2, then 1.
"""


def reference() -> str:
    """Return the text of docs/cli.md."""
    parts = [INTRODUCTION]
    root = click.Context(cli, info_name="clicktimer", **cli.context_settings)
    parts.append(_section("clicktimer", cli.get_help(root)))
    for name in COMMANDS:
        command = cli.get_command(root, name)
        if command is None:
            raise LookupError(name)
        inner = click.Context(command, info_name=name, parent=root, **cli.context_settings)
        parts.append(_section(f"clicktimer {name}", command.get_help(inner)))
        for part, sub in command.commands.items() if isinstance(command, click.Group) else ():
            below = click.Context(sub, info_name=part, parent=inner, **cli.context_settings)
            parts.append(_section(f"clicktimer {name} {part}", sub.get_help(below)))
    return "\n".join(parts)


def _section(title: str, help_text: str) -> str:
    body = "\n".join(line.rstrip() for line in help_text.splitlines())
    return f"## {title}\n\n```\n{body}\n```\n"


def made() -> dict[str, str]:
    return {"docs/cli.md": reference()}
