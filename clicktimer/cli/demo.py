"""``clicktimer demo``: an invented household is recorded by the simulator and measured like any recording."""

from __future__ import annotations

import itertools
from pathlib import Path

import click

from clicktimer.cli.measure import measure_all
from clicktimer.errors import SettingsError

DEMO_NAME = "clicktimer-demo"
DEMO_SEED = 20  # any seed does; a fixed one lets two people talk about the same recording


@click.command("demo", short_help="Make a recording of an invented household and measure it.")
@click.option("--into", metavar="FOLDER", default=".", show_default="this folder", help="Where to keep the recording.")
@click.option("--seed", metavar="NUMBER", type=click.IntRange(0, 2**31 - 1), default=DEMO_SEED, show_default=True,
              help="Another number makes another recording.")  # fmt: skip
def demo_command(into: str, seed: int) -> int:
    """Make a recording of an invented household and measure it.

    The sound is synthetic: a simulated tank, pump and switch whose true times are
    known. The recording is kept, so that you can listen to it.
    """
    folder = Path(into)
    if not folder.is_dir():
        raise SettingsError(f"--into {into}: there is no such folder; make it first, or leave the option out")
    from clicktimer.settings import MeasureOptions
    from clicktimer.simulator.demo import demo_recording

    path = free_name(folder)
    try:
        demo_recording(path, seed)
    except OSError as error:
        raise SettingsError(f"cannot write {path}: {error.strerror}; give another folder with --into") from None
    shown = str(path) if into != "." else path.name
    click.echo(f"Made {shown}: synthetic sound of an invented household, every tap shut between draws.")
    command = f"clicktimer measure {_quoted(shown)} --taps-shut"
    click.echo(f"Measuring it with: {command}\n")
    code = measure_all([(str(path),)], MeasureOptions(taps="shut"), json_target=None, csv_target=None)
    click.echo("\nFor a recording of your own: clicktimer measure YOUR-RECORDING --taps-shut")
    click.echo("(--steady-tap if one tap ran all the time; neither if you do not know)")
    return code


def free_name(folder: Path) -> Path:
    """Return a name in ``folder`` that no file has yet."""
    for number in itertools.count(1):
        path = folder / (f"{DEMO_NAME}.wav" if number == 1 else f"{DEMO_NAME}-{number}.wav")
        if not path.exists():
            return path
    raise AssertionError("count never ends")


def _quoted(text: str) -> str:
    return f'"{text}"' if any(c.isspace() for c in text) else text
