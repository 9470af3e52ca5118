"""``clicktimer site new`` asks for what is known of a house and writes the site file; ``site check`` reads one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from clicktimer.cli.failures import BAD_INPUT, MEASURED
from clicktimer.cli.nearest import NearestGroup
from clicktimer.errors import ClicktimerError, SettingsError
from clicktimer.reporting.formatting import plain, wrap

if TYPE_CHECKING:
    from clicktimer.site.kinds import SiteField
    from clicktimer.site.values import Value

INTRODUCTION = (
    "Every question may be skipped: press Enter. Write quantities with their unit, as in the examples. Look, but touch "
    "nothing for this: never open the switch cover, and leave air valve and drain for when the power is off and the "
    "pressure let down."
)


@click.group("site", cls=NearestGroup, short_help="Write down what is known of a house, once, in a site file.")
def site_command() -> None:
    """Write down what is known of a house, once, in a site file.

    A site file is a text file (TOML) taken with --site FILE by measure, day, listen,
    report, compare, tank and well.
    Its keys are the names of the options; what is typed on the command line overrules it.
    """


@site_command.command("new", short_help="Ask for what is known and write a site file.")
@click.argument("file", default="site.toml", metavar="[FILE]")
def new_command(file: str) -> int:
    """Ask for what is known and write a site file (site.toml unless FILE is given).

    Every question may be skipped. A file that is there already is never overwritten.
    """
    path = Path(file)
    _refuse_if_there(path)
    if not path.parent.is_dir():
        raise SettingsError(f"{file}: the folder {path.parent} does not exist; make it first")
    from clicktimer.site.fields import FIELDS
    from clicktimer.site.read import check_text
    from clicktimer.site.write import site_text

    for line in wrap(INTRODUCTION):
        click.echo(line)
    values: dict[str, Value] = {}
    group = ""
    for field in FIELDS:
        if not field.asked:
            continue
        if field.group != group:
            group = field.group
            click.echo(f"\n{group}")
        answer = _ask_tanks() if field.kind == "tanks" else _ask(field)
        if answer is not None:
            values[field.key] = answer
    if not values:
        click.echo(f"\nNothing was answered, so {file} was not written.")
        return MEASURED
    text = site_text(values)
    _, problems = check_text(text, path.name)
    _refuse_if_there(path)
    try:
        with path.open("x", encoding="utf-8") as out:
            out.write(text)
    except OSError as error:
        raise SettingsError(f"cannot write {file}: {error.strerror}; give another name") from None
    click.echo(f"\nWritten: {file}. Use it with: clicktimer tank --site {file}")
    for problem in problems:  # what was right each for itself, but not together
        click.echo(f"clicktimer: {plain(problem)}; correct it in the file", err=True)
    return BAD_INPUT if problems else MEASURED


@site_command.command("check", short_help="Check a site file, line by line.")
@click.argument("file")
def check_command(file: str) -> int:
    """Check a site file: every problem with its line, and what would let more be computed."""
    from clicktimer.site.needed import lacks
    from clicktimer.site.read import check_site

    site, problems = check_site(file)
    if site is None:
        for problem in problems:
            click.echo(f"clicktimer: {plain(problem)}", err=True)
        return BAD_INPUT
    click.echo(f"{plain(site.name)} is in order: {len(site.values)} field{'' if len(site.values) == 1 else 's'}.")
    for lack in lacks(site.values):
        click.echo(f"\nFor {lack.purpose} it still lacks:")
        for field in lack.fields:
            for line in wrap(f"{field.key}, such as {field.example}: {field.how}.", "  - ", "    "):
                click.echo(line)
    return MEASURED


def _refuse_if_there(path: Path) -> None:
    if path.exists() or path.is_symlink():
        raise SettingsError(f"{path} is there already and is not overwritten; give another name, or edit that file")


def _prompt(question: str, example: str) -> str:
    answer: str = click.prompt(f"  {question} [{example}]", default="", show_default=False)
    return " ".join(answer.split())


def _ask(field: SiteField) -> Value | None:
    while True:
        answer = _prompt(field.question, field.example)
        if not answer:
            return None
        problem = _problem(field, answer)
        if problem is None:
            return int(answer) if field.kind == "count" else (answer,) if field.kind == "list" else answer
        click.echo(f"  {plain(problem)}")


def _problem(field: SiteField, answer: str) -> str | None:
    """What is wrong with an answer, by the same check that the file gets; None where it is right."""
    try:
        field.check(int(answer) if field.kind == "count" and answer.isascii() and answer.isdigit() else answer)
    except (ClicktimerError, ValueError) as error:
        return str(error)
    return None


def _ask_tanks() -> tuple[str, ...] | None:
    """Ask for one tank after the other; None where none is known."""
    from clicktimer.site.read import tank_text
    from clicktimer.site.tanks import TANK_FIELDS

    tanks: list[str] = []
    while True:
        parts: dict[str, str] = {}
        for field in TANK_FIELDS:
            key = field.key
            if key == "date" or (parts.get("kind") == "plain" and key in ("charge", "takes")):
                continue
            asked = "Volume of another tank, if there is one?" if key == "volume" and tanks else field.question
            while answer := _prompt(asked, field.example):
                try:
                    tank_text({**parts, key: answer})
                except (ClicktimerError, ValueError) as error:
                    click.echo(f"  {plain(str(error))}")
                    continue
                parts[key] = answer
                break
            if key == "volume" and key not in parts:
                return tuple(tanks) or None
        tanks.append(tank_text(parts))
